"""A practice car's controllers on a CAN bus: requests in, replies in frames out (ISO 15765-2, -4).

Segmentation is done by the ISO-TP library's own state machine, one for each controller, driven
here without its threads. The wires put frames in and take frames out.

Not imitated: arbitration, the time that frames take on the bus, error frames.
"""

import heapq
import time
from collections import deque
from collections.abc import Callable
from itertools import count

import isotp

from bellmouth.j1979.addressing import (
    ENGINE,
    Identifiers,
    functional_id,
    physical_id,
    response_id,
)
from bellmouth.practice.answering import Answering, Node
from bellmouth.practice.frames import Frame

__all__ = ["CanCar"]

_FRAME_BYTES = 8  # ISO 15765-4: every diagnostic frame is this long, whatever it carries
_MOST_SINGLE = 7
_LOOK_AGAIN_S = 0.02  # while a flow control frame is awaited


class _Station:
    """One controller: its identifiers and its segmentation."""

    def __init__(self, node: Node, place: int, identifiers: Identifiers, padding: int) -> None:
        self.node = node
        # Identifiers of 11 bits count the controllers, those of 29 hold their addresses.
        address = ENGINE + place if identifiers == 11 else node.address
        self.request_id = physical_id(address, identifiers)
        mode = isotp.AddressingMode
        normal = mode.Normal_11bits if identifiers == 11 else mode.Normal_29bits
        self._address = isotp.Address(
            normal, rxid=self.request_id, txid=response_id(address, identifiers)
        )
        self._in: deque[isotp.CanMessage] = deque()
        self.out: list[Frame] = []
        self.logic = isotp.TransportLayerLogic(
            rxfn=lambda _: self._in.popleft() if self._in else None,
            txfn=self._send,
            address=self._address,
            error_handler=lambda _: None,  # a tester that falls silent is no news to a controller
            params={"tx_padding": padding, "blocksize": 0, "stmin": 0},
        )

    def _send(self, message: isotp.CanMessage) -> None:
        self.out.append(
            Frame(message.arbitration_id, bytes(message.data), bool(message.is_extended_id))
        )

    def take(self, frame: Frame) -> bytes | None:
        """Take a frame meant for this controller; a whole request comes back."""
        self._in.append(
            isotp.CanMessage(frame.identifier, data=frame.data, extended_id=frame.extended)
        )
        self.logic.process()
        whole = self.logic.recv()
        return bytes(whole) if whole is not None else None

    def give(self) -> list[Frame]:
        """Frames that may go now."""
        if self.logic.transmitting():
            self.logic.process()
        frames, self.out = self.out, []
        return frames

    def wait_s(self) -> float | None:
        """Time until this controller wants to send again; none where it has nothing to say."""
        if not self.logic.transmitting():
            return None
        gap = self.logic.next_cf_delay()
        return _LOOK_AGAIN_S if gap is None else gap


class CanCar:
    """A car's controllers as a CAN bus sees them. Not for several threads at once.

    Parameters
    ----------
    car
        What answers.
    identifiers
        Size of the identifiers that it listens on, 11 or 29 bits; the other is not heard.
    padding
        Byte that fills its frames up to eight.
    strict
        Whether frames shorter than eight bytes are ignored, as the standard has it.
    clock
        Monotonic seconds.
    """

    def __init__(
        self,
        car: Answering,
        *,
        identifiers: Identifiers = 11,
        padding: int = 0xAA,
        strict: bool = True,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._car = car
        self._strict = strict
        self._clock = clock
        self._extended = identifiers == 29
        self._functional = functional_id(identifiers)
        self._stations = [
            _Station(node, place, identifiers, padding) for place, node in enumerate(car.nodes)
        ]
        self._due: list[tuple[float, int, _Station, bytes]] = []
        self._number = count()

    def take(self, frame: Frame) -> None:
        """A frame is on the bus: whoever it is meant for hears it."""
        if frame.remote or frame.extended != self._extended or not frame.data:
            return
        if (self._strict and len(frame.data) != _FRAME_BYTES) or not self._car.awake:
            return
        if frame.identifier == self._functional:
            length = frame.data[0]  # only a single frame may be sent to all
            if 1 <= length <= min(_MOST_SINGLE, len(frame.data) - 1):
                for station in self._stations:
                    self._ask(station, frame.data[1 : 1 + length], functional=True)
            return
        for station in self._stations:
            if frame.identifier == station.request_id:
                request = station.take(frame)
                if request:
                    self._ask(station, request, functional=False)

    def _ask(self, station: _Station, request: bytes, *, functional: bool) -> None:
        now = self._clock()
        for reply in station.node.answer(request, functional=functional):
            entry = (now + reply.after_s, next(self._number), station, reply.payload)
            heapq.heappush(self._due, entry)

    def give(self) -> list[Frame]:
        """Frames that the car puts on the bus now."""
        now = self._clock()
        while self._due and self._due[0][0] <= now:
            _, _, station, payload = heapq.heappop(self._due)
            station.logic.send(payload)
        return [frame for station in self._stations for frame in station.give()]

    def wait_s(self) -> float | None:
        """Time until :meth:`give` has something new; none where nothing is under way. [s]"""
        waits = [max(self._due[0][0] - self._clock(), 0.0)] if self._due else []
        waits += [wait for station in self._stations if (wait := station.wait_s()) is not None]
        return min(waits, default=None)
