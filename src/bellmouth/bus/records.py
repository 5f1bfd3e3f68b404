"""What a car keeps on record: codes, freeze frames, monitors, identity. Everything is asked twice.

Each item counts only when its controller has said the same twice in a row of questions, so that a
wrong digit on the wire does not become a wrong code.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence

from bellmouth.bus.asking import Asker
from bellmouth.bus.reports import Codes, FreezeFrame, Identity
from bellmouth.errors import BellmouthError
from bellmouth.j1979 import parameters
from bellmouth.j1979.codes import MonitorStatus, decode_code, decode_monitor_status
from bellmouth.j1979.messages import (
    Data,
    Request,
    Response,
    Service,
    TroubleCodes,
    VehicleInformation,
    decode_response,
    encode_request,
)
from bellmouth.recording.of_car import vehicle_mark

__all__ = [
    "MAXIMA",
    "ask_item",
    "masked",
    "read_codes",
    "read_freeze_frame",
    "read_further_banks",
    "read_identity",
    "read_maxima",
    "read_monitors",
    "read_name",
    "supported_parameters",
]

_STEP = 0x20  # a supported-parameters reply speaks for the next 32
_LAST_MASK = 0xE0
_NUMBER, _CALIBRATIONS, _VERIFICATIONS, _NAME = 0x02, 0x04, 0x06, 0x0A
_CALIBRATION_BYTES, _VERIFICATION_BYTES = 16, 4
_SHOWN_START, _SHOWN_END = 3, 2
_CODE_OF_FRAME = 0x02
_MONITOR_STATUS = 0x01
#: Parameters that say what replaces the full scale of others.
MAXIMA = (0x4F, 0x50)
_SENSORS_OF_FOUR_BANKS = 0x1D
_LOOKS = 2


def ask_item(
    asker: Asker, address: int, request: Request, longer: Collection[int] = ()
) -> Response | None:
    """Reply that one controller gave twice; None where it gave none, or none that can be read."""
    payload = asker.ask_surely(encode_request(request), address)
    if payload is None:
        return None
    try:
        return decode_response(payload, longer)
    except BellmouthError:
        asker.malformed += 1
        return None


def _data(asker: Asker, address: int, service: Service, identifier: int) -> bytes | None:
    return _only(ask_item(asker, address, Request(service, (identifier,))), identifier)


def _only(reply: Response | None, identifier: int) -> bytes | None:
    """What a reply says of one parameter; None where it says anything else."""
    if not isinstance(reply, Data) or len(reply.replies) != 1:
        return None
    given, data = reply.replies[0]
    return data if given == identifier else None


def supported_parameters(
    asker: Asker, address: int, service: Service = Service.CURRENT_DATA
) -> frozenset[int]:
    """Parameters that a controller lists as supported, the lists themselves left out."""
    found: set[int] = set()
    for first in range(0, _LAST_MASK + 1, _STEP):
        mask = _data(asker, address, service, first)
        if mask is None:
            break
        listed = parameters.supported(first, mask)
        found |= set(listed)
        if first + _STEP not in listed:
            break
    return frozenset(one for one in found if one % _STEP)


def read_codes(asker: Asker, addresses: Iterable[int]) -> Codes:
    """Confirmed, pending and permanent codes of each controller that answers.

    Before CAN a controller without confirmed codes may keep silent (SAE J1979, from memory): it has
    none where its monitor status counts none.
    """
    kinds: dict[Service, dict[int, tuple[str, ...]]] = {
        Service.CONFIRMED_CODES: {},
        Service.PENDING_CODES: {},
        Service.PERMANENT_CODES: {},
    }
    for address in addresses:
        for service, found in kinds.items():
            malformed = asker.malformed
            reply = ask_item(asker, address, Request(service))
            is_silent = reply is None and asker.malformed == malformed
            if isinstance(reply, TroubleCodes) and reply.service == service:
                found[address] = reply.codes
            elif service == Service.CONFIRMED_CODES and is_silent and _counts_none(asker, address):
                found[address] = ()
    return Codes(*kinds.values())


def _counts_none(asker: Asker, address: int) -> bool:
    status = read_monitors(asker, (address,)).get(address)
    return status is not None and status.code_count == 0


def read_freeze_frame(
    asker: Asker,
    address: int,
    identifiers: Sequence[int] | None = None,
    frame: int = 0,
    *,
    maxima: Mapping[str, float | None] | None = None,
    longer: Collection[int] = (),
) -> FreezeFrame | None:
    """One freeze frame of a controller; None where it holds none.

    Parameters
    ----------
    identifiers
        Which parameters to read, or None for all that the controller lists and the table knows.
    maxima, longer
        What replaces the controller's full scales (:func:`read_maxima`), and which of its replies
        are longer (:func:`read_further_banks`); both hold here, too.
    """
    code = _frozen(asker, address, _CODE_OF_FRAME, frame)
    if code is None or not any(code):
        return None
    if identifiers is None:
        listed = supported_parameters(asker, address, Service.FREEZE_FRAME)
        identifiers = sorted(listed & set(parameters.identifiers()) - {_CODE_OF_FRAME})
    values: dict[str, float | None] = {}
    for one in identifiers:
        data = _frozen(asker, address, one, frame, longer)
        if data is not None:
            values |= parameters.decode(one, data, maxima)
    return FreezeFrame(address, frame, decode_code(code), values)


def _frozen(
    asker: Asker, address: int, identifier: int, frame: int, longer: Collection[int] = ()
) -> bytes | None:
    request = Request(Service.FREEZE_FRAME, (identifier,), frame)
    reply = ask_item(asker, address, request, longer)
    return _only(reply, identifier) if isinstance(reply, Data) and reply.frame == frame else None


def read_maxima(asker: Asker, address: int, supported: Collection[int]) -> dict[str, float | None]:
    """What replaces the full scale of some parameters (4F and 50), as far as a controller says."""
    maxima: dict[str, float | None] = {}
    for one in MAXIMA:
        data = _data(asker, address, Service.CURRENT_DATA, one) if one in supported else None
        if data is not None:
            maxima |= parameters.decode(one, data)
    return maxima


def read_further_banks(asker: Asker, address: int, supported: Collection[int]) -> frozenset[int]:
    """Parameters of a controller that tell bank 3 or 4 besides, and so are a byte longer.

    Those that may are looked at: a controller that lists such a bank may tell one all the same.
    """
    if _SENSORS_OF_FOUR_BANKS not in supported:
        return frozenset()
    data = _data(asker, address, Service.CURRENT_DATA, _SENSORS_OF_FOUR_BANKS)
    may = parameters.further_banks(data[0]) if data else frozenset()
    return frozenset(one for one in may & set(supported) if _is_longer(asker, address, one))


def _is_longer(asker: Asker, address: int, identifier: int) -> bool:
    """Whether a reply is longer than the table has it; what a trim says may change meanwhile."""
    request = encode_request(Request(Service.CURRENT_DATA, (identifier,)))
    whole = len(request) + parameters.byte_count(identifier)
    sizes = [len(a.payload) for _ in range(_LOOKS) for a in asker.ask(request, address).answers]
    return bool(sizes) and min(sizes) == whole + 1


def read_monitors(asker: Asker, addresses: Iterable[int]) -> dict[int, MonitorStatus]:
    """Monitor status since the codes were cleared, of each controller that says."""
    found = {}
    for address in addresses:
        data = _data(asker, address, Service.CURRENT_DATA, _MONITOR_STATUS)
        if data is not None:
            found[address] = decode_monitor_status(data)
    return found


def read_identity(asker: Asker, address: int, *, mask_vin: bool = True) -> Identity:
    """What a controller says of itself: number, calibrations, name."""
    listed = _data_of_item(asker, address, 0)
    items = set(parameters.supported(0, listed)) if listed else set()
    said = {
        item: _data_of_item(asker, address, item) or b"" if item in items else b""
        for item in (_NUMBER, _CALIBRATIONS, _VERIFICATIONS, _NAME)
    }
    number = _text(said[_NUMBER])
    return Identity(
        source=address,
        vehicle_number=masked(number) if number and mask_vin else number,
        calibrations=tuple(
            text
            for part in _parts(said[_CALIBRATIONS], _CALIBRATION_BYTES)
            if (text := _text(part))
        ),
        verifications=tuple(
            part.hex().upper() for part in _parts(said[_VERIFICATIONS], _VERIFICATION_BYTES)
        ),
        name=_text(said[_NAME]),
        mark=vehicle_mark(number),
    )


def read_name(asker: Asker, address: int) -> str | None:
    """The controller's own name (item 0A), or None."""
    listed = _data_of_item(asker, address, 0)
    if not listed or _NAME not in parameters.supported(0, listed):
        return None
    return _text(_data_of_item(asker, address, _NAME) or b"")


def _data_of_item(asker: Asker, address: int, item: int) -> bytes | None:
    reply = ask_item(asker, address, Request(Service.VEHICLE_INFORMATION, (item,)))
    return reply.data if isinstance(reply, VehicleInformation) and reply.item == item else None


def _parts(data: bytes, size: int) -> list[bytes]:
    return [data[n : n + size] for n in range(0, len(data), size)]


def _text(data: bytes) -> str | None:
    """Printable text without padding; None where there is none."""
    text = data.decode("ascii", errors="replace").replace("\0", "")
    return " ".join(text.split()) or None


def masked(number: str) -> str:
    """An identification number with all but its first three and last two characters hidden."""
    hidden = len(number) - _SHOWN_START - _SHOWN_END
    if hidden <= 0:
        return "*" * len(number)
    return number[:_SHOWN_START] + "*" * hidden + number[-_SHOWN_END:]
