"""Requests and replies of the standard's services, both ways, as carried on CAN.

A message here is the payload that the transport delivers whole: no lengths, no frame counters.
Services 01 (current data), 02 (freeze frame), 03, 07 and 0A (confirmed, pending and permanent
codes), 04 (clear) and 09 (vehicle information), and negative replies. The layout is that of SAE
J1979 / ISO 15031-5 on ISO 15765-4, quoted from memory; the K line carries codes without their
count and is not read here.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from enum import IntEnum

from bellmouth.errors import BellmouthError
from bellmouth.j1979 import parameters
from bellmouth.j1979.codes import decode_codes, encode_codes

__all__ = [
    "BUSY",
    "MOST_FRAME_PARAMETERS",
    "MOST_PARAMETERS",
    "NEGATIVE",
    "NEGATIVE_MEANINGS",
    "POSITIVE",
    "RESPONSE_PENDING",
    "Cleared",
    "Data",
    "Negative",
    "Request",
    "Response",
    "Service",
    "TroubleCodes",
    "VehicleInformation",
    "decode_request",
    "decode_response",
    "encode_request",
    "encode_response",
]

MOST_PARAMETERS = 6  # in one request of service 01
MOST_FRAME_PARAMETERS = 3  # in one request of service 02, each with its frame
POSITIVE = 0x40  # added to the service in a positive reply
NEGATIVE = 0x7F
BUSY = 0x21
RESPONSE_PENDING = 0x78

# ISO 14229-1 annex A, quoted from memory.
NEGATIVE_MEANINGS: Mapping[int, str] = {
    0x10: "general reject",
    0x11: "service not supported",
    0x12: "sub-function not supported",
    0x13: "incorrect message length or format",
    BUSY: "busy, repeat request",
    0x22: "conditions not correct",
    0x31: "request out of range",
    RESPONSE_PENDING: "correctly received, response pending",
}


class Service(IntEnum):
    """Services that are read and written here."""

    CURRENT_DATA = 0x01
    FREEZE_FRAME = 0x02
    CONFIRMED_CODES = 0x03
    CLEAR = 0x04
    PENDING_CODES = 0x07
    VEHICLE_INFORMATION = 0x09
    PERMANENT_CODES = 0x0A


_CODE_SERVICES = frozenset(
    {Service.CONFIRMED_CODES, Service.PENDING_CODES, Service.PERMANENT_CODES}
)


@dataclass(frozen=True)
class Request:
    """What is asked of the car.

    Attributes
    ----------
    service
        One of :class:`Service`.
    identifiers
        Parameters of service 01 (one to six) or 02 (one to three), item of service 09 (one).
    frame
        Number of the freeze frame, service 02 alone.
    """

    service: Service
    identifiers: tuple[int, ...] = ()
    frame: int = 0


@dataclass(frozen=True)
class Data:
    """Parameters as they are now (service 01) or were when a code was set (service 02).

    ``replies`` holds each identifier with its data bytes, in the car's order.
    """

    service: Service
    replies: tuple[tuple[int, bytes], ...]
    frame: int = 0

    def values(self, maxima: Mapping[str, float | None] | None = None) -> dict[str, float | None]:
        """Values by name, each in its parameter's unit; see ``parameters.decode``."""
        found: dict[str, float | None] = {}
        for identifier, data in self.replies:
            found |= parameters.decode(identifier, data, maxima)
        return found


@dataclass(frozen=True)
class TroubleCodes:
    """Confirmed (03), pending (07) or permanent (0A) trouble codes."""

    service: Service
    codes: tuple[str, ...]


@dataclass(frozen=True)
class Cleared:
    """Codes, freeze frames, readiness and the learned trims have been cleared (service 04)."""


@dataclass(frozen=True)
class VehicleInformation:
    """One item of service 09.

    ``count`` is the number of data items the car announces; item 00 (supported items) has none.
    """

    item: int
    data: bytes
    count: int = 1

    @property
    def text(self) -> str:
        """The data as text, padding left out: vehicle number (02), calibrations (04), name (0A)."""
        return self.data.decode("ascii", errors="replace").strip("\0 ")


@dataclass(frozen=True)
class Negative:
    """A refusal, or with code 78 the promise of a later answer."""

    service: int
    code: int

    @property
    def meaning(self) -> str:
        """What the code says, in words."""
        return NEGATIVE_MEANINGS.get(self.code, f"code {self.code:02X}")

    @property
    def is_pending(self) -> bool:
        """Whether the car asks to wait, up to P2* (5 s)."""
        return self.code == RESPONSE_PENDING


Response = Data | TroubleCodes | Cleared | VehicleInformation | Negative


def encode_request(request: Request) -> bytes:
    """Payload of a request.

    Raises
    ------
    BellmouthError
        If there are more parameters than the standard allows in one request, or none or some
        where it wants some or none.
    """
    _check_number(request)
    ids = bytes(request.identifiers)
    if request.service == Service.FREEZE_FRAME:
        ids = b"".join(bytes((one, request.frame)) for one in ids)
    return bytes((request.service,)) + ids


