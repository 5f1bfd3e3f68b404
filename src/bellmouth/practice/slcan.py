"""The serial-line CAN protocol (SLCAN), the adapter's side: lines of ASCII in, lines out.

Commands as the open protocol has them: ``Sn`` bit rate, ``O`` open, ``L`` listen only, ``C`` close,
``tiiildd…`` and ``Tiiiiiiiildd…`` send a frame with an identifier of 11 or 29 bits, ``r`` and
``R`` the same for remote frames, ``F`` flags, ``V`` version, ``N`` serial number, ``Z0`` time
stamps off. Each ends with a carriage return and is answered by one, or by BEL where it is refused.
From memory of the protocol, checked against ``python-can``.

Nothing here waits or knows about sockets: see :mod:`bellmouth.practice.server`.
"""

from dataclasses import dataclass, field

from bellmouth.practice.frames import Frame

__all__ = ["BIT_RATES", "Adapter", "frame_line", "parse_frame"]

BIT_RATES = {
    b"S0": 10_000, b"S1": 20_000, b"S2": 50_000, b"S3": 100_000, b"S4": 125_000, b"S5": 250_000,
    b"S6": 500_000, b"S7": 750_000, b"S8": 1_000_000,
}  # fmt: skip

OK = b"\r"
REFUSED = b"\a"

_LONGEST_LINE = 32  # a 29-bit frame of eight bytes takes 26 characters
_MOST_BYTES = 8
_MOST_QUEUED = 64  # frames that an adapter holds for a computer that does not read
_FLAG_OVERRUN = 0x08  # data overrun, in the answer to F
_HEX = frozenset(b"0123456789ABCDEFabcdef")


def frame_line(frame: Frame) -> bytes:
    """A frame as a line, without its end."""
    kind = "r" if frame.remote else "t"
    head = f"{frame.identifier:08X}" if frame.extended else f"{frame.identifier:03X}"
    kind = kind.upper() if frame.extended else kind
    length = frame.length if frame.remote else len(frame.data)
    return f"{kind}{head}{length}{'' if frame.remote else frame.data.hex().upper()}".encode()


def parse_frame(line: bytes) -> Frame | None:
    """The frame in a line without its end; None where the line is not exactly one."""
    kind, rest = line[:1], line[1:]
    digits = {b"t": 3, b"r": 3, b"T": 8, b"R": 8}.get(kind)
    if digits is None or len(rest) <= digits or not _HEX.issuperset(rest):
        return None
    identifier, length = int(rest[:digits], 16), int(rest[digits : digits + 1], 16)
    remote, extended = kind in b"rR", kind in b"TR"
    data = rest[digits + 1 :]
    if length > _MOST_BYTES or len(data) != (0 if remote else 2 * length):
        return None
    if identifier > (0x1FFFFFFF if extended else 0x7FF):
        return None
    return Frame(identifier, bytes.fromhex(data.decode()), extended, remote, length * remote)


@dataclass
class Adapter:
    """An adapter with its bus on one side and a computer on the other.

    Attributes
    ----------
    car_bit_rate
        Speed of the car's bus; at any other the adapter neither hears nor is heard. [bit/s]
    sent
        Frames that the computer has put on the bus, for whoever drives the adapter to take.
    is_open, listens_only, bit_rate, overrun
        State, as commands have set it.
    """

    car_bit_rate: int = 500_000
    is_open: bool = False
    listens_only: bool = False
    bit_rate: int | None = None
    overrun: bool = False
    sent: list[Frame] = field(default_factory=list)
    _line: bytearray = field(default_factory=bytearray)

    @property
    def hears(self) -> bool:
        """Whether what is on the car's bus reaches the computer."""
        return self.is_open and self.bit_rate == self.car_bit_rate

    def feed(self, data: bytes) -> bytes:
        """Characters from the computer; the answers come back."""
        answers = bytearray()
        for byte in data:
            if byte == OK[0]:
                answers += self._obey(bytes(self._line))
                self._line.clear()
            elif byte != ord("\n") and len(self._line) <= _LONGEST_LINE:
                self._line.append(byte)
        return bytes(answers)

    def reset(self) -> None:
        """As just plugged in."""
        self.is_open = self.listens_only = self.overrun = False
        self.bit_rate = None
        self._line.clear()
        self.sent.clear()

    def _obey(self, line: bytes) -> bytes:
        match line[:1]:
            case b"":
                return OK
            case b"t" | b"T" | b"r" | b"R":
                return self._transmit(line)
            case b"S":
                return self._set_bit_rate(line)
            case b"O" | b"L":
                return self._open(line)
            case b"C":
                return self._close(line)
            case _:
                return self._tell(line)

    def _transmit(self, line: bytes) -> bytes:
        frame = parse_frame(line)
        if frame is None or not self.is_open or self.listens_only:
            return REFUSED
        # At a wrong bit rate the frame is taken and never acknowledged on the bus.
        if self.hears:
            self.sent.append(frame)
        return (b"Z" if frame.extended else b"z") + OK

    def _set_bit_rate(self, line: bytes) -> bytes:
        if self.is_open or line not in BIT_RATES:
            return REFUSED
        self.bit_rate = BIT_RATES[line]
        return OK

    def _open(self, line: bytes) -> bytes:
        if self.is_open or self.bit_rate is None or line not in (b"O", b"L"):
            return REFUSED
        self.is_open, self.listens_only = True, line == b"L"
        return OK

    def _close(self, line: bytes) -> bytes:
        if not self.is_open or line != b"C":
            return REFUSED
        self.is_open = self.listens_only = False
        return OK

    def _tell(self, line: bytes) -> bytes:
        if line == b"F" and self.is_open:
            flags = _FLAG_OVERRUN if self.overrun else 0
            self.overrun = False
            return b"F%02X" % flags + OK
        told = {b"V": b"V1013\r", b"v": b"v1013\r", b"N": b"NBELL\r", b"Z0": OK}
        return told.get(line, REFUSED)
