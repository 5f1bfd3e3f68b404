"""ISO 15765-2 and ISO 15765-4: identifiers, frames and times that the client puts on the bus.

From memory of the standards (M), but for the pair of controller 42, which the Linux kernel's
documentation prints (S), and the frames that can-isotp made (L), see the tables.
"""

import re

import pytest

from bellmouth.bus import gathering, segments
from bellmouth.bus.link import Losses
from bellmouth.bus.matching import fits
from bellmouth.bus.segments import Assembly
from bellmouth.j1979.addressing import address_of, functional_id, physical_id, response_id
from bellmouth.j1979.messages import Negative, decode_response
from tests.bus.peer import Peer, hexed
from tests.bus.wires import link_to
from tests.reference.reading import rows

IDENTIFIERS = rows("can_ids")
FRAMES = rows("isotp_frames")
TIMES = {row["what"]: float(row["seconds"]) for row in rows("timing")}
NUMBERS = {"first": 0, "second": 1, "eighth": 7}


def _address(use: str) -> int:
    found = re.search(r"address (\w+) hex", use)
    if found:
        return int(found[1], 16)
    return 0x10 + next(n for word, n in NUMBERS.items() if word in use)


@pytest.mark.parametrize("row", IDENTIFIERS, ids=lambda row: row["use"])
def test_identifiers(row: dict[str, str]) -> None:
    extended = "29 bit" in row["use"]
    request = int(row["request_id"], 16)
    if row["use"].startswith("functional"):
        assert functional_id(29 if extended else 11) == request
        return
    address, answer = _address(row["use"]), int(row["response_id"], 16)
    assert physical_id(address, 29 if extended else 11) == request
    assert response_id(address, 29 if extended else 11) == answer
    assert address_of(answer, extended=extended) == address


@pytest.mark.parametrize(
    ("what", "ours"),
    [
        ("P2 controller answers within", gathering.P2_S),
        ("P2* after response pending (7F xx 78)", gathering.P2_STAR_S),
        ("N_Bs for emission-related", segments.N_BS_S),
        ("N_Cr for emission-related", segments.N_CR_S),
    ],
)
def test_times(what: str, ours: float) -> None:
    assert TIMES[what] == ours


def _messages() -> list[tuple[str, list[bytes]]]:
    """Payloads of the table and the frames that carry each."""
    found: list[tuple[str, list[bytes]]] = []
    for row in FRAMES:
        if row["kind"] in {"single", "first"}:
            found.append((row["payload_or_meaning"], []))
        if row["kind"] in {"single", "first"} or re.fullmatch(
            r"sequence \d", row["payload_or_meaning"]
        ):
            found[-1][1].append(hexed(row["frame"]))
    return found


@pytest.mark.parametrize(("payload", "frames"), _messages(), ids=lambda value: str(value)[:24])
def test_messages_are_put_together_from_their_frames(payload: str, frames: list[bytes]) -> None:
    sent: list[tuple[int, bytes]] = []
    assembly = Assembly(
        0x10, 11, lambda identifier, data: sent.append((identifier, data)), Losses()
    )
    whole = [assembly.feed(frame) for frame in frames]
    assert whole == [None] * (len(frames) - 1) + [hexed(payload)]
    flow = next(r for r in FRAMES if r["payload_or_meaning"] == "continue, block 0, gap 0 ms")
    expected = [(int(flow["can_id"], 16), hexed(flow["frame"]))] if len(frames) > 1 else []
    assert sent == expected


def test_a_request_goes_out_as_the_table_has_it() -> None:
    row = next(row for row in FRAMES if row["payload_or_meaning"] == "010C")
    with Peer(lambda _identifier, _data: [(0.0, 0x7E8, "04410C0AF0000000")]) as peer:
        with link_to(peer) as link:
            answers = link.exchange(hexed("010C"), 0x10).answers
        assert peer.heard == [(int(row["can_id"], 16), hexed(row["frame"]))]
    assert [answer.payload for answer in answers] == [hexed("410C0AF0")]


def test_the_sequence_counter_wraps_from_fifteen_to_nought() -> None:
    assert any(row["payload_or_meaning"] == "sequence wraps 15 to 0" for row in FRAMES)
    payload = bytes((0x49, 0x02, 0x01)) + bytes(range(6 + 7 * 17 - 3))
    frames = [bytes((0x10, len(payload))) + payload[:6]]
    for number, start in enumerate(range(6, len(payload), 7), start=1):
        frames.append(bytes((0x20 | number & 0xF,)) + payload[start : start + 7].ljust(7, b"\0"))
    assert {frame[0] for frame in frames[1:]} > {0x2F, 0x20}
    assembly = Assembly(0x10, 11, lambda _identifier, _data: None, Losses())
    assert [one for frame in frames if (one := assembly.feed(frame))] == [payload]


@pytest.mark.parametrize("row", rows("negative_responses"), ids=lambda row: row["code"])
def test_a_refusal_answers_its_request(row: dict[str, str]) -> None:
    reply = bytes((0x7F, 0x01, int(row["code"], 16)))
    assert fits(hexed("010C"), reply)
    assert not fits(hexed("03"), reply)
    decoded = decode_response(reply)
    assert isinstance(decoded, Negative)
    assert decoded.meaning == row["meaning"]


@pytest.mark.parametrize(
    "row",
    [row for row in rows("messages") if row["direction"] != "request"],
    ids=lambda r: r["hex"],
)
def test_a_reply_answers_its_own_request_alone(row: dict[str, str]) -> None:
    payload = hexed(row["hex"])
    service = payload[1] if payload[0] == 0x7F else payload[0] - 0x40
    requests = {
        0x01: bytes((1, *(payload[1:2] if payload[0] != 0x7F else b"\x0c"))),
        0x02: hexed("020C00"),
        0x09: hexed("0902"),
    }
    assert fits(requests.get(service, bytes((service,))), payload)
    for other in (hexed("0146"), hexed("020500"), hexed("0904"), hexed("0A")):
        assert not fits(other, payload) or payload[:2] == bytes((0x7F, other[0]))
