"""A practice car on any bus of ``python-can``: in-process on ``virtual``, SocketCAN where there is.

What the ``virtual`` bus itself does not imitate stands in that library's documentation: no bit
rate, no arbitration, nothing is ever lost. ``disturbance`` makes up for the last.
"""

import threading
import time
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self

from bellmouth.errors import BusError
from bellmouth.j1979.addressing import Identifiers
from bellmouth.practice.answering import Answering
from bellmouth.practice.faulty import Disturbance, Passage
from bellmouth.practice.frames import Frame
from bellmouth.practice.isotp_node import CanCar

if TYPE_CHECKING:
    import can

__all__ = ["BusServer"]

_LOOK_UP_S = 0.1  # how soon a request to stop is noticed on a silent bus


class BusServer:
    """Serves a car on a bus until closed; also a context manager.

    Parameters
    ----------
    car
        What answers.
    interface, channel
        As ``python-can`` names them. On ``virtual`` a client in the same process uses the same
        channel; any other interface is a bus of this machine's.
    bit_rate
        For interfaces that set one. [bit/s]
    identifiers, padding, strict
        See ``CanCar``.
    disturbance
        How bad the wire is; None for a good one.

    Raises
    ------
    BusError
        If the bus cannot be opened.
    """

    def __init__(
        self,
        car: Answering,
        *,
        interface: str = "virtual",
        channel: str = "practice",
        bit_rate: int | None = None,
        identifiers: Identifiers = 11,
        disturbance: Disturbance | None = None,
        padding: int = 0xAA,
        strict: bool = True,
    ) -> None:
        self._can = CanCar(car, identifiers=identifiers, padding=padding, strict=strict)
        self._disturbance = disturbance
        self._to_car: Passage[Frame] = Passage(disturbance)
        self._to_computer: Passage[Frame] = Passage(disturbance)
        self.interface = interface
        self.channel = channel
        self.failure: BusError | None = None
        self._bus = _open(interface, channel, bit_rate)
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="practice-bus", daemon=True)
        self._thread.start()

    @property
    def is_serving(self) -> bool:
        """False once the bus has failed (see ``failure``) or the server was closed."""
        return self._thread.is_alive()

    def close(self) -> None:
        """Stop serving and let go of the bus."""
        self._stopping.set()
        self._thread.join()
        self._bus.shutdown()

    def __enter__(self) -> Self:
        """The server itself, serving."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Stop serving."""
        self.close()

    def _run(self) -> None:
        import can  # noqa: PLC0415

        while not self._stopping.is_set():
            try:
                self._serve()
            except (can.CanError, OSError) as error:
                self.failure = BusError(
                    f"The practice car's bus {self.interface} {self.channel} has failed "
                    f"({_reason(error)}); bring it up again and start anew."
                )
                return

    def _serve(self) -> None:
        message = self._bus.recv(self._wait_s())
        if message is not None and not (message.is_error_frame or message.is_fd):
            self._to_car.put(_frame(message), time.monotonic())
        for frame, damaged in self._to_car.take(time.monotonic()):
            self._can.take(self._worn(frame, damaged=damaged))
        for frame in self._can.give():
            self._to_computer.put(frame, time.monotonic())
        for frame, damaged in self._to_computer.take(time.monotonic()):
            self._bus.send(_message(self._worn(frame, damaged=damaged)))

    def _wait_s(self) -> float:
        now = time.monotonic()
        waits = (self._can.wait_s(), self._to_car.wait_s(now), self._to_computer.wait_s(now))
        return min((wait for wait in waits if wait is not None), default=_LOOK_UP_S)

    def _worn(self, frame: Frame, *, damaged: bool) -> Frame:
        if damaged and self._disturbance is not None:
            return self._disturbance.damaged_frame(frame)
        return frame


def _open(interface: str, channel: str, bit_rate: int | None) -> "can.BusABC":
    import can  # noqa: PLC0415

    options: dict[str, Any] = {"interface": interface, "channel": channel}
    if bit_rate is not None:
        options["bitrate"] = bit_rate
    try:
        # What the user named counts, not a configuration file of python-can's found elsewhere.
        return can.Bus(**options, ignore_config=True)
    except (can.CanError, OSError, ValueError, TypeError, NotImplementedError) as error:
        raise BusError(
            f"The bus {interface} {channel} cannot be opened ({_reason(error)}); check interface "
            "and channel, or leave both out and use --port."
        ) from error


def _reason(error: Exception) -> str:
    text = str(error).strip().rstrip(".")
    return " ".join(text.split()) or type(error).__name__


def _frame(message: "can.Message") -> Frame:
    return Frame(
        message.arbitration_id,
        bytes(message.data),
        message.is_extended_id,
        message.is_remote_frame,
        message.dlc * message.is_remote_frame,
    )


def _message(frame: Frame) -> "can.Message":
    import can  # noqa: PLC0415

    return can.Message(
        arbitration_id=frame.identifier, data=frame.data, is_extended_id=frame.extended
    )
