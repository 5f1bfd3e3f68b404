"""ISO 15765-4: messages of SAE J1979 as carried on CAN, from memory (M): ``messages.csv``."""

import pytest

from bellmouth.errors import BellmouthError
from bellmouth.j1979 import messages
from bellmouth.j1979.messages import (
    Cleared,
    Data,
    Negative,
    Request,
    Service,
    TroubleCodes,
    VehicleInformation,
)
from tests.reference.reading import rows

ROWS = {row["hex"]: row for row in rows("messages")}

REQUESTS = {
    "010C": Request(Service.CURRENT_DATA, (0x0C,)),
    "010C0D05": Request(Service.CURRENT_DATA, (0x0C, 0x0D, 0x05)),
    "020C00": Request(Service.FREEZE_FRAME, (0x0C,), frame=0),
}
REPLIES: dict[str, messages.Response] = {
    "410C1AF8": Data(Service.CURRENT_DATA, ((0x0C, b"\x1a\xf8"),)),
    "410C1AF80D00057B": Data(
        Service.CURRENT_DATA, ((0x0C, b"\x1a\xf8"), (0x0D, b"\0"), (0x05, b"\x7b"))
    ),
    "4100BE1FA813": Data(Service.CURRENT_DATA, ((0x00, bytes.fromhex("BE1FA813")),)),
    "430201710507": TroubleCodes(Service.CONFIRMED_CODES, ("P0171", "P0507")),
    "4300": TroubleCodes(Service.CONFIRMED_CODES, ()),
    "44": Cleared(),
    "7F0422": Negative(0x04, 0x22),
    "7F0178": Negative(0x01, 0x78),
    "7F0112": Negative(0x01, 0x12),
    "420C000AF0": Data(Service.FREEZE_FRAME, ((0x0C, b"\x0a\xf0"),), frame=0),
    "4902013147314A43353434345237323532333637": VehicleInformation(2, b"1G1JC5444R7252367"),
}
MALFORMED = "470101010171"


def test_every_row_is_tested() -> None:
    assert set(ROWS) == {*REQUESTS, *REPLIES, MALFORMED}


@pytest.mark.parametrize("text", REQUESTS)
def test_requests_both_ways(text: str) -> None:
    assert ROWS[text]["direction"] == "request"
    assert messages.decode_request(bytes.fromhex(text)) == REQUESTS[text]
    assert messages.encode_request(REQUESTS[text]) == bytes.fromhex(text)


@pytest.mark.parametrize("text", REPLIES)
def test_replies_both_ways(text: str) -> None:
    assert ROWS[text]["direction"] == "response"
    assert messages.decode_response(bytes.fromhex(text)) == REPLIES[text]
    assert messages.encode_response(REPLIES[text]) == bytes.fromhex(text)


@pytest.mark.parametrize("text", [t for t, row in ROWS.items() if "=" in row["meaning"]])
def test_values_in_replies(text: str) -> None:
    reply = messages.decode_response(bytes.fromhex(text))
    assert isinstance(reply, Data)
    words = [word.split("=") for word in ROWS[text]["meaning"].split() if "=" in word]
    assert reply.values() == {name: float(value) for name, value in words}


def test_a_count_that_contradicts_the_length_is_reported() -> None:
    with pytest.raises(BellmouthError) as caught:
        messages.decode_response(bytes.fromhex(MALFORMED))
    assert str(caught.value) == (
        "Reply 47 01 01 01 01 71: the count says 1 trouble codes but 4 bytes follow; ask again."
    )


def test_vehicle_number_reads_as_text() -> None:
    # The standard's own example (M); its check digit is right by 49 CFR 565.15 (X).
    reply = REPLIES["4902013147314A43353434345237323532333637"]
    assert isinstance(reply, VehicleInformation)
    assert reply.text == "1G1JC5444R7252367"
    letters = {c: v for cs, v in (("AJ", 1), ("BKS", 2), ("CLT", 3), ("DMU", 4)) for c in cs}
    letters |= {
        c: v for cs, v in (("ENV", 5), ("FW", 6), ("GPX", 7), ("HY", 8), ("RZ", 9)) for c in cs
    }
    weights = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
    values = [letters.get(c) or int(c) for c in reply.text]
    assert sum(v * w for v, w in zip(values, weights, strict=True)) % 11 == int(reply.text[8])
