"""Messages of SAE J1979 as the K line carries them, turned into the form of CAN and back.

The K line has no long messages: at most seven bytes go in one, so that

* a request holds one parameter; one with more is split into several;
* trouble codes come three a message, padded with zeros, without their count;
* vehicle information comes in numbered messages of four bytes, the vehicle number with three
  bytes of padding before it, and without a count of items.

All else is alike. The client (:mod:`bellmouth.j1979.messages`) knows the form of CAN alone, so the
link joins and turns. From memory of SAE J1979 and ISO 14230-4.
"""

from collections.abc import Sequence

from bellmouth.errors import BellmouthError
from bellmouth.j1979.iso14230 import MOST_DATA
from bellmouth.j1979.messages import NEGATIVE, POSITIVE, Service

__all__ = [
    "hides_losses",
    "join_replies",
    "messages_of",
    "split_reply",
    "split_request",
    "takes_several",
]

_CODES = frozenset({Service.CONFIRMED_CODES, Service.PENDING_CODES, Service.PERMANENT_CODES})
_CODES_A_MESSAGE = 3
_BYTES_A_MESSAGE = 4
_VEHICLE_NUMBER = 0x02
_CALIBRATIONS = 0x04
_VEHICLE_NUMBER_BYTES = 17
_MESSAGES = {0x02: 5, 0x0A: 5}  # of items whose length is laid down
_ITEM_BYTES = {0x02: 17, 0x04: 16, 0x06: 4, 0x08: 2, 0x0A: 20, 0x0B: 2}


def split_request(payload: bytes) -> tuple[bytes, ...]:
    """A request as one or more requests of one parameter each (two bytes each in service 02)."""
    service, body = payload[:1], payload[1:]
    step = {b"\x01": 1, b"\x02": 2}.get(service)
    if step is None or len(body) <= step:
        return (payload,)
    return tuple(service + body[at : at + step] for at in range(0, len(body), step))


def takes_several(request: bytes) -> bool:
    """Whether one controller may answer this request with more than one message."""
    return bool(request) and (
        request[0] in _CODES
        or (request[0] == Service.VEHICLE_INFORMATION and not _is_single(request[1:2]))
    )


def messages_of(request: bytes) -> int | None:
    """How many messages a positive reply to this request takes; None where nobody can know."""
    if not takes_several(request):
        return 1
    return _MESSAGES.get(request[1]) if request[0] == Service.VEHICLE_INFORMATION else None


def hides_losses(request: bytes) -> bool:
    """Whether a message lost on the way would leave an answer to this request that looks whole.

    Codes have neither numbers nor a count. Of numbered messages the last may be missing, which
    shows where the length is laid down, and for calibration names (four messages each) too.
    """
    if messages_of(request) is not None:
        return False
    return request[0] in _CODES or request[1] != _CALIBRATIONS


def _is_single(item: bytes) -> bool:
    # Item 00 and its like are masks; odd items up to 09 count the messages of the next.
    return not item or item[0] % 0x20 == 0 or item[0] in (0x01, 0x03, 0x05, 0x07, 0x09)


def split_reply(payload: bytes) -> tuple[bytes, ...]:
    """A reply in the form of CAN as messages of the K line: the inverse of :func:`join_replies`.

    Raises
    ------
    BellmouthError
        If it does not fit: the K line has no message that long.
    """
    service = payload[0] - POSITIVE if payload else 0
    messages: tuple[bytes, ...] = (payload,)
    if service in _CODES and len(payload) >= 2:
        messages = _split_codes(payload[:1], payload[2:])
    elif service == Service.VEHICLE_INFORMATION and len(payload) >= 3:
        messages = _split_information(payload)
    if not messages or not all(1 <= len(message) <= MOST_DATA for message in messages):
        raise BellmouthError(
            f"Reply {payload.hex(' ').upper()}: a K-line message holds 1 to {MOST_DATA} bytes; "
            "ask for less."
        )
    return messages


def _split_codes(head: bytes, codes: bytes) -> tuple[bytes, ...]:
    step = 2 * _CODES_A_MESSAGE
    parts = [codes[at : at + step] for at in range(0, len(codes), step)] or [b""]
    return tuple(head + part.ljust(step, b"\0") for part in parts)


def _split_information(payload: bytes) -> tuple[bytes, ...]:
    head, item = payload[:2], payload[1]
    if item % 0x20 == 0:
        return (head + b"\x01" + payload[2:],)
    if _is_single(payload[1:2]):
        return (payload,)
    data = payload[3:]
    if item == _VEHICLE_NUMBER:
        data = data.rjust(-(-len(data) // _BYTES_A_MESSAGE) * _BYTES_A_MESSAGE, b"\0")
    parts = [data[at : at + _BYTES_A_MESSAGE] for at in range(0, len(data), _BYTES_A_MESSAGE)]
    return tuple(
        head + bytes((number,)) + part.ljust(_BYTES_A_MESSAGE, b"\0")
        for number, part in enumerate(parts, 1)
    )


def join_replies(messages: Sequence[bytes]) -> bytes:
    """The messages of one controller's answer as one reply in the form of CAN.

    Raises
    ------
    BellmouthError
        If messages are missing, doubled or out of order, or do not belong together.
    """
    first = messages[0] if messages else b""
    if not first or len({message[:1] for message in messages}) > 1:
        raise _not_whole(messages)
    if first[0] == NEGATIVE:
        return messages[-1]
    service = first[0] - POSITIVE
    if service in _CODES:
        return _join_codes(messages)
    if service == Service.VEHICLE_INFORMATION and len(first) >= 3:
        return _join_information(messages)
    if len(messages) > 1:
        raise _not_whole(messages)
    return first


def _join_codes(messages: Sequence[bytes]) -> bytes:
    if any(len(message) != 1 + 2 * _CODES_A_MESSAGE for message in messages):
        raise _not_whole(messages)
    # No code is held twice, so a message that comes twice was doubled on the way.
    data = b"".join(message[1:] for message in dict.fromkeys(messages))
    pairs = [data[at : at + 2] for at in range(0, len(data), 2)]
    codes = [pair for pair in pairs if any(pair)]
    return messages[0][:1] + bytes((len(codes),)) + b"".join(codes)


def _join_information(messages: Sequence[bytes]) -> bytes:
    head, item = messages[0][:2], messages[0][1]
    if _is_single(messages[0][1:2]):
        if len(messages) > 1:
            raise _not_whole(messages)
        return head + messages[0][3:] if item % 0x20 == 0 else messages[0]
    numbers = [message[2] if len(message) == 3 + _BYTES_A_MESSAGE else 0 for message in messages]
    if numbers != list(range(1, len(messages) + 1)) or {m[:2] for m in messages} != {head}:
        raise _not_whole(messages)
    data = b"".join(message[3:] for message in messages)
    if len(messages) != _MESSAGES.get(item, len(messages)):
        raise _not_whole(messages)
    if item == _VEHICLE_NUMBER:
        data = data[-_VEHICLE_NUMBER_BYTES:]
    size = _ITEM_BYTES.get(item, len(data))
    if len(data) % size:
        raise _not_whole(messages)
    return head + bytes((len(data) // size,)) + data


def _not_whole(messages: Sequence[bytes]) -> BellmouthError:
    told = ", ".join(message.hex(" ").upper() for message in messages) or "(none)"
    return BellmouthError(f"Replies {told}: they are not one whole answer; ask again.")
