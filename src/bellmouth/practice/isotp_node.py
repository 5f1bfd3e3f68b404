"""A practice car's controllers on a CAN bus: requests in, replies in frames out (ISO 15765-2, -4).

Messages of several frames go through the ISO-TP library's state machine, one for each controller,
driven here without its threads; what fits one frame is packed here, which takes a tenth of the
time. The wires put frames in and take frames out.

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
_N_BS_MS = 75  # how long flow control is waited for: ISO 15765-4, from memory
_LOOK_AGAIN_S = 0.02  # while a flow control frame is awaited


class _Station:
    """One controller: its identifiers and its segmentation."""

    def __init__(self, node: Node, place: int, identifiers: Identifiers, padding: int) -> None:
        self.node = node
        # Identifiers of 11 bits count the controllers, those of 29 hold their addresses.
        address = ENGINE + place if identifiers == 11 else node.address
        self.request_id = physical_id(address, identifiers)
        self._response_id = response_id(address, identifiers)
        self._extended = identifiers == 29
        self._padding = bytes((padding,))
        mode = isotp.AddressingMode
        normal = mode.Normal_11bits if identifiers == 11 else mode.Normal_29bits
        self._in: deque[isotp.CanMessage] = deque()
        self._out: list[Frame] = []
        self._logic = isotp.TransportLayerLogic(
            rxfn=lambda _: self._in.popleft() if self._in else None,
            txfn=self._send,
            address=isotp.Address(normal, rxid=self.request_id, txid=self._response_id),
            error_handler=lambda _: None,  # a tester that falls silent is no news to a controller
            params={
                "tx_padding": padding,
                "blocksize": 0,
                "stmin": 0,
                "rx_flowcontrol_timeout": _N_BS_MS,
                "logger_name": __name__,
            },
        )
        self._logic.logger.disabled = True

    def _send(self, message: isotp.CanMessage) -> None:
        self._out.append(Frame(self._response_id, bytes(message.data), self._extended))

    def take(self, frame: Frame) -> bytes | None:
        """Take a frame meant for this controller; a whole request comes back."""
        single = _single(frame)
        if single is not None:
            return single
        self._in.append(
            isotp.CanMessage(frame.identifier, data=frame.data, extended_id=frame.extended)
        )
        self._logic.process()
        whole = self._logic.recv()
        return bytes(whole) if whole is not None else None

    def drop_answer(self) -> None:
        """A new request ends an answer whose tester no longer lets it go on."""
        if self._logic.transmitting():
            self._logic.stop_sending()

    def say(self, payload: bytes) -> None:
        """Have a message ready to go."""
        if len(payload) > _MOST_SINGLE or self._logic.transmitting():
            self._logic.send(payload)
            return
        data = bytes((len(payload),)) + payload
        data = data.ljust(_FRAME_BYTES, self._padding)
        self._out.append(Frame(self._response_id, data, self._extended))

    def give(self) -> list[Frame]:
        """Frames that may go now."""
        if self._logic.transmitting():
            self._logic.process()
        frames, self._out = self._out, []
        return frames

    def wait_s(self) -> float | None:
        """Time until this controller wants to send again; none where it has nothing to say."""
        if not self._logic.transmitting():
            return None
        gap = self._logic.next_cf_delay()
        return _LOOK_AGAIN_S if gap is None else gap


def _single(frame: Frame) -> bytes | None:
    """The request in a single frame; None in any other."""
    length = frame.data[0]
    if not 1 <= length <= min(_MOST_SINGLE, len(frame.data) - 1):
        return None
    return frame.data[1 : 1 + length]


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
        now, functional = self._clock(), frame.identifier == self._functional
        for station in self._stations:
            if functional:
                request = _single(frame)  # nothing longer may be sent to all
            elif frame.identifier == station.request_id:
                request = station.take(frame)
            else:
                continue
            if request:
                self._ask(station, request, now, functional=functional)

    def _ask(self, station: _Station, request: bytes, now: float, *, functional: bool) -> None:
        station.drop_answer()
        for reply in station.node.answer(request, functional=functional):
            entry = (now + reply.after_s, next(self._number), station, reply.payload)
            heapq.heappush(self._due, entry)

    def give(self) -> list[Frame]:
        """Frames that the car puts on the bus now."""
        now = self._clock()
        while self._due and self._due[0][0] <= now:
            _, _, station, payload = heapq.heappop(self._due)
            station.say(payload)
        return [frame for station in self._stations for frame in station.give()]

    def wait_s(self) -> float | None:
        """Time until :meth:`give` has something new; none where nothing is under way. [s]"""
        waits = [max(self._due[0][0] - self._clock(), 0.0)] if self._due else []
        waits += [wait for station in self._stations if (wait := station.wait_s()) is not None]
        return min(waits, default=None)
