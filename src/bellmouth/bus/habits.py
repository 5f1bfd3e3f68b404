"""What one controller takes, learned by trying: how many parameters at once, and which not at all.

A controller may take fewer than six parameters in one request, leave some out in company that it
gives alone, or refuse what its own list claims. What it refuses again and again, and never gave, is
asked no more.
"""

from collections import Counter
from collections.abc import Collection, Sequence

from bellmouth.j1979 import parameters
from bellmouth.j1979.messages import MOST_PARAMETERS

__all__ = ["Habits"]

_TWICE = 2  # once may be a damaged frame
_LEFT_OUT = 3  # so often left out in company before it is asked alone
_DISORDER = 3  # so often in another order than asked before that is its way
_COMPANIONS = (0x0D, 0x05, 0x0F, 0x11, 0x04, 0x0B, 0x06, 0x33)  # one byte each, nearly always there
_STILL_ONE_FRAME = 3  # bytes of a parameter that leave room for a companion in a single frame
_SILENT = 5  # so often silent to a parameter it never gave, while it answers others


class Habits:
    """One controller's.

    Parameters
    ----------
    most
        Parameters that the link can put into one request.
    claimed
        Parameters that the controller lists.

    Attributes
    ----------
    refused
        Parameters that are asked no more, and why, in words.
    in_order
        Whether it answers in the order asked, as far as is known.
    """

    def __init__(self, most: int = MOST_PARAMETERS, claimed: Collection[int] = ()) -> None:
        self.most = most
        self._companions = [one for one in _COMPANIONS if one in claimed]
        self.refused: dict[int, str] = {}
        self.in_order = True
        self._proven = 1
        self._alone: set[int] = set()
        self._given: set[int] = set()
        self._failed: Counter[int] = Counter()  # by number of parameters
        self._left_out: Counter[int] = Counter()
        self._denied: Counter[int] = Counter()
        self._silent: Counter[int] = Counter()
        self._spoilt: Counter[int] = Counter()
        self._turn = 0
        self._disorder = 0

    def plan(self, identifiers: Sequence[int]) -> list[tuple[int, ...]]:
        """Sets of these, each with at most as many as the controller takes at once."""
        wanted = [one for one in dict.fromkeys(identifiers) if one not in self.refused]
        together = [one for one in wanted if one not in self._alone]
        parts = [tuple(together[n : n + self.most]) for n in range(0, len(together), self.most)]
        return parts + [(one,) for one in wanted if one in self._alone]

    def request(self, part: tuple[int, ...], *, wary: bool) -> tuple[tuple[int, ...], int | None]:
        """How a set is asked this time, and the companion that must be in the answer.

        No two requests in a row look alike, so that a belated answer to the last one cannot pass
        for the answer to this one: the order turns, and one parameter alone gets a companion every
        other time, whose value nobody wants. Where ``wary`` (answers have come late or twice on
        this link), every set gets one, each time another, and none now and then.
        """
        self._turn += 1
        turn = self._turn % len(part)
        turned = part[turn:] + part[:turn]
        companion = self._companion(part, wary=wary)
        return (turned if companion is None else (*turned, companion)), companion

    def _companion(self, part: tuple[int, ...], *, wary: bool) -> int | None:
        if len(part) >= self.most or set(part) & self._alone:
            return None
        pool = [one for one in self._companions if one not in {*part, *self._alone, *self.refused}]
        if not pool or not (wary or len(part) == 1):
            return None
        if not wary:
            size = parameters.byte_count(part[0])
            return pool[0] if self._turn % 2 and size <= _STILL_ONE_FRAME else None
        place = self._turn // len(part) % (len(pool) + 1)
        return None if place == len(pool) else pool[place]

    def out_of_order(self) -> None:
        """An answer came in another order than asked, and no wire is to blame."""
        self._disorder += 1
        self.in_order = self._disorder < _DISORDER

    def is_proven(self, part: Collection[int]) -> bool:
        """Whether as many parameters at once have been answered whole before."""
        return len(part) <= self._proven

    def gave(self, part: Sequence[int], given: Collection[int]) -> None:
        """It answered, with all of a request or part of it."""
        self._given |= set(given)
        for one in given:
            self._denied[one] = self._silent[one] = self._spoilt[one] = 0
        if len(given) == len(part) > 1:
            self._proven = max(self._proven, len(part))
            for one in given:
                self._left_out[one] = 0
        for one in set(part) - set(given):
            self._left_out[one] += 1
            if self._left_out[one] >= _LEFT_OUT:
                self._alone.add(one)

    def suspects(self, part: Collection[int]) -> list[int]:
        """Which of several may have spoilt their common answer: those it never gave."""
        return [one for one in part if one not in self._given]

    def spoilt(self, identifier: int, *, wire_is_good: bool) -> bool:
        """It answered to one parameter, asked alone, with what is no answer; is that its way?

        An answer of another length than the standard's spoils those of its company.
        """
        self._spoilt[identifier] += 1
        often = self._spoilt[identifier] >= (_TWICE if wire_is_good else _SILENT)
        if not often or identifier in self._given:
            return False
        self.refused[identifier] = "its answer contradicts the standard"
        return True

    def failed(self, part: Sequence[int]) -> None:
        """It refused several at once, or kept silent to them, and then gave some alone."""
        self._failed[len(part)] += 1
        if self._failed[len(part)] >= _TWICE and not self.is_proven(part):
            self.most = max(self._proven, len(part) // 2)

    def denied(self, identifier: int, why: str) -> None:
        """It refused one parameter, asked alone.

        What it gave before it will give again: controllers refuse while they start, at each turn of
        the key.
        """
        self._denied[identifier] += 1
        if self._denied[identifier] >= _TWICE and identifier not in self._given:
            self.refused[identifier] = why

    def kept_silent(self, identifier: int) -> None:
        """It did not answer to one parameter, asked alone, though it answers others."""
        self._silent[identifier] += 1
        if self._silent[identifier] >= _SILENT and identifier not in self._given:
            self.refused[identifier] = "no answer"
