"""What a practice controller answers to each service of SAE J1979, and how it refuses.

Services 01, 02, 03, 04, 07, 09 and 0A. What a controller has not got is refused physically and
met with silence functionally, as ISO 15765-4 wants it (quoted from memory).
"""

from collections.abc import Callable, Collection, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from bellmouth.errors import BellmouthError
from bellmouth.j1979 import parameters
from bellmouth.j1979.codes import encode_code
from bellmouth.j1979.messages import (
    RESPONSE_PENDING,
    Cleared,
    Data,
    Negative,
    Request,
    Response,
    Service,
    TroubleCodes,
    VehicleInformation,
    decode_request,
    encode_response,
)
from bellmouth.practice.answering import Reply

__all__ = ["UNRELIABLE_MASK", "ControllerNode", "Inside", "Manners"]

#: For ``Manners.claims_too_much``: parameters that no practice car reports (fuel pressure, oil
#: temperature, injection timing).
UNRELIABLE_MASK = (0x0A, 0x5C, 0x5D)

_NO_SERVICE, _NO_PARAMETER, _WRONG_LENGTH, _NOT_NOW = 0x11, 0x12, 0x13, 0x22
_MASKS = tuple(range(0x00, 0x100, 0x20))
_SERVICES = {int(service) for service in Service}


@dataclass
class Manners:
    """How a controller answers, whatever it is asked.

    Attributes
    ----------
    latency_s, jitter_s
        Time to the first byte of an answer, and how much longer it may be. [s], real time
    pending_first
        Whether it asks to wait (negative reply 78) before it gives vehicle information.
    pending_s
        How long it then takes. [s], real time
    claims_too_much
        Identifiers that its masks list although it refuses them.
    """

    latency_s: float = 0.008
    jitter_s: float = 0.002
    pending_first: bool = False
    pending_s: float = 0.12
    claims_too_much: Collection[int] = ()


class Inside(Protocol):
    """What a controller has to tell; asked only while the car is held still."""

    def identifiers(self) -> Collection[int]:
        """Parameters of service 01 that it reports, masks left out."""
        ...

    def encoded(self, identifier: int) -> bytes:
        """Data bytes of one of them, as it is now."""
        ...

    def frozen(self) -> tuple[str | None, Mapping[int, bytes]]:
        """Code that froze the frame, and data bytes by identifier; None and nothing without."""
        ...

    def codes(self, service: Service) -> Sequence[str]:
        """Confirmed, pending or permanent codes."""
        ...

    def information(self) -> Mapping[int, bytes]:
        """Items of service 09 by number, masks left out."""
        ...

    def clear(self) -> bool:
        """Clear codes and what belongs to them; False where that cannot be now."""
        ...


class ControllerNode:
    """One controller on the bus: the ``Node`` of the wires.

    Parameters
    ----------
    address
        Diagnostic address.
    inside
        What it has to tell.
    still
        Holds the car still at this instant while an answer is made; gives whether it is awake.
    manners, seed
        How it answers; the seed is that of its jitter.
    """

    def __init__(
        self,
        address: int,
        inside: Inside,
        still: Callable[[], AbstractContextManager[bool]],
        manners: Manners,
        seed: int,
    ) -> None:
        self._address = address
        self.inside = inside
        self.manners = manners
        self._still = still
        self._rng = np.random.default_rng([seed, address])

    @property
    def address(self) -> int:
        """Diagnostic address: 0x10 for the engine, 0x18 for the gearbox."""
        return self._address

    def answer(self, payload: bytes, *, functional: bool) -> Sequence[Reply]:
        """Replies to a request; see :class:`bellmouth.practice.answering.Node`."""
        with self._still() as awake:
            if not awake or not payload:
                return ()
            response = self._respond(payload)
        refused = isinstance(response, Negative) and response.code != _NOT_NOW
        if refused and functional:
            return ()
        after_s = self.manners.latency_s + self.manners.jitter_s * float(self._rng.random())
        if self.manners.pending_first and isinstance(response, VehicleInformation):
            wait = encode_response(Negative(Service.VEHICLE_INFORMATION, RESPONSE_PENDING))
            later = Reply(encode_response(response), after_s + self.manners.pending_s)
            return (Reply(wait, after_s), later)
        return (Reply(encode_response(response), after_s),)

    def _respond(self, payload: bytes) -> Response:
        if payload[0] not in _SERVICES:
            return Negative(payload[0], _NO_SERVICE)
        try:
            request = decode_request(payload)
        except BellmouthError:
            return Negative(payload[0], _WRONG_LENGTH)
        answers: dict[Service, Callable[[Request], Response]] = {
            Service.CURRENT_DATA: self._current,
            Service.FREEZE_FRAME: self._frame,
            Service.CLEAR: self._clear,
            Service.VEHICLE_INFORMATION: self._information,
        }
        return answers.get(request.service, self._codes)(request)

    def _clear(self, request: Request) -> Response:
        done = self.inside.clear()
        return Cleared() if done else Negative(request.service, _NOT_NOW)

    def _codes(self, request: Request) -> Response:
        return TroubleCodes(request.service, tuple(self.inside.codes(request.service)))

    def _current(self, request: Request) -> Response:
        """Parameters in the order asked for; those it has not got are left out."""
        have = self.inside.identifiers()
        claimed = (*have, *self.manners.claims_too_much)
        replies: list[tuple[int, bytes]] = []
        for one in request.identifiers:
            if one in _MASKS and (one == 0 or any(c > one for c in claimed)):
                replies.append((one, parameters.encode_supported(one, claimed)))
            elif one in have:
                replies.append((one, self.inside.encoded(one)))
        if not replies:
            return Negative(request.service, _NO_PARAMETER)
        return Data(request.service, tuple(replies))

    def _frame(self, request: Request) -> Response:
        """Parameters of frame 0, which is all that the standard obliges to."""
        code, frozen = self.inside.frozen()
        replies: list[tuple[int, bytes]] = []
        for one in request.identifiers:
            if request.frame:
                continue
            if one == 0x02:
                replies.append((one, encode_code(code) if code else bytes(2)))
            elif one in _MASKS and (one == 0 or any(c > one for c in frozen)):
                replies.append((one, parameters.encode_supported(one, (0x02, *frozen))))
            elif one in frozen:
                replies.append((one, frozen[one]))
        if not replies:
            return Negative(request.service, _NO_PARAMETER)
        return Data(request.service, tuple(replies), request.frame)

    def _information(self, request: Request) -> Response:
        items, item = self.inside.information(), request.identifiers[0]
        if item == 0:
            return VehicleInformation(0, parameters.encode_supported(0, tuple(items)))
        if item not in items:
            return Negative(Service.VEHICLE_INFORMATION, _NO_PARAMETER)
        return VehicleInformation(item, items[item])
