import pytest
from hypothesis import given
from hypothesis import strategies as st

from bellmouth.errors import BellmouthError
from bellmouth.j1979.kline_messages import (
    hides_losses,
    join_replies,
    messages_of,
    split_reply,
    split_request,
)

VEHICLE_NUMBER = bytes.fromhex("490201") + b"1G1JC5444R7252367"
CODE = st.integers(1, 0xFFFF).map(lambda n: n.to_bytes(2, "big"))


def test_the_vehicle_number_in_five_messages() -> None:
    # The layout is SAE J1979's for the K line, from memory.
    messages = split_reply(VEHICLE_NUMBER)
    assert [message.hex() for message in messages] == [
        "49020100000031", "49020247314a43", "49020335343434", "49020452373235", "49020532333637",
    ]  # fmt: skip
    assert join_replies(messages) == VEHICLE_NUMBER


@given(st.sampled_from([0x43, 0x47, 0x4A]), st.lists(CODE, max_size=20, unique=True))
def test_codes_get_their_count_back(service: int, codes: list[bytes]) -> None:
    payload = bytes((service, len(codes))) + b"".join(codes)
    messages = split_reply(payload)
    assert {len(message) for message in messages} == {7}
    assert len(messages) == max(1, -(-len(codes) // 3))
    assert join_replies(messages) == payload


@given(
    st.sampled_from([(0x04, 16), (0x06, 4), (0x08, 2), (0x0A, 20)]), st.integers(1, 6), st.data()
)
def test_vehicle_information_gets_its_count_back(
    item: tuple[int, int], number: int, data: st.DataObject
) -> None:
    identifier, size = item
    number = {0x0A: 1, 0x08: 2 * number}.get(identifier, number)
    held = data.draw(st.binary(min_size=number * size, max_size=number * size))
    payload = bytes((0x49, identifier, number)) + held
    assert join_replies(split_reply(payload)) == payload


@pytest.mark.parametrize(
    ("payload", "message"),
    [
        ("410C1AF8", "410C1AF8"),
        ("4100BE1FA813", "4100BE1FA813"),
        ("420C000AF0", "420C000AF0"),
        ("44", "44"),
        ("7F0922", "7F0922"),
        ("490054000000", "49000154000000"),  # the mask is a numbered message
        ("492054000000", "49200154000000"),  # and so is the next one
        ("490105", "490105"),  # how many messages item 02 takes
    ],
)
def test_short_replies_are_one_message(payload: str, message: str) -> None:
    assert split_reply(bytes.fromhex(payload)) == (bytes.fromhex(message),)
    assert join_replies([bytes.fromhex(message)]) == bytes.fromhex(payload)


@pytest.mark.parametrize(
    ("request_", "parts"),
    [
        ("010C", ["010C"]),
        ("010C0D05", ["010C", "010D", "0105"]),
        ("020C00", ["020C00"]),
        ("020C000D00", ["020C00", "020D00"]),
        ("03", ["03"]),
        ("0902", ["0902"]),
        ("", [""]),
    ],
)
def test_a_request_holds_one_parameter(request_: str, parts: list[str]) -> None:
    assert split_request(bytes.fromhex(request_)) == tuple(bytes.fromhex(part) for part in parts)


@pytest.mark.parametrize(
    ("request_", "number"),
    [("010C", 1), ("04", 1), ("03", None), ("07", None), ("0A", None), ("0900", 1), ("0901", 1),
     ("0902", 5), ("0904", None), ("0906", None), ("090A", 5), ("3E", 1), ("81", 1)],
)  # fmt: skip
def test_how_many_messages_answer(request_: str, number: int | None) -> None:
    assert messages_of(bytes.fromhex(request_)) == number


@pytest.mark.parametrize(
    ("request_", "hides"),
    [("010C", False), ("03", True), ("07", True), ("0A", True), ("0902", False), ("0904", False),
     ("0906", True), ("0908", True), ("090A", False)],
)  # fmt: skip
def test_where_a_lost_message_would_not_show(request_: str, hides: bool) -> None:
    assert hides_losses(bytes.fromhex(request_)) == hides


MESSAGES = split_reply(VEHICLE_NUMBER)


@pytest.mark.parametrize(
    "messages",
    [
        [],
        [b""],
        MESSAGES[:4],
        MESSAGES[1:],
        [*MESSAGES[:2], *MESSAGES[3:]],
        [MESSAGES[1], MESSAGES[0], *MESSAGES[2:]],
        [*MESSAGES, MESSAGES[4]],
        [MESSAGES[0], MESSAGES[0], *MESSAGES[1:]],
        [MESSAGES[0][:6], *MESSAGES[1:]],
        [bytes.fromhex("43017100000000"), bytes.fromhex("47017100000000")],
        [bytes.fromhex("430171")],
        [bytes.fromhex("410C1AF8"), bytes.fromhex("410C1AF8")],
        [bytes.fromhex("49040143414C31")],  # a quarter of a calibration's name
        [bytes.fromhex("49000154000000"), bytes.fromhex("49000154000000")],
    ],
)
def test_an_answer_that_is_not_whole_is_not_guessed_at(messages: list[bytes]) -> None:
    with pytest.raises(BellmouthError, match=r"they are not one whole answer; ask again\.$"):
        join_replies(messages)


@pytest.mark.parametrize(
    ("messages", "told"),
    [([], "(none)"), (["43017100000000", "430171"], "43 01 71 00 00 00 00, 43 01 71")],
)
def test_an_answer_that_is_not_whole_is_shown(messages: list[str], told: str) -> None:
    with pytest.raises(BellmouthError) as caught:
        join_replies([bytes.fromhex(message) for message in messages])
    assert str(caught.value) == f"Replies {told}: they are not one whole answer; ask again."


def test_a_message_of_codes_that_came_twice_counts_once() -> None:
    message = bytes.fromhex("43017105070000")
    assert join_replies([message, message]) == bytes.fromhex("430201710507")


def test_a_reply_that_no_k_line_message_holds_is_one_sentence() -> None:
    with pytest.raises(BellmouthError) as caught:
        split_reply(bytes.fromhex("410C1AF80D00057B"))
    assert str(caught.value) == (
        "Reply 41 0C 1A F8 0D 00 05 7B: a K-line message holds 1 to 7 bytes; ask for less."
    )


@given(st.binary(max_size=30))
def test_any_reply_is_split_or_a_clear_error(payload: bytes) -> None:
    try:
        messages = split_reply(payload)
    except BellmouthError as error:
        assert str(error).endswith(".")  # noqa: PT017
    else:
        assert messages
        assert all(len(message) <= 7 for message in messages)


@given(st.lists(st.binary(max_size=7), max_size=6))
def test_any_messages_are_an_answer_or_a_clear_error(messages: list[bytes]) -> None:
    try:
        assert join_replies(messages)
    except BellmouthError as error:
        assert str(error).endswith(".")  # noqa: PT017
