"""One adapter through ``python-can``: frames out, frames in, reopened when it went away.

No thread reads here: whoever waits for an answer reads, so that a damaged line cannot end a
reader unnoticed, and every frame is stamped with the monotonic clock as it is taken in.
"""

import select
import time
from collections.abc import Callable
from contextlib import suppress
from typing import TYPE_CHECKING, Any, NamedTuple

import can

from bellmouth.bus.link import Losses
from bellmouth.bus.trouble import cannot_open, no_such_bit_rate, unknown_interface
from bellmouth.errors import BusError

if TYPE_CHECKING:
    from bellmouth.bus.serial_line import SerialLineBus

__all__ = ["Frame", "Wire", "WireLostError"]

_SERIAL_LINE = "slcan"
_LOOK_AGAIN_S = 0.05  # where a bus has nothing to select on
_SEND_WITHIN_S = 0.5
# What the library's twenty back ends raise without their adapter, driver or options.
_NOT_OPENED = (
    can.CanError, OSError, ValueError, TypeError, ImportError, NameError, AttributeError,
    LookupError, RuntimeError,
)  # fmt: skip
_BUS_OFF = 0x40  # in the identifier of SocketCAN's error frames
_BUS_ERRORS = "errors on the bus"


class WireLostError(Exception):
    """The adapter does not work any more; it may after reopening."""


class Frame(NamedTuple):
    """One data frame, stamped with the monotonic clock. [s]"""

    identifier: int
    extended: bool
    data: bytes
    at_s: float


