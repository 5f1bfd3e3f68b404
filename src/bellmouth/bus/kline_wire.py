"""The K line as a serial port carries it: waking the car up, frames out, frames in.

Any serial device will do that drives a K line, and the line is one wire: what is sent comes back as
an echo. Frames from the tester's own address are taken for it, so adapters with and without are
served alike.

A wake-up is a level held low for a set time, far from any byte at 10.4 kbit/s. Two ways to make it:

``break``
    The port's break condition is switched on and off. Works on hardware.
``byte``
    The port is set to a slow speed and a byte is written whose bits are that very pattern: 00 at
    360 bit/s is low for nine bits, 25.0 ms; the address at 5 bit/s is the slow start itself. For
    ports that can go so slow, and for pseudo-terminals, which carry bytes but no levels.
"""

import errno
import termios
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, Literal, Protocol

from bellmouth.bus.trouble import cannot_open
from bellmouth.errors import BellmouthError
from bellmouth.j1979.iso14230 import (
    BIT_RATE,
    SLOW_BIT_RATE,
    SLOW_SYNCHRONISATION,
    TESTER,
    TIMING,
    KeyBytes,
    Message,
    Timing,
    decode,
    encode,
    frame_length,
)

__all__ = ["SerialPort", "Wake", "Wire", "open_port"]

KLINE = "kline"  # what --interface calls it
Wake = Literal["auto", "break", "byte"]

_PULSE_BIT_RATE = 360  # nine low bits of a byte 00 last 25.0 ms
_PULSE_TOLERANCE_S = 0.001  # ISO 14230-2, from memory
_PULSE_TRIES = 3
_BYTE_S = 10 / BIT_RATE
_LOW = 0x00  # what a port makes of a level held low, our own wake-up among them
_SPIN_S = 0.002  # a sleep may be late by about so much; the rest is waited out awake


class SerialPort(Protocol):
    """What is needed of ``serial.Serial``."""

    baudrate: int
    timeout: float | None
    break_condition: bool

    @property
    def in_waiting(self) -> int:
        """Bytes that have arrived."""
        ...

    def read(self, size: int = 1, /) -> bytes:
        """Up to so many bytes, within ``timeout``."""
        ...

    def write(self, data: bytes, /) -> int | None:
        """Send."""
        ...

    def flush(self) -> None:
        """Wait until all is sent."""
        ...

    def close(self) -> None:
        """Let go."""
        ...


def open_port(channel: str) -> SerialPort:
    """Open a serial device for a K line.

    Raises
    ------
    BusError
        If it is not there, is no serial port, or may not be used.
    """
    import serial  # noqa: PLC0415

    options: dict[str, Any] = {"baudrate": BIT_RATE, "timeout": 0}
    if "://" not in channel:
        options["exclusive"] = True  # two programs on one line would garble each other
    try:
        port: Any = serial.serial_for_url(channel, **options)
    except (serial.SerialException, OSError, ValueError) as error:
        if getattr(error, "errno", None) == errno.EAGAIN:
            error = OSError(errno.EBUSY, "locked")
        raise cannot_open(KLINE, channel, error) from error
    opened: SerialPort = port
    return opened


