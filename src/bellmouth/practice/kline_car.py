"""A practice car's controllers on a K line (ISO 14230-4): wake-up, sessions, frames, checksums.

Bytes in, bytes out, each at its time; no thread and no clock of its own. Between frames a byte 00
is the pulse of the fast start and a byte 33 the address of the slow one: no frame begins so, and it
is what a wire without levels can carry of them (see :mod:`bellmouth.bus.kline_wire`). How long the
line was really low cannot be seen, so it is not judged; nor is the bit rate. A reply arrives whole
when its last byte would have.
"""

import heapq
from itertools import count
from typing import Literal

from bellmouth.errors import BellmouthError
from bellmouth.j1979.iso14230 import (
    BIT_RATE,
    EVERY_CONTROLLER,
    SLOW_SYNCHRONISATION,
    START_COMMUNICATION,
    STOP_COMMUNICATION,
    TESTER,
    TESTER_PRESENT,
    TIMING,
    KeyBytes,
    Message,
    Timing,
    decode,
    encode,
    frame_length,
)
from bellmouth.j1979.kline_messages import split_reply
from bellmouth.j1979.messages import NEGATIVE, POSITIVE, RESPONSE_PENDING
from bellmouth.practice.answering import Answering, Node, Reply

__all__ = ["KLineCar", "Start"]

Start = Literal["fast", "slow"]

_BYTE_S = 10 / BIT_RATE
_PULSE = 0x00
#: Bytes of one frame are no further apart: P4 ends at 20 ms, the rest is what a busy computer may
#: take on top. Less than the silence before a wake-up, or a car that comes to in the middle of a
#: frame takes the next one's pulse for a part of it. Common practice, no source.
_BYTE_GAP_MOST_IDLES, _BYTE_GAP_LEAST_S = 0.8, 0.1
_NOT_SUPPORTED = 0x11
_SOONEST = (START_COMMUNICATION, STOP_COMMUNICATION, TESTER_PRESENT)


class KLineCar:
    """A car on a K line.

    Parameters
    ----------
    car
        What answers, in the form of CAN; it is turned into the K line's.
    keys
        Key bytes that it reports; others than ISO 14230-4's make a car that speaks otherwise.
    starts
        Which ways of waking it works with.
    timing
        The standard's times.
    """

    def __init__(
        self,
        car: Answering,
        *,
        keys: KeyBytes = KeyBytes(0xEF, 0x8F),  # noqa: B008
        starts: tuple[Start, ...] = ("fast", "slow"),
        timing: Timing = TIMING,
    ) -> None:
        self._car = car
        self._keys = keys
        self._starts = starts
        self._timing = timing
        self._phase: Literal["asleep", "pulsed", "slow", "started"] = "asleep"
        self._buffer = bytearray()
        self._due: list[tuple[float, int, bytes]] = []
        self._number = count()
        self._last_s = 0.0
        self._free_s = 0.0  # when the line is free for the next reply

    @property
    def is_started(self) -> bool:
        """Whether a session is up, as far as the last bytes told."""
        return self._phase == "started"

    def take(self, data: bytes, now: float) -> None:
        """Bytes have come from the tester."""
        most_s = max(_BYTE_GAP_MOST_IDLES * self._timing.idle, _BYTE_GAP_LEAST_S)
        if now - self._last_s > most_s:
            self._buffer.clear()
        lapsed = now - max(self._last_s, self._free_s) > self._timing.request_most
        if not self._car.awake or (lapsed and self._phase == "started"):
            self._phase = "asleep"
        self._last_s = now
        if not self._car.awake:
            return
        for byte in data:
            self._take_byte(byte, now)

    def give(self, now: float) -> list[bytes]:
        """Frames whose last byte has gone by now."""
        frames = []
        while self._due and self._due[0][0] <= now:
            frames.append(heapq.heappop(self._due)[2])
        return frames

    def wait_s(self, now: float) -> float | None:
        """Time until :meth:`give` has something; none where nothing is under way. [s]"""
        return max(self._due[0][0] - now, 0.0) if self._due else None

    def _take_byte(self, byte: int, now: float) -> None:
        if not self._buffer and byte == _PULSE:
            self._phase = "pulsed" if "fast" in self._starts else "asleep"
        elif not self._buffer and byte == EVERY_CONTROLLER:
            self._begin_slowly(now)
        elif self._phase == "slow":
            self._end_slowly(byte, now)
        else:
            self._buffer.append(byte)
            self._look(now)

    def _begin_slowly(self, now: float) -> None:
        if "slow" not in self._starts:
            return
        self._phase = "slow"
        # The address takes ten bits at 5 bit/s, of which this wire carried no time at all.
        start = now + 10 * self._timing.slow_bit + self._timing.sync_least
        gap = self._timing.key_gap_most / 2
        bytes_ = (SLOW_SYNCHRONISATION, self._keys.first, self._keys.second)
        for place, byte in enumerate(bytes_):
            self._send(bytes((byte,)), start + place * gap)

    def _end_slowly(self, byte: int, now: float) -> None:
        self._phase = "asleep"
        if byte == ~self._keys.second & 0xFF:
            self._phase = "started"
            self._send(bytes((~EVERY_CONTROLLER & 0xFF,)), now + self._timing.invert_least)

    def _look(self, now: float) -> None:
        try:
            length = frame_length(bytes(self._buffer))
            if length is None or len(self._buffer) < length:
                return
            message = decode(bytes(self._buffer))
        except BellmouthError:
            self._buffer.clear()  # a damaged request is not answered
            return
        self._buffer.clear()
        self._free_s = now
        self._hear(message, now)

    def _hear(self, message: Message, now: float) -> None:
        service = message.data[0]
        if self._phase == "asleep" or (self._phase == "pulsed" and service != START_COMMUNICATION):
            return
        if message.functional and message.target != EVERY_CONTROLLER:
            return
        if service == START_COMMUNICATION:
            self._phase = "started"
        for node in self._car.nodes:
            if message.functional or node.address == message.target:
                self._answer(node, message, now)
        if service == STOP_COMMUNICATION:
            self._phase = "asleep"

    def _answer(self, node: Node, message: Message, now: float) -> None:
        if message.data[0] in _SOONEST:
            keys = (self._keys.first, self._keys.second)
            rest = keys if message.data[0] == START_COMMUNICATION else ()
            self._reply(node, bytes((message.data[0] + POSITIVE, *rest)), now)
            return
        replies = node.answer(message.data, functional=message.functional)
        if replies and replies[0].after_s > self._timing.answer_most:
            # Who cannot answer in time says so, and may then take seconds.
            promise = bytes((NEGATIVE, message.data[0], RESPONSE_PENDING))
            replies = [Reply(promise, 0.0), *replies]
        for reply in replies:
            for data in self._messages(reply.payload, message):
                self._reply(node, data, now + reply.after_s)

    def _messages(self, payload: bytes, request: Message) -> tuple[bytes, ...]:
        try:
            return split_reply(payload)
        except BellmouthError:  # too long for this line, so the car has not got it
            refusal = bytes((NEGATIVE, request.data[0], _NOT_SUPPORTED))
            return () if request.functional else (refusal,)

    def _reply(self, node: Node, data: bytes, earliest: float) -> None:
        start = max(self._free_s + self._timing.answer_least, earliest)
        frame = encode(Message(TESTER, node.address, data))
        self._free_s = start + len(frame) * _BYTE_S
        self._send(frame, self._free_s)

    def _send(self, data: bytes, when: float) -> None:
        heapq.heappush(self._due, (when, next(self._number), data))