class Wire:
    """An open adapter.

    ``losses`` is where damage is counted, ``heard`` the number of data frames of any kind.
    ``errors`` are those that the adapter saw on the bus: what comes through has a checksum, so they
    are no damage.

    Raises
    ------
    BusError
        If the adapter cannot be opened: one sentence with what to try.
    """

    def __init__(
        self, interface: str, channel: str | None, bitrate: int | None, losses: Losses
    ) -> None:
        self.interface, self.channel, self.bitrate = interface, channel, bitrate
        self.losses = losses
        self.heard = self.errors = 0
        self.refused = 0
        self._damaged = 0
        self._line: SerialLineBus | None = None
        self._bus = self._open()
        self._readable = self._handle()

    @property
    def where(self) -> str:
        """Interface and channel as the user named them."""
        return f"{self.interface} {self.channel}" if self.channel else self.interface

    @property
    def acknowledges(self) -> bool:
        """False for a serial adapter that never acknowledged a command."""
        return bool(getattr(self._bus, "acknowledges", True))

    def _open(self) -> can.BusABC:
        if self.interface not in can.VALID_INTERFACES:
            raise unknown_interface(self.interface, self.channel, (*can.VALID_INTERFACES, "kline"))
        if self.interface == _SERIAL_LINE and not self.channel:
            raise BusError(
                "slcan: --channel is missing; give the adapter's port, such as /dev/ttyACM0."
            )
        if self.interface == _SERIAL_LINE and self.bitrate is not None:
            from bellmouth.bus.serial_line import RATES  # noqa: PLC0415

            if self.bitrate not in RATES:
                raise no_such_bit_rate(self.where, self.bitrate, RATES)
        try:
            if self.interface == _SERIAL_LINE and self.channel:
                from bellmouth.bus.serial_line import SerialLineBus  # noqa: PLC0415

                self._line = SerialLineBus(self.channel, self.bitrate)
                return self._line
            options: dict[str, Any] = {"interface": self.interface, "channel": self.channel}
            if self.bitrate is not None:
                options["bitrate"] = self.bitrate
            # What the user named counts, not a configuration file found elsewhere.
            return can.Bus(**options, ignore_config=True)
        except _NOT_OPENED as error:
            raise cannot_open(self.interface, self.channel, error) from error

    def _handle(self) -> Callable[[float], object] | None:
        """What waits until something can be read; None where the bus offers nothing."""
        try:
            handle = self._bus.fileno()
        except (NotImplementedError, can.CanError):
            return None
        return (lambda seconds: select.select([handle], [], [], seconds)) if handle >= 0 else None

    def reopen(self) -> None:
        """Close and open again; raises :class:`BusError` where that fails."""
        self.close()
        self._bus = self._open()
        self._damaged = 0
        self._readable = self._handle()

    def close(self) -> None:
        """Let go of the adapter, whatever state it is in."""
        with suppress(can.CanError, OSError, ValueError):  # it may have gone before
            self._bus.shutdown()

    def send(self, identifier: int, data: bytes, *, extended: bool) -> None:
        """Put one frame on the bus; raises :class:`WireLostError`."""
        try:
            if self._line is not None:
                self._line.put(identifier, data, extended=extended)
                return
            message = can.Message(arbitration_id=identifier, data=data, is_extended_id=extended)
            self._bus.send(message, timeout=_SEND_WITHIN_S)
        except (can.CanError, OSError, ValueError) as error:
            raise WireLostError(str(error)) from error

    def receive(self, within_s: float) -> Frame | None:
        """Next data frame, or None when there is none in time; raises :class:`WireLostError`."""
        # A reader that says it holds nothing need not be asked before there is something to read.
        if within_s <= 0 or self.holds_frames:
            frame = self._look(0.0)
            if frame is not None or within_s <= 0:
                return frame
        if self._readable is None:
            return self._look(min(within_s, _LOOK_AGAIN_S))
        until = time.monotonic() + within_s
        frame = None
        while frame is None and (left := until - time.monotonic()) > 0:
            try:
                self._readable(left)
            except (OSError, ValueError) as error:
                raise WireLostError(str(error)) from error
            frame = self._look(0.0)  # or only an acknowledgement of what was sent
        return frame

    @property
    def next_identifier(self) -> int | None:
        """Of a frame that surely is there; None also where the adapter does not tell."""
        return None if self._line is None else self._line.next_identifier

    @property
    def holds_frames(self) -> bool:
        """Whether a frame may be there without waiting."""
        return self._line is None or self._line.holds_frames

    def _look(self, within_s: float) -> Frame | None:
        if self._line is not None:
            return self._look_at(self._line)
        try:
            message = self._bus.recv(within_s)
        except (can.CanError, OSError) as error:
            raise WireLostError(str(error)) from error
        except (ValueError, IndexError):  # a damaged line of some adapter's
            self.losses.damaged += 1
            return None
        self._count()
        return None if message is None else self._frame(message)

    def _look_at(self, line: "SerialLineBus") -> Frame | None:
        """The same without the library's messages: this adapter is the one most cars have."""
        try:
            frame = line.take()
        except (can.CanError, OSError) as error:
            raise WireLostError(str(error)) from error
        if line.damaged != self._damaged or line.refused != self.refused:
            self._count()
        if frame is None or frame.remote:
            return None
        self.heard += 1
        return Frame(frame.identifier, frame.extended, frame.data, time.monotonic())

    def _count(self) -> None:
        damaged = getattr(self._bus, "damaged", 0)
        self.losses.damaged += damaged - self._damaged
        self._damaged = damaged
        self.refused = getattr(self._bus, "refused", 0)

    def _frame(self, message: can.Message) -> Frame | None:
        if message.is_error_frame:
            if message.arbitration_id & _BUS_OFF:
                raise WireLostError("bus-off")
            self.errors += 1
            self.losses.seen[_BUS_ERRORS] = self.errors
            return None
        if message.is_remote_frame or message.is_fd:
            return None
        if len(message.data) != message.dlc:  # a reader that takes a cut line for a frame
            self.losses.damaged += 1
            return None
        self.heard += 1
        return Frame(
            message.arbitration_id,
            bool(message.is_extended_id),
            bytes(message.data),
            time.monotonic(),
        )
