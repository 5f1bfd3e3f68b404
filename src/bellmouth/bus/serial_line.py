"""The serial-line CAN adapter, read strictly: ``python-can``'s own interface with another reader.

The library's reader (4.6.1) stops for good at a character above 7F, takes a line cut on an even
digit for a shorter frame, raises whatever a damaged line makes ``int`` raise, and drops the
adapter's refusals. Here every line must be exactly a frame or an acknowledgement; the rest is
counted. Opening waits for the adapter's acknowledgement rather than for two seconds.
"""

import binascii
import errno
import functools
import os
import re
import select
import time
from collections import deque
from contextlib import suppress
from typing import NamedTuple

import can
from can.interfaces.slcan import slcanBus

__all__ = ["RATES", "LineFrame", "SerialLineBus", "parse_line"]

_END = re.compile(rb"[\r\a]")
_HEX = frozenset(b"0123456789ABCDEFabcdef")
_DIGITS = {ord("t"): 3, ord("r"): 3, ord("T"): 8, ord("R"): 8}
_ACKNOWLEDGEMENTS = frozenset((b"", b"z", b"Z"))
_KEPT_SILENT = frozenset(b"zZFVvN")  # acknowledgements and answers that carry no frame
_STAMP_DIGITS = 4  # of the adapter's own time stamp, where some other program switched it on
_LONGEST_LINE = 40
_CHUNK = 4096
_WRITE_S = 0.5  # a port that takes nothing for so long is given up
_CLOSED = -1  # no file's handle: whatever is tried with it fails as on a lost port
_ACK_S = 1.0  # a starved machine is slower than any adapter
_QUIET_S = 0.05
_ATTEMPTS = 3
_WAKE_S = 4.0  # boards that restart when their port is opened need about two seconds
_RATE_COMMANDS = {
    10_000: "S0", 20_000: "S1", 50_000: "S2", 100_000: "S3", 125_000: "S4", 250_000: "S5",
    500_000: "S6", 750_000: "S7", 1_000_000: "S8",
}  # fmt: skip
#: What such an adapter can be set to. [bit/s]
RATES = tuple(_RATE_COMMANDS)


class _Head(NamedTuple):
    """What a frame's line says before its data."""

    identifier: int
    extended: bool
    remote: bool
    dlc: int


class LineFrame(NamedTuple):
    """A frame as its line says."""

    identifier: int
    extended: bool
    remote: bool
    dlc: int
    data: bytes

    def message(self) -> can.Message:
        """The same for the library."""
        return can.Message(
            arbitration_id=self.identifier,
            is_extended_id=self.extended,
            is_remote_frame=self.remote,
            dlc=self.dlc,
            data=None if self.remote else self.data,
        )


