import pytest
from hypothesis import given
from hypothesis import strategies as st

from bellmouth.errors import BellmouthError
from bellmouth.j1979 import iso14230
from bellmouth.j1979.iso14230 import KeyBytes, Message

BYTE = st.integers(0, 0xFF)
MESSAGES = st.builds(Message, BYTE, BYTE, st.binary(min_size=1, max_size=63), st.booleans())


@given(MESSAGES)
def test_every_message_comes_back_from_its_frame(message: Message) -> None:
    frame = iso14230.encode(message)
    assert iso14230.decode(frame) == message
    assert iso14230.frame_length(frame[:1]) == len(frame)


@given(MESSAGES, st.data())
def test_a_byte_turned_lost_or_added_is_seen(message: Message, data: st.DataObject) -> None:
    frame = iso14230.encode(message)
    place = data.draw(st.integers(0, len(frame) - 1))
    turned = data.draw(st.integers(1, 0xFF))
    spoilt = [
        frame[:place] + bytes((frame[place] ^ turned,)) + frame[place + 1 :],
        frame[:place] + frame[place + 1 :],
        frame + b"\0",
    ]
    # A format byte that says "no addresses" is refused as well; see below.
    for one in spoilt:
        with pytest.raises(BellmouthError):
            iso14230.decode(one)


@given(st.binary(max_size=20))
def test_any_bytes_are_a_message_or_a_clear_error(frame: bytes) -> None:
    try:
        message = iso14230.decode(frame)
    except BellmouthError as error:
        assert str(error).endswith(".")  # noqa: PT017
    else:
        assert iso14230.checksum(frame[:-1]) == frame[-1]
        assert message.data


def test_a_length_byte_of_its_own_is_read() -> None:
    head = bytes.fromhex("80F11003410D32")
    frame = head + bytes((iso14230.checksum(head),))
    assert iso14230.frame_length(frame[:1]) is None
    assert iso14230.frame_length(frame[:4]) == len(frame)
    assert iso14230.decode(frame) == Message(0xF1, 0x10, bytes.fromhex("410D32"))


@pytest.mark.parametrize(
    ("frame", "text"),
    [
        ("83F11041 0C1A 2C", "Frame 83 F1 10 41 0C 1A 2C: the checksum is 2C where the bytes add "
         "up to EB; ask again."),
        ("84F11041", "Frame 84 F1 10 41: its length contradicts its header; ask again."),
        ("", "Frame (empty): its length contradicts its header; ask again."),
        ("486B1041", "Byte 48 starts no frame of ISO 14230-4; wait for silence and ask again."),
        ("02413400", "Byte 02 starts no frame of ISO 14230-4; wait for silence and ask again."),
    ],
)  # fmt: skip
def test_a_frame_that_is_none_is_one_sentence(frame: str, text: str) -> None:
    with pytest.raises(BellmouthError) as caught:
        iso14230.decode(bytes.fromhex(frame))
    assert str(caught.value) == text


def test_a_message_that_does_not_fit_is_one_sentence() -> None:
    with pytest.raises(BellmouthError) as caught:
        iso14230.encode(Message(0x33, 0xF1, bytes(64)))
    assert str(caught.value) == "A K-line message holds 1 to 63 bytes, not 64; ask for less."


@pytest.mark.parametrize(
    ("keys", "number", "speaks"),
    [
        (KeyBytes(0xE9, 0x8F), 2025, True),
        (KeyBytes(0x6B, 0x8F), 2027, True),
        (KeyBytes(0x6D, 0x8F), 2029, True),
        (KeyBytes(0xEF, 0x8F), 2031, True),
        (KeyBytes(0x08, 0x08), 1032, False),
        (KeyBytes(0x94, 0x94), 2580, False),
    ],
)
def test_key_bytes(keys: KeyBytes, number: int, speaks: bool) -> None:
    # Numbers of ISO 14230-4 from memory; the second route is the parity that each byte must have.
    assert keys.number == number
    assert keys.is_iso_14230 == speaks
    assert keys.has_right_parity
    assert keys.is_iso_9141 == (not speaks)


def test_key_bytes_with_a_bit_turned_have_the_wrong_parity() -> None:
    assert not KeyBytes(0xE8, 0x8F).has_right_parity
