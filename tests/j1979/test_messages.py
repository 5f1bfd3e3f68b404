import pytest
from hypothesis import given
from hypothesis import strategies as st

from bellmouth.errors import BellmouthError
from bellmouth.j1979 import messages, parameters
from bellmouth.j1979.messages import (
    Cleared,
    Data,
    Negative,
    Request,
    Service,
    TroubleCodes,
    VehicleInformation,
)

BYTE = st.integers(0, 0xFF)
CODE_SERVICES = st.sampled_from(
    [Service.CONFIRMED_CODES, Service.PENDING_CODES, Service.PERMANENT_CODES]
)
# P0000 is padding, not a code.
CODES = st.from_regex(r"\A[PCBU][0-3][0-9A-F]{3}\Z").filter(lambda code: code != "P0000")


@st.composite
def data_replies(draw: st.DrawFn) -> Data:
    service = draw(st.sampled_from([Service.CURRENT_DATA, Service.FREEZE_FRAME]))
    identifiers = draw(st.lists(st.sampled_from(parameters.identifiers()), min_size=1, max_size=6))
    replies = []
    for one in identifiers:
        size = parameters.byte_count(one)
        replies.append((one, draw(st.binary(min_size=size, max_size=size))))
    frame = draw(BYTE) if service == Service.FREEZE_FRAME else 0
    return Data(service, tuple(replies), frame)


REPLIES = st.one_of(
    data_replies(),
    st.builds(TroubleCodes, CODE_SERVICES, st.lists(CODES, max_size=20).map(tuple)),
    st.just(Cleared()),
    st.builds(VehicleInformation, st.integers(1, 0xFF), st.binary(max_size=40), BYTE),
    st.builds(VehicleInformation, st.just(0), st.binary(min_size=4, max_size=4)),
    st.builds(Negative, BYTE, BYTE),
)


@given(REPLIES)
def test_every_reply_comes_back(reply: messages.Response) -> None:
    assert messages.decode_response(messages.encode_response(reply)) == reply


@given(st.binary(max_size=30))
def test_any_bytes_are_a_reply_or_a_clear_error(payload: bytes) -> None:
    try:
        reply = messages.decode_response(payload)
    except BellmouthError as error:
        assert str(error).endswith(".")  # noqa: PT017
    else:
        assert messages.decode_response(messages.encode_response(reply)) == reply


@given(st.binary(max_size=12))
def test_any_bytes_are_a_request_or_a_clear_error(payload: bytes) -> None:
    try:
        request = messages.decode_request(payload)
    except BellmouthError as error:
        assert str(error).endswith(".")  # noqa: PT017
    else:
        assert messages.encode_request(request) == payload


def test_values_of_a_reply_use_the_reported_maxima() -> None:
    reply = messages.decode_response(bytes.fromhex("410B800C0AF0"))
    assert isinstance(reply, Data)
    assert reply.values() == {"intake_manifold_pressure": 128.0, "engine_speed": 700.0}
    rescaled = reply.values({"intake_manifold_pressure_maximum": 510.0})
    assert rescaled["intake_manifold_pressure"] == pytest.approx(256.0)


def test_a_freeze_frame_request_asks_each_parameter_with_its_frame() -> None:
    request = Request(Service.FREEZE_FRAME, (0x0C, 0x05), frame=1)
    assert messages.encode_request(request).hex() == "020c010501"


def test_an_unknown_refusal_keeps_its_number() -> None:
    assert Negative(0x01, 0x99).meaning == "code 99"
    assert Negative(0x01, 0x78).is_pending


@pytest.mark.parametrize(
    ("payload", "text"),
    [
        ("", "Message (empty): its service is none of 01, 02, 03, 04, 07, 09, 0A; ask for one of "
         "these."),
        ("4655", "Message 46 55: its service is none of 01, 02, 03, 04, 07, 09, 0A; ask for one "
         "of these."),
        ("7F01", "Reply 7F 01: a negative reply has three bytes, not 2; ask again."),
        ("43", "Reply 43: the count says 0 trouble codes but 0 bytes follow; ask again."),
        ("4400", "Reply 44 00: nothing may follow the answer to a clear; ask again."),
        ("4902", "Reply 49 02: vehicle information is missing; ask again."),
        ("410C1A", "Reply 41 0C 1A: parameter 0C is cut short; ask again."),
        ("41", "Reply 41: it holds 0 parameters from 0 frames; ask again, one frame at a time."),
        ("41FE00", "Parameter FE is not in the table; add its row to parameters.csv."),
        ("420D00000501", "Reply 42 0D 00 00 05 01: parameter 05 is cut short; ask again."),
        ("420D0000050100", "Reply 42 0D 00 00 05 01 00: it holds 2 parameters from 2 frames; ask "
         "again, one frame at a time."),
    ],
)  # fmt: skip
def test_a_malformed_reply_is_reported_not_guessed(payload: str, text: str) -> None:
    with pytest.raises(BellmouthError) as caught:
        messages.decode_response(bytes.fromhex(payload))
    assert str(caught.value) == text


@pytest.mark.parametrize(
    ("request_", "text"),
    [
        (
            Request(Service.CURRENT_DATA, tuple(range(4, 11))),
            "Service 01 takes 1 to 6 parameters in one request, not 7; ask for that many.",
        ),
        (
            Request(Service.FREEZE_FRAME, (4, 5, 6, 7)),
            "Service 02 takes 1 to 3 parameters in one request, not 4; ask for that many.",
        ),
        (
            Request(Service.CONFIRMED_CODES, (1,)),
            "Service 03 takes 0 parameters in one request, not 1; ask for that many.",
        ),
        (
            Request(Service.VEHICLE_INFORMATION),
            "Service 09 takes 1 parameters in one request, not 0; ask for that many.",
        ),
    ],
)
def test_a_request_of_the_wrong_length_is_an_error(request_: Request, text: str) -> None:
    with pytest.raises(BellmouthError) as caught:
        messages.encode_request(request_)
    assert str(caught.value) == text


def test_a_freeze_frame_request_of_two_frames_is_an_error() -> None:
    with pytest.raises(BellmouthError) as caught:
        messages.decode_request(bytes.fromhex("020C000D01"))
    assert str(caught.value) == (
        "Request 02 0C 00 0D 01: service 02 wants parameter and frame in pairs, one frame for "
        "all; send it again."
    )
