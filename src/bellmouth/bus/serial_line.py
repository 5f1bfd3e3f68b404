"""The serial-line CAN adapter, read strictly: ``python-can``'s own interface with another reader.

The library's reader (4.6.1) stops for good at a character above 7F, takes a line cut on an even
digit for a shorter frame, raises whatever a damaged line makes ``int`` raise, and drops the
adapter's refusals. Here every line must be exactly a frame or an acknowledgement; the rest is
counted. Opening waits for the adapter's acknowledgement rather than for two seconds.
"""

import re
import select
import time

import can
from can.interfaces.slcan import slcanBus

__all__ = ["SerialLineBus", "parse_line"]

_END = re.compile(rb"[\r\a]")
_HEX = frozenset(b"0123456789ABCDEFabcdef")
_DIGITS = {ord("t"): 3, ord("r"): 3, ord("T"): 8, ord("R"): 8}
_KEPT_SILENT = frozenset(b"zZFVvN")  # acknowledgements and answers that carry no frame
_STAMP_DIGITS = 4  # of the adapter's own time stamp, where some other program switched it on
_LONGEST_LINE = 40
_CHUNK = 4096
_ACK_S = 1.0  # a starved machine is slower than any adapter
_QUIET_S = 0.05
_ATTEMPTS = 3
_WAKE_S = 4.0  # boards that restart when their port is opened need about two seconds
_RATE_COMMANDS = {
    10_000: "S0", 20_000: "S1", 50_000: "S2", 100_000: "S3", 125_000: "S4", 250_000: "S5",
    500_000: "S6", 750_000: "S7", 1_000_000: "S8",
}  # fmt: skip


def parse_line(line: bytes) -> can.Message | None:
    """The frame in a line without its end; None where the line is not exactly one."""
    digits = _DIGITS.get(line[0]) if line else None
    if digits is None or len(line) < digits + 2 or not _HEX.issuperset(line[1:]):
        return None
    identifier, length = int(line[1 : 1 + digits], 16), int(line[1 + digits : 2 + digits], 16)
    extended, remote = digits == 8, line[0] in b"rR"
    data, most = line[2 + digits :], 0x1FFFFFFF if extended else 0x7FF
    held = 0 if remote else 2 * length
    if length > 8 or identifier > most or len(data) not in (held, held + _STAMP_DIGITS):
        return None
    return can.Message(
        arbitration_id=identifier,
        is_extended_id=extended,
        is_remote_frame=remote,
        dlc=length,
        data=None if remote else bytes.fromhex(data[:held].decode("ascii")),
    )


class SerialLineBus(slcanBus):
    """A serial-line CAN adapter.

    ``damaged`` counts lines that are neither a frame nor an acknowledgement, ``refused`` the
    commands that the adapter refused, ``acknowledges`` is False where it never said anything.

    Parameters
    ----------
    channel
        Port, or ``socket://127.0.0.1:PORT``.
    bitrate
        Of the bus, or None to leave what the adapter is set to. [bit/s]

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
        self._held = bytearray()
        self._ready: list[can.Message] = []
        self._is_set_up = False
        super().__init__(channel, sleep_after_open=0.0, timeout=0.0)
        try:
            self._set_up(bitrate)
        except (OSError, can.CanError):
            self._is_shutdown = True
            self.serialPortOrig.close()
            raise
        self._is_set_up = True

    @property
    def holds_frames(self) -> bool:
        """Whether frames have been read and not yet taken."""
        return bool(self._ready)

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
            self.serialPortOrig.close()
            if connection is not None:  # pyserial forgets it when the other end has gone
                connection.close()

    def _set_up(self, bitrate: int | None) -> None:
        if bitrate is not None and bitrate not in _RATE_COMMANDS:
            known = ", ".join(str(rate) for rate in _RATE_COMMANDS)
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
        self._held.clear()
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
        try:
            self.serialPortOrig.write(string.encode("ascii") + self.LINE_TERMINATOR)
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
        return (self._ready.pop(0) if self._ready else None), False

    def _fill(self) -> bool:
        """Take in all that waits; False where nothing did."""
        try:
            came = self.serialPortOrig.read(_CHUNK)
        except OSError as error:
            raise can.CanOperationError(f"Could not read from serial device: {error}") from error
        self._held += came
        start = 0
        for end in _END.finditer(self._held):
            self._take(bytes(self._held[start : end.start()]), refused=end[0] == b"\a")
            start = end.end()
        del self._held[:start]
        if len(self._held) > _LONGEST_LINE:
            self.damaged += 1
            self._held.clear()
        return bool(came)

    def _take(self, line: bytes, *, refused: bool) -> None:
        if refused:
            self.refused += 1
            self.damaged += bool(line)
            return
        message = parse_line(line)
        if message is not None:
            self._ready.append(message)
        elif not line or line in (b"z", b"Z"):
            self._acknowledged += 1
        elif line[0] not in _KEPT_SILENT or not line.isalnum():
            self.damaged += 1