def decode_request(payload: bytes) -> Request:
    """Request in a payload: the inverse of :func:`encode_request`.

    Raises
    ------
    BellmouthError
        If the service is not one of :class:`Service` or the length does not fit it.
    """
    service, body = _service(payload, 0), payload[1:]
    if service != Service.FREEZE_FRAME:
        request = Request(service, tuple(body))
    else:
        if len(body) % 2 or len(set(body[1::2])) > 1:
            raise BellmouthError(
                f"Request {_hex(payload)}: service 02 wants parameter and frame in pairs, one "
                "frame for all; send it again."
            )
        request = Request(service, tuple(body[::2]), body[1] if body else 0)
    _check_number(request)
    return request


def _check_number(request: Request) -> None:
    least, most = {
        Service.CURRENT_DATA: (1, MOST_PARAMETERS),
        Service.FREEZE_FRAME: (1, MOST_FRAME_PARAMETERS),
        Service.VEHICLE_INFORMATION: (1, 1),
    }.get(request.service, (0, 0))
    if not least <= len(request.identifiers) <= most:
        wanted = str(least) if least == most else f"{least} to {most}"
        raise BellmouthError(
            f"Service {request.service:02X} takes {wanted} parameters in one request, not "
            f"{len(request.identifiers)}; ask for that many."
        )


def encode_response(response: Response) -> bytes:
    """Payload of a reply: the inverse of :func:`decode_response`."""
    match response:
        case Negative():
            return bytes((NEGATIVE, response.service, response.code))
        case Cleared():
            return bytes((Service.CLEAR + POSITIVE,))
        case TroubleCodes():
            head = (response.service + POSITIVE, len(response.codes))
            return bytes(head) + encode_codes(response.codes)
        case VehicleInformation():
            count = bytes((response.count,)) if response.item else b""
            head = (Service.VEHICLE_INFORMATION + POSITIVE, response.item)
            return bytes(head) + count + response.data
        case Data():
            frame = bytes((response.frame,)) if response.service == Service.FREEZE_FRAME else b""
            parts = (bytes((one,)) + frame + data for one, data in response.replies)
            return bytes((response.service + POSITIVE,)) + b"".join(parts)


def decode_response(payload: bytes, longer: Collection[int] = ()) -> Response:
    """Reply in a payload.

    ``longer`` are parameters whose data have one byte more than the table has, which is passed
    over: see ``parameters.further_banks``.

    Raises
    ------
    BellmouthError
        If the service or a parameter is unknown, or the length contradicts the content: such a
        reply is reported, not guessed at.
    """
    if payload[:1] == bytes((NEGATIVE,)):
        if len(payload) != 3:
            raise BellmouthError(
                f"Reply {_hex(payload)}: a negative reply has three bytes, not {len(payload)}; "
                "ask again."
            )
        return Negative(payload[1], payload[2])
    service, body = _service(payload, POSITIVE), payload[1:]
    if service in _CODE_SERVICES:
        return _decode_trouble_codes(service, body, payload)
    if service == Service.VEHICLE_INFORMATION:
        return _decode_vehicle_information(body, payload)
    if service == Service.CLEAR:
        if body:
            raise BellmouthError(
                f"Reply {_hex(payload)}: nothing may follow the answer to a clear; ask again."
            )
        return Cleared()
    return _decode_data(service, body, payload, longer)


def _decode_trouble_codes(service: Service, body: bytes, payload: bytes) -> TroubleCodes:
    if not body or len(body) != 1 + 2 * body[0]:
        count = body[0] if body else 0
        raise BellmouthError(
            f"Reply {_hex(payload)}: the count says {count} trouble codes but "
            f"{max(len(body) - 1, 0)} bytes follow; ask again."
        )
    return TroubleCodes(service, decode_codes(body[1:]))


def _decode_vehicle_information(body: bytes, payload: bytes) -> VehicleInformation:
    if len(body) < 2:
        raise BellmouthError(f"Reply {_hex(payload)}: vehicle information is missing; ask again.")
    if body[0] == 0:
        return VehicleInformation(0, body[1:])
    return VehicleInformation(body[0], body[2:], body[1])


def _decode_data(service: Service, body: bytes, payload: bytes, longer: Collection[int]) -> Data:
    head = 2 if service == Service.FREEZE_FRAME else 1
    replies: list[tuple[int, bytes]] = []
    frames: set[int] = set()
    at = 0
    while at < len(body):
        end = at + head + parameters.byte_count(body[at])
        after = end + (body[at] in longer)
        if after > len(body):
            raise BellmouthError(
                f"Reply {_hex(payload)}: parameter {body[at]:02X} is cut short; ask again."
            )
        replies.append((body[at], body[at + head : end]))
        frames.add(body[at + 1] if head == 2 else 0)
        at = after
    if not replies or len(frames) > 1:
        raise BellmouthError(
            f"Reply {_hex(payload)}: it holds {len(replies)} parameters from {len(frames)} "
            "frames; ask again, one frame at a time."
        )
    return Data(service, tuple(replies), frames.pop())


def _service(payload: bytes, offset: int) -> Service:
    number = payload[0] - offset if payload else -1
    if number not in set(Service):
        raise BellmouthError(
            f"Message {_hex(payload) or '(empty)'}: its service is none of "
            f"{', '.join(f'{one:02X}' for one in Service)}; ask for one of these."
        )
    return Service(number)


def _hex(payload: bytes) -> str:
    return payload.hex(" ").upper()
