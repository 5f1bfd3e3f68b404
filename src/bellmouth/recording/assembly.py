"""Frames to whole messages, offline: the receiving half of ISO 15765-2.

The ISO-TP library is a live stack: it answers with flow control, times by its own clock and
keeps one direction of one pair of addresses. A log has both directions of everybody, its own
clock and holes. So the receiving rules are written out here, on the log's clock, and a little
stricter: a hole in the log must not join the halves of two messages.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from statistics import median

from bellmouth.recording.frames import Frame
from bellmouth.recording.identifiers import EVERYBODY, responder, target

__all__ = ["Assembled", "Assembler", "Assembly", "assemble"]

# ISO 15765-2, N_Cr: between two consecutive frames at most this long (from memory). [s]
LONGEST_GAP_S = 1.0
# A controller sends its frames evenly. Where one came this much later than its frames usually do,
# a hole swallowed what stood between. Common practice, no source.
LATE_FACTOR = 3.0
LATE_S = 0.005
# A frame seen again this soon was logged or carried twice: nobody asks again so quickly. [s]
LOGGED_TWICE_S = 0.05

Sender = tuple[str, int, bool]


@dataclass(frozen=True)
class Assembled:
    """A whole message: who sent it on which channel, when its first frame was logged, and the
    longest wait between two of its frames (0 where it is one frame). [s]"""

    time_s: float
    channel: str
    identifier: int
    extended: bool
    payload: bytes
    gap_s: float = 0.0

    @property
    def sender(self) -> Sender:
        """Channel and identifier."""
        return self.channel, self.identifier, self.extended


@dataclass(frozen=True)
class Assembly:
    """Messages in the order in which they were complete; how many each sender lost."""

    messages: list[Assembled]
    cut: dict[Sender, int] = field(default_factory=dict)


class Assembler:
    """One sender's frames. ``cut`` counts messages of which a frame is missing."""

    def __init__(self) -> None:
        self.cut = 0
        self._head: Frame | None = None
        self._last: Frame | None = None
        self._length = self._number = 0
        self._data = b""
        self._gap_s = 0.0
        self._flow = False
        self._lost = False

    def take(self, frame: Frame) -> Assembled | None:
        """A frame in; a message out, once it is whole."""
        kind = frame.data[0] >> 4 if frame.data else 3
        if kind == 0:
            return self._single(frame)
        if kind == 1:
            self._first(frame)
        elif kind == 2:
            return self._consecutive(frame)
        return None

    def flow(self) -> None:
        """The other side said "go on". Twice without a frame between: there was a hole."""
        if self._flow:
            self.drop()
        self._flow = self._head is not None

    def drop(self) -> None:
        """What is not whole by now stays cut: the next question was asked, or the log ends."""
        self._lost |= self._head is not None
        self.cut += self._head is not None
        self._head = None
        self._flow = False

    def _single(self, frame: Frame) -> Assembled | None:
        self.drop()
        self._lost = False
        length = frame.data[0] & 0x0F
        if not 1 <= length <= len(frame.data) - 1:
            self.cut += 1
            return None
        return _whole(frame, frame.data[1 : 1 + length], 0.0)

    def _first(self, frame: Frame) -> None:
        head = self._head
        if head is not None and self._number == 0 and frame.data == head.data:
            again = frame.time_s - head.time_s < LOGGED_TWICE_S
            if again:
                return
        self.drop()
        length = (frame.data[0] & 0x0F) << 8 | frame.data[1] if len(frame.data) == 8 else 0
        self._lost = length < 8
        if self._lost:
            self.cut += 1
            return
        self._head = self._last = frame
        self._length, self._data, self._number, self._gap_s = length, frame.data[2:], 0, 0.0

    def _consecutive(self, frame: Frame) -> Assembled | None:
        head, last = self._head, self._last
        if head is None or last is None:
            # After a whole message its last frame may stand twice; else the first is missing.
            if not self._lost and (last is None or frame.data != last.data):
                self.cut += 1
                self._lost = True
            return None
        if frame.data == last.data:
            return None  # logged twice: the next one has another number
        missing = min(self._length - len(self._data), 7)
        number = (self._number + 1) % 16
        gap = frame.time_s - last.time_s
        right = frame.data[0] & 0x0F == number and gap <= LONGEST_GAP_S
        if not right or len(frame.data) - 1 < missing:
            self.drop()
            return None
        self._data += frame.data[1 : 1 + missing]
        self._last, self._number, self._flow = frame, number, False
        self._gap_s = max(self._gap_s, gap)
        if len(self._data) < self._length:
            return None
        self._head = None
        return _whole(head, self._data, self._gap_s)


def assemble(frames: Iterable[Frame]) -> Assembly:
    """Whole messages of all senders, each sender's frames kept apart."""
    assemblers: dict[Sender, Assembler] = {}
    messages = []
    for frame in frames:
        to = target(frame.identifier, frame.extended)
        answers = responder(frame.identifier, frame.extended)
        if to is None and answers is None:
            continue
        if to is not None:
            _heed(frame, to, assemblers)
        key = (frame.channel, frame.identifier, frame.extended)
        found = assemblers.setdefault(key, Assembler()).take(frame)
        if found is not None:
            messages.append(found)
    for assembler in assemblers.values():
        assembler.drop()
    cut = {key: assembler.cut for key, assembler in assemblers.items()}
    return _without_late(Assembly(messages, cut))


def _heed(frame: Frame, to: int, assemblers: dict[Sender, Assembler]) -> None:
    """What a tester's frame means for the replies that are under way."""
    kind = frame.data[0] >> 4 if frame.data else -1
    for (channel, identifier, extended), assembler in assemblers.items():
        address = responder(identifier, extended)
        if channel != frame.channel or address is None or to not in (EVERYBODY, address):
            continue
        if kind == 0:
            assembler.drop()
        elif kind == 3:
            assembler.flow()


def _without_late(assembly: Assembly) -> Assembly:
    """Messages without those one of whose frames came far later than their sender's do."""
    gaps: dict[Sender, list[float]] = {}
    for message in assembly.messages:
        if message.gap_s > 0:
            gaps.setdefault(message.sender, []).append(message.gap_s)
    latest = {key: LATE_FACTOR * median(found) + LATE_S for key, found in gaps.items()}
    kept = []
    for message in assembly.messages:
        if message.gap_s > latest.get(message.sender, LONGEST_GAP_S):
            assembly.cut[message.sender] += 1
        else:
            kept.append(message)
    return Assembly(kept, assembly.cut)


def _whole(head: Frame, payload: bytes, gap_s: float) -> Assembled:
    return Assembled(head.time_s, head.channel, head.identifier, head.extended, payload, gap_s)
