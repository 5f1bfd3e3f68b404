"""Frames of the K line (ISO 14230-2 and -4): header, checksum, key bytes, timing.

A frame is format byte, target, source, data, checksum; the format byte holds the kind of address
in its upper two bits and the number of data bytes in the rest. All is quoted from memory of the
standards. What the data mean stands in :mod:`bellmouth.j1979.kline_messages`.
"""

from dataclasses import dataclass

from bellmouth.errors import BellmouthError
from bellmouth.j1979.addressing import TESTER

__all__ = [
    "BIT_RATE",
    "EVERY_CONTROLLER",
    "MOST_DATA",
    "SLOW_BIT_RATE",
    "SLOW_SYNCHRONISATION",
    "START_COMMUNICATION",
    "STOP_COMMUNICATION",
    "TESTER",
    "TESTER_PRESENT",
    "TIMING",
    "KeyBytes",
    "Message",
    "Timing",
    "checksum",
    "decode",
    "encode",
    "frame_length",
]

BIT_RATE = 10_400  # [bit/s]
SLOW_BIT_RATE = 5  # of the address byte that starts the slow way [bit/s]
SLOW_SYNCHRONISATION = 0x55

EVERY_CONTROLLER = 0x33  # functional address of emission-related controllers

START_COMMUNICATION = 0x81
STOP_COMMUNICATION = 0x82
TESTER_PRESENT = 0x3E

MOST_DATA = 7  # ISO 14230-4; the format byte could count 63

_FUNCTIONAL = 0xC0
_PHYSICAL = 0x80
_KIND = 0xC0
_LENGTH = 0x3F
_SEVEN_BITS = 0x7F


@dataclass(frozen=True)
class Timing:
    """Times on the line, ISO 14230-2 and -4, from memory. [s]

    Attributes
    ----------
    byte_gap_most
        P1: between bytes of a reply.
    answer_least, answer_most
        P2: from the end of a request to a reply, and between replies.
    request_least, request_most
        P3: from the end of the last reply to the next request; past the most, the session ends.
    request_byte_gap
        P4: between bytes of a request, at least.
    pending_most
        Wait for the reply that was promised with code 78.
    idle
        Silence before a wake-up.
    fast_low, fast_whole
        Wake-up of the fast way: line low, and until the first byte.
    slow_bit
        One bit of the address byte, which goes at 5 bit/s.
    sync_least, sync_most
        W1: from the address byte to the synchronisation byte.
    key_gap_most
        W2, W3: before each key byte.
    invert_least, invert_most
        W4: before the inverted second key byte and before the inverted address.
    """

    byte_gap_most: float = 0.020
    answer_least: float = 0.025
    answer_most: float = 0.050
    request_least: float = 0.055
    request_most: float = 5.0
    request_byte_gap: float = 0.005
    pending_most: float = 5.0
    idle: float = 0.3
    fast_low: float = 0.025
    fast_whole: float = 0.050
    slow_bit: float = 1.0 / SLOW_BIT_RATE
    sync_least: float = 0.060
    sync_most: float = 0.300
    key_gap_most: float = 0.020
    invert_least: float = 0.025
    invert_most: float = 0.050


TIMING = Timing()


@dataclass(frozen=True)
class Message:
    """One message, without header and checksum.

    Attributes
    ----------
    target, source
        Addresses; a tester is F1.
    data
        Service and what follows, 1 to 63 bytes (at most 7 in ISO 14230-4).
    functional
        Whether ``target`` names a group of controllers.
    """

    target: int
    source: int
    data: bytes
    functional: bool = False


def checksum(data: bytes) -> int:
    """Sum of all bytes before it, modulo 256."""
    return sum(data) & 0xFF


def encode(message: Message) -> bytes:
    """A message as it goes on the line.

    Raises
    ------
    BellmouthError
        If the data do not fit.
    """
    if not 1 <= len(message.data) <= _LENGTH:
        raise BellmouthError(
            f"A K-line message holds 1 to {_LENGTH} bytes, not {len(message.data)}; ask for less."
        )
    kind = _FUNCTIONAL if message.functional else _PHYSICAL
    head = bytes((kind | len(message.data), message.target, message.source))
    frame = head + message.data
    return frame + bytes((checksum(frame),))


def frame_length(start: bytes) -> int | None:
    """Length of the frame that starts so, checksum included; None while that is not known.

    Raises
    ------
    BellmouthError
        If no frame starts so: a header without addresses, or one of ISO 9141-2.
    """
    if not start:
        return None
    if start[0] & _KIND not in (_FUNCTIONAL, _PHYSICAL):
        raise BellmouthError(
            f"Byte {start[0]:02X} starts no frame of ISO 14230-4; wait for silence and ask again."
        )
    if start[0] & _LENGTH:
        return 3 + (start[0] & _LENGTH) + 1
    if len(start) < 4:
        return None
    return 4 + start[3] + 1  # a fourth byte of header counts the data


def decode(frame: bytes) -> Message:
    """The message in a whole frame.

    Raises
    ------
    BellmouthError
        If the length contradicts the header or the checksum the content: nothing is guessed.
    """
    length = frame_length(frame)
    if length is None or length != len(frame) or length < 5:
        raise BellmouthError(
            f"Frame {frame.hex(' ').upper() or '(empty)'}: its length contradicts its header; "
            "ask again."
        )
    if checksum(frame[:-1]) != frame[-1]:
        raise BellmouthError(
            f"Frame {frame.hex(' ').upper()}: the checksum is {frame[-1]:02X} where the bytes "
            f"add up to {checksum(frame[:-1]):02X}; ask again."
        )
    head = 3 if frame[0] & _LENGTH else 4
    functional = frame[0] & _KIND == _FUNCTIONAL
    return Message(frame[1], frame[2], frame[head:-1], functional)


@dataclass(frozen=True)
class KeyBytes:
    """How a controller wants to be spoken to, as it says when it is started.

    Each byte holds seven bits and one of odd parity; together they make a number, 2025, 2027, 2029
    or 2031 for ISO 14230-4.
    """

    first: int
    second: int

    @property
    def number(self) -> int:
        """Seven bits of each, the second's the higher."""
        return (self.second & _SEVEN_BITS) << 7 | self.first & _SEVEN_BITS

    @property
    def has_right_parity(self) -> bool:
        """Whether the number of ones in each byte is odd."""
        return all(byte.bit_count() % 2 == 1 for byte in (self.first, self.second))

    @property
    def is_iso_14230(self) -> bool:
        """Whether this controller speaks ISO 14230-4."""
        return self.number in (2025, 2027, 2029, 2031)

    @property
    def is_iso_9141(self) -> bool:
        """Whether it speaks the older ISO 9141-2, whose frames do not say how long they are."""
        return (self.first, self.second) in ((0x08, 0x08), (0x94, 0x94))