def parse_line(line: bytes) -> LineFrame | None:
    """The frame in a line without its end; None where the line is not exactly one."""
    digits = _DIGITS.get(line[0]) if line else None
    head = _head(line[: digits + 2]) if digits is not None else None
    if digits is None or head is None:
        return None
    held, rest = 0 if head.remote else 2 * head.dlc, line[digits + 2 :]
    if len(rest) not in (held, held + _STAMP_DIGITS):
        return None
    try:
        data = binascii.unhexlify(rest)
    except binascii.Error:
        return None
    return LineFrame(*head, data[: held // 2])


@functools.lru_cache(maxsize=256)  # a car's frames have few heads, and they come all the time
def _head(line: bytes) -> _Head | None:
    digits = _DIGITS[line[0]]
    if len(line) < digits + 2 or not _HEX.issuperset(line[1:]):
        return None
    identifier, length = int(line[1:-1], 16), int(line[-1:], 16)
    extended, remote = digits == 8, line[0] in b"rR"
    most = 0x1FFFFFFF if extended else 0x7FF
    return None if length > 8 or identifier > most else _Head(identifier, extended, remote, length)


@functools.lru_cache(maxsize=256)  # the same requests go out again and again
def _data_line(identifier: int, data: bytes, *, extended: bool) -> bytes:
    name = f"T{identifier:08X}" if extended else f"t{identifier:03X}"
    return f"{name}{len(data)}{data.hex().upper()}\r".encode()


class SerialLineBus(slcanBus):
    """A serial-line CAN adapter.

    ``damaged`` counts lines that are neither a frame nor an acknowledgement, ``refused`` the
    commands that the adapter refused, ``acknowledges`` is False where it never said anything.

    Parameters
    ----------
    channel
        Port, or ``socket://127.0.0.1:PORT``.
    bitrate
        Of the bus, one of :data:`RATES`, or None to leave what the adapter is set to. [bit/s]

    Raises
    ------
    can.CanInitializationError
        If the port cannot be opened, or the adapter refuses the bit rate or to open.
    """

    def __init__(self, channel: str, bitrate: int | None = None) -> None:
        self.damaged = 0
        self.refused = 0
        self.acknowledges = False
        self._acknowledged = 0
        self._held = b""
        self._ready: deque[LineFrame] = deque()
        self._is_set_up = False
        super().__init__(channel, sleep_after_open=0.0, timeout=0.0)
        if "://" not in channel:
            self._hold_alone()
        self._handle = self.fileno()
        self.serialPortOrig.write_timeout = _WRITE_S
        try:
            self._set_up(bitrate)
        except (OSError, can.CanError):
            self._is_shutdown = True
            self._handle = _CLOSED
            self.serialPortOrig.close()
            raise
        self._is_set_up = True

    def _hold_alone(self) -> None:
        """Two programs on one port would each read what the other asked for."""
        port = self.serialPortOrig
        try:
            port.exclusive = True
        except OSError as error:
            self._is_shutdown = True
            self._handle = _CLOSED
            port.close()
            raise OSError(errno.EBUSY, "locked") from error

    @property
    def holds_frames(self) -> bool:
        """Whether frames have been read and not yet taken."""
        return bool(self._ready)

    @property
    def next_identifier(self) -> int | None:
        """Of the frame that is taken next, None where none has been read."""
        return self._ready[0].identifier if self._ready else None

    def open(self) -> None:
        """Open the channel; the constructor of the base class is not meant here."""
        if self._is_set_up:
            super().open()

    def shutdown(self) -> None:
        """Close the bus and the port, also where the adapter has gone."""
        connection = getattr(self.serialPortOrig, "_socket", None)
        try:
            super().shutdown()
        finally:
            self._handle = _CLOSED  # its number may soon be another file's
            self.serialPortOrig.close()
            if connection is not None:  # pyserial forgets it when the other end has gone
                connection.close()

    def _set_up(self, bitrate: int | None) -> None:
        if bitrate is not None and bitrate not in RATES:
            known = ", ".join(map(str, RATES))
            raise can.CanInitializationError(f"bit rate {bitrate} is none of {known}")
        refusal = None
        for _ in range(_ATTEMPTS):
            self._wake()
            refusal = self._open_at(bitrate)
            if refusal is None:
                break
        if refusal is not None:
            raise can.CanInitializationError(refusal)
        self.refused = self.damaged = 0

    def _open_at(self, bitrate: int | None) -> str | None:
        """Set the bit rate and open; what the adapter refuses comes back in words."""
        if bitrate is not None and self._say(_RATE_COMMANDS[bitrate]) is False:
            return f"the adapter refuses {bitrate} bit/s"
        return "the adapter refuses to open the bus" if self._say("O") is False else None

    def _wake(self) -> None:
        """Close what another program may have left open, once the adapter listens.

        Answers to that program's commands may still be on their way: they are waited for, or
        they would pass for answers to ours.
        """
        until = time.monotonic() + _WAKE_S
        while self._say("C") is None and time.monotonic() < until:
            pass
        quiet_since, until = time.monotonic(), time.monotonic() + _WAKE_S
        while (now := time.monotonic()) - quiet_since < _QUIET_S and now < until:
            self._wait(_QUIET_S)
            quiet_since = time.monotonic() if self._fill() else quiet_since
        self._held = b""
        self._ready.clear()

    def _say(self, command: str) -> bool | None:
        """Give a command: True if acknowledged, False if refused, None if neither in time."""
        before = self._acknowledged, self.refused
        self._write(command)
        until = time.monotonic() + _ACK_S
        while (left := until - time.monotonic()) > 0:
            self._wait(left)
            self._fill()
            if self._acknowledged > before[0]:
                self.acknowledges = True
                return True
            if self.refused > before[1]:
                self.acknowledges = True
                return False
        return None

    def _write(self, string: str) -> None:
        self._write_line(string.encode("ascii") + self.LINE_TERMINATOR)

    def _write_line(self, line: bytes) -> None:
        try:
            with suppress(BlockingIOError):
                line = line[os.write(self._handle, line) :]
            if line:  # the port is full: the library waits, within its time
                self.serialPortOrig.write(line)
            # Whoever carries it on (a driver, a simulated car) may wait for this very core, and
            # what the caller does next would keep it.
            os.sched_yield()
        except OSError as error:  # pyserial's errors are among them
            raise can.CanOperationError(f"Could not write to serial device: {error}") from error

    def _wait(self, seconds: float) -> None:
        select.select([self.serialPortOrig.fileno()], [], [], seconds)

    def _recv_internal(self, timeout: float | None) -> tuple[can.Message | None, bool]:
        if not self._ready:
            self._fill()
        if not self._ready and timeout is not None and timeout > 0:
            self._wait(timeout)
            self._fill()
        return (self._ready.popleft().message() if self._ready else None), False

    def take(self) -> LineFrame | None:
        """What :meth:`recv` gives at once, without the library's coat."""
        if not self._ready:
            self._fill()
        return self._ready.popleft() if self._ready else None

    def put(self, identifier: int, data: bytes, *, extended: bool) -> None:
        """What :meth:`send` does with a data frame, without the library's coat."""
        self._write_line(_data_line(identifier, data, extended=extended))

    def _fill(self) -> bool:
        """Take in all that waits; False where nothing did."""
        try:
            came = self._chunk()
        except OSError as error:
            raise can.CanOperationError(f"Could not read from serial device: {error}") from error
        start, held = 0, self._held + came
        for end in _END.finditer(held):
            self._take(held[start : end.start()], refused=end[0] == b"\a")
            start = end.end()
        self._held = held[start:]
        if len(self._held) > _LONGEST_LINE:
            self.damaged += 1
            self._held = b""
        return bool(came)

    def _chunk(self) -> bytes:
        """What waits, by one call; where that is nothing, the library tells why."""
        try:
            came = os.read(self._handle, _CHUNK)
        except BlockingIOError:
            return b""
        return came or bytes(self.serialPortOrig.read(_CHUNK))

    def _take(self, line: bytes, *, refused: bool) -> None:
        if refused:
            self.refused += 1
            self.damaged += bool(line)
            return
        if line in _ACKNOWLEDGEMENTS:
            self._acknowledged += 1
            return
        frame = parse_line(line)
        if frame is not None:
            self._ready.append(frame)
        elif line[0] not in _KEPT_SILENT or not line.isalnum():
            self.damaged += 1
