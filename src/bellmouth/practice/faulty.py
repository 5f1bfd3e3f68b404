"""A bad wire on purpose: frames lost, late, doubled, out of order or damaged, as a seed has it.

What a damaged frame looks like is what can reach a computer. On the bus itself a flipped bit fails
the frame's checksum of 15 bits, so every controller throws the frame away (that is ``drop``);
damage that is seen happens between adapter and computer, where nothing guards the characters. So
``corrupt`` cuts lines, puts in characters that are no hexadecimal digits or above 7F, contradicts
the length, or spoils the frame counter. It never swaps one valid data digit for another: no reader
could tell such a value from a true one, and the protocols have nothing against it.
"""

import heapq
import random
from collections import Counter
from dataclasses import replace
from itertools import count
from typing import Generic, TypeVar

from bellmouth.practice.frames import Frame

__all__ = ["Disturbance", "Passage"]

T = TypeVar("T")

_HELD_S = 0.02  # a frame put out of order lets its successors pass for so long
_CONSECUTIVE = 0x2  # upper half of a consecutive frame's first byte, ISO 15765-2


class Disturbance:
    """How bad the wire is; one may serve both directions.

    Parameters
    ----------
    drop, delay, duplicate, reorder, corrupt
        Probability for each frame, 0 to 1.
    seed
        Of the dice: the same frames in the same order meet the same fate.
    delay_s
        A delayed frame comes up to this much later. [s]

    Raises
    ------
    ValueError
        If a probability is not within 0 to 1.
    """

    def __init__(
        self,
        *,
        drop: float = 0.0,
        delay: float = 0.0,
        duplicate: float = 0.0,
        reorder: float = 0.0,
        corrupt: float = 0.0,
        seed: int = 0,
        delay_s: float = 0.08,
    ) -> None:
        self._chances = {
            "drop": drop, "delay": delay, "duplicate": duplicate, "reorder": reorder,
            "corrupt": corrupt,
        }  # fmt: skip
        for name, chance in self._chances.items():
            if not 0.0 <= chance <= 1.0:
                raise ValueError(f"{name} = {chance:g} is no probability; it lies within 0 to 1")
        self.delay_s = delay_s
        self.counts: Counter[str] = Counter()
        self._dice = random.Random(seed)  # noqa: S311

    def happens(self, name: str) -> bool:
        """Throw the dice for one kind of trouble, and count it."""
        hit = self._dice.random() < self._chances[name]
        self.counts[name] += hit
        return hit

    def late_s(self) -> float:
        """How late a delayed frame comes. [s]"""
        return self._dice.uniform(0.0, self.delay_s)

    def damaged_line(self, line: bytes) -> bytes:
        """A serial line without its end, damaged so that a careful reader can see it."""
        place = self._dice.randrange(1, len(line))
        match self._dice.randrange(4):
            case 0:
                return line[:place]
            case 1:
                return line[:place] + b"?" + line[place + 1 :]
            case 2:
                return line[:place] + b"\xb5" + line[place + 1 :]
            case _:
                return line + line[-1:]

    def damaged_frame(self, frame: Frame) -> Frame:
        """A frame cut short, or one of several whose counter is spoilt."""
        if frame.data and frame.data[0] >> 4 == _CONSECUTIVE and self._dice.random() < 0.5:
            spoilt = _CONSECUTIVE << 4 | (frame.data[0] + self._dice.randrange(1, 15)) & 0x0F
            return replace(frame, data=bytes((spoilt,)) + frame.data[1:])
        return replace(frame, data=frame.data[: self._dice.randrange(len(frame.data) or 1)])

    def damaged_bytes(self, frame: bytes) -> bytes:
        """A frame of the K line with one bit turned over, a byte lost, or its end cut off."""
        place = self._dice.randrange(len(frame))
        match self._dice.randrange(3):
            case 0:
                turned = frame[place] ^ 1 << self._dice.randrange(8)
                return frame[:place] + bytes((turned,)) + frame[place + 1 :]
            case 1:
                return frame[:place] + frame[place + 1 :]
            case _:
                return frame[:place]


class Passage(Generic[T]):
    """One direction of a wire: what is put in comes out when it is due, or never, or twice.

    Without a disturbance all comes out at once and in order. ``now`` is any monotonic clock's.
    """

    def __init__(self, disturbance: Disturbance | None = None) -> None:
        self._disturbance = disturbance
        self._due: list[tuple[float, int, T, bool]] = []
        self._number = count()

    def put(self, item: T, now: float) -> None:
        """Hand in one frame."""
        dice = self._disturbance
        if dice is None:
            self._add(now, item, damaged=False)
            return
        if dice.happens("drop"):
            return
        damaged = dice.happens("corrupt")
        due = now + (dice.late_s() if dice.happens("delay") else 0.0)
        if dice.happens("reorder"):
            due = max(due, now + _HELD_S)  # whatever follows within this time passes it
        self._add(due, item, damaged)
        if dice.happens("duplicate"):
            self._add(due, item, damaged)

    def _add(self, due: float, item: T, damaged: bool) -> None:
        heapq.heappush(self._due, (due, next(self._number), item, damaged))

    def take(self, now: float) -> list[tuple[T, bool]]:
        """All that is due, each with whether it has been damaged."""
        taken = []
        while self._due and self._due[0][0] <= now:
            _, _, item, damaged = heapq.heappop(self._due)
            taken.append((item, damaged))
        return taken

    def wait_s(self, now: float) -> float | None:
        """Time until something is due; none where nothing is under way. [s]"""
        return max(self._due[0][0] - now, 0.0) if self._due else None

    def clear(self) -> None:
        """Forget what is under way: the wire has been unplugged."""
        self._due.clear()