class Wire:
    """Frames on a K line. Not for several threads at once.

    Parameters
    ----------
    port
        An open port at 10.4 kbit/s.
    channel
        Its name, for errors.
    wake
        How levels are made; ``auto`` takes bytes on a pseudo-terminal or socket, else the break.
    timing
        The standard's times.
    slack_s
        Added to every time-out: what adapter and operating system may take on top. [s]
    clock, sleep
        Monotonic seconds, and waiting by them.
    """

    def __init__(
        self,
        port: SerialPort,
        channel: str,
        *,
        wake: Wake = "auto",
        timing: Timing = TIMING,
        slack_s: float = 0.1,
        clock: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        self._port = port
        self.channel = channel
        self.timing = timing
        self._slack_s = slack_s
        self.clock = clock
        self._sleep = sleep
        self._by_bytes = wake == "byte" or (wake == "auto" and _carries_no_levels(channel))
        self._buffer = bytearray()
        self._busy_s = clock()  # the line may have carried something up to now

    @property
    def where(self) -> str:
        """Interface and channel as the user named them."""
        return f"{KLINE} {self.channel}"

    def reopen(self) -> None:
        """Close the port and open it again; raises :class:`BusError` where that fails."""
        with suppress(OSError):
            self._port.close()
        self._buffer.clear()
        self._port = open_port(self.channel)
        self._busy_s = self.clock()

    def sleep_until(self, when: float) -> None:
        """Wait until the clock shows so much."""
        left = when - self.clock()
        if left > _SPIN_S:
            self._sleep(left - _SPIN_S)
        while (left := when - self.clock()) > 0:
            self._sleep(min(left, _SPIN_S / 10))

    def wake_fast(self) -> float | None:
        """Silence, then the pulse of the fast start: low for 25 ms, high for 25 ms.

        A pulse that the operating system stretched beyond the tolerance of 1 ms is made again, at
        most three times; then the car is left to judge it. What silence there has been counts: a
        car that sleeps is so tried again sooner.

        Returns when the pulse began, None where it never was as the standard has it, so that a car
        that does not answer may have been awake. [s]
        """
        began_s = None
        for _ in range(_PULSE_TRIES):
            self.sleep_until(self._busy_s + self.timing.idle)
            start = self.clock()
            if self._by_bytes:
                self._slowly(b"\0", _PULSE_BIT_RATE, start + self.timing.fast_whole)
                began_s = start
                break
            low = self._pull_low(start)
            self.sleep_until(start + self.timing.fast_whole)
            self._busy_s = self.clock()
            if abs(low - self.timing.fast_low) <= _PULSE_TOLERANCE_S:
                began_s = start
                break
        self.clear()
        return began_s

    def _pull_low(self, start: float) -> float:
        self._port.break_condition = True
        self.sleep_until(start + self.timing.fast_low)
        self._port.break_condition = False
        return self.clock() - start

    def wake_slowly(self, address: int) -> KeyBytes | None:
        """The slow start: the address at 5 bit/s; the car answers with its key bytes.

        None where nobody answers, or not as the standard has it.
        """
        self.sleep_until(self._busy_s + self.timing.idle)
        self._send_slowly(address)
        self._busy_s = self.clock()
        self.clear()
        if self._byte(self.timing.sync_most, echo=address) != SLOW_SYNCHRONISATION:
            return None
        first, second = (self._byte(self.timing.key_gap_most) for _ in range(2))
        if first is None or second is None:
            return None
        self.sleep_until(self.clock() + self.timing.invert_least)
        self._port.write(bytes((~second & 0xFF,)))
        self._drain()
        confirmed = self._byte(self.timing.invert_most, echo=~second & 0xFF)
        return KeyBytes(first, second) if confirmed == ~address & 0xFF else None

    def _send_slowly(self, address: int) -> None:
        bit_s, start = self.timing.slow_bit, self.clock()
        if self._by_bytes:
            self._slowly(bytes((address,)), SLOW_BIT_RATE, start + 10 * bit_s)
            return
        levels = [0, *(address >> place & 1 for place in range(8)), 1]  # start, lowest first, stop
        for number, level in enumerate(levels, 1):
            self._port.break_condition = level == 0
            self.sleep_until(start + number * bit_s)

    def _slowly(self, data: bytes, bit_rate: int, until: float) -> None:
        with _terminal_errors():
            self._port.baudrate = bit_rate
            self._port.write(data)
            self._port.flush()
            self.sleep_until(until)
            self._port.baudrate = BIT_RATE

    def _drain(self) -> None:
        with _terminal_errors():
            self._port.flush()

    def _byte(self, within_s: float, echo: int | None = None) -> int | None:
        """The next byte, what was seen of our own signals left out."""
        deadline = self.clock() + within_s + self._slack_s
        while True:
            data = self._read(deadline - self.clock(), 1)
            if not data or data[0] not in (_LOW, echo):
                return data[0] if data else None

    def send(self, message: Message) -> None:
        """Send a message, its bytes 5 ms apart (P4)."""
        gap_s = 0.0  # before the first byte; after the last there is none either
        for byte in encode(message):
            self.sleep_until(self.clock() + gap_s)
            self._port.write(bytes((byte,)))
            gap_s = _BYTE_S + self.timing.request_byte_gap
        self._drain()
        self.sleep_until(self.clock() + _BYTE_S)  # a port without levels drains at once
        self._busy_s = self.clock()

    def receive(self, deadline: float) -> Message | None:
        """The next message that is not an echo of ours; None where none has begun in time.

        Raises
        ------
        BellmouthError
            If bytes came that are no whole frame. What follows is not to be trusted before there
            has been silence: see :meth:`wait_for_silence`.
        """
        while True:
            message = self._receive_any(deadline + self._slack_s)
            if message is None or message.source != TESTER:
                return message

    def _receive_any(self, deadline: float) -> Message | None:
        while True:
            while self._buffer[:1] == bytes((_LOW,)):  # no frame begins so
                del self._buffer[0]
            length = frame_length(bytes(self._buffer))
            if length is not None and len(self._buffer) >= length:
                frame = bytes(self._buffer[:length])
                del self._buffer[:length]
                return decode(frame)
            gap_s = self.timing.byte_gap_most + self._slack_s
            wait_s = gap_s if self._buffer else deadline - self.clock()
            chunk = self._read(wait_s)
            if not chunk:
                if not self._buffer:
                    return None
                cut = self._buffer.hex(" ").upper()
                self._buffer.clear()
                raise BellmouthError(f"Frame {cut}: it ends before it is whole; ask again.")
            self._buffer += chunk

    def _read(self, wait_s: float, most: int | None = None) -> bytes:
        self._port.timeout = max(wait_s, 0.0)
        data = self._port.read(most or max(1, self._port.in_waiting))
        if data:
            self._busy_s = self.clock()
        return data

    def wait_for_silence(self) -> None:
        """Throw away what comes until nothing has for longer than a frame can pause."""
        self._buffer.clear()
        while self._read(self.timing.byte_gap_most + self._slack_s):
            pass

    def clear(self) -> bool:
        """Throw away what has come already; whether there was anything."""
        found = bool(self._buffer)
        self._buffer.clear()
        while self._port.in_waiting and self._read(0.0):
            found = True
        return found

    def close(self) -> None:
        """Let go of the port."""
        self._port.close()


@contextmanager
def _terminal_errors() -> Iterator[None]:
    """Errors of the terminal's settings are no ``OSError`` by themselves."""
    try:
        yield
    except termios.error as error:
        raise OSError(*error.args) from error


def _carries_no_levels(channel: str) -> bool:
    if "://" in channel:
        return not channel.startswith("rfc2217://")
    return str(Path(channel).resolve()).startswith(("/dev/pts/", "/dev/ttyp"))
