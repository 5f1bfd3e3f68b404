"""Courses: what was wrong before, and what of it is there after; each is a hypothesis about two
recordings of one car.

A cause that is *there still* has one size in both recordings; one that *changed* has two of its
own; one that is gone or new acts in one recording only. No course has more than two sizes to
find, which is what the inference integrates over.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from bellmouth.finding.causes import AREAS, CAUSES, pairs
from bellmouth.finding.effects import ROWS, Effects
from bellmouth.finding.hypothesis import Hypotheses

__all__ = ["AFTER", "BEFORE", "LEFT_BEHIND", "Course", "Courses", "Step", "courses_of"]

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Step = Literal["still", "gone", "changed", "new", "gone and new", "still and new", "one gone"]

BEFORE, AFTER = 0, 1  # the recordings' numbers
#: What a service can leave behind.
LEFT_BEHIND = ("leak", "learned_stale", "meter_low", "meter_high")


@dataclass(frozen=True)
class Course:
    """Causes before and after, each with the place of its size among the course's two."""

    before: tuple[tuple[str, int], ...]
    after: tuple[tuple[str, int], ...]
    step: Step

    @property
    def name(self) -> str:
        """In words, such as ``leak+deposit -> deposit``; a second ``leak`` with a size of its own
        is marked with a prime."""
        places = dict(self.before)
        names = [
            cause + ("'" if cause in places and places[cause] != place else "")
            for cause, place in self.after
        ]
        return f"{_joined(self.before)} -> {'+'.join(names) or 'healthy'}"

    def held(self, recording: int) -> tuple[str, ...]:
        """The causes in a recording."""
        return tuple(cause for cause, _ in (self.before, self.after)[recording])

    @property
    def members(self) -> tuple[str, ...]:
        """The cause that each size belongs to."""
        found = {place: cause for cause, place in (*self.before, *self.after)}
        return tuple(found[place] for place in sorted(found))


def _joined(causes: tuple[tuple[str, int], ...]) -> str:
    return "+".join(cause for cause, _ in causes) or "healthy"


@dataclass(frozen=True)
class Courses:
    """All courses as arrays, laid out as `Hypotheses` is: sizes have shape (courses, 2)."""

    courses: tuple[Course, ...]
    low: Floats
    high: Floats
    worth: Floats
    common: Floats
    recordings: int

    @property
    def count(self) -> int:
        """How many courses there are; the first is a car that was and is healthy."""
        return len(self.courses)

    @cached_property
    def dimensions(self) -> Ints:
        """How many sizes each course has."""
        return np.array([len(course.members) for course in self.courses], dtype=np.intp)

    @property
    def acting(self) -> None:
        """Nothing: a size may act in one recording only."""
        return

    @cached_property
    def bending(self) -> NDArray[np.bool_]:
        """Which hold one size alone that acts on an area, (courses,)."""
        return np.array(
            [
                len(course.members) == 1 and CAUSES[course.members[0]].effect in AREAS
                for course in self.courses
            ]
        )

    @cached_property
    def next_to(self) -> Ints:
        """Of a course of two sizes, the one that is left where the first, or the second, is
        nothing, (courses, 2); any other is next to itself."""
        rows = {(one.before, one.after): row for row, one in enumerate(self.courses)}
        own = np.arange(self.count)
        found = np.stack([own, own], axis=1)
        for row in np.flatnonzero(self.dimensions == 2):
            for gone in (0, 1):
                before, after = (
                    tuple((cause, 0) for cause, place in held if place != gone)
                    for held in (self.courses[row].before, self.courses[row].after)
                )
                found[row, gone] = rows[before, after]
        return found

    @cached_property
    def _codes(self) -> tuple[Ints, Ints, Floats]:
        """Of each recording's two causes: place of the size, row of the effects, sign."""
        shape = (2, self.count, 2)
        places, rows = np.zeros(shape, dtype=np.intp), np.zeros(shape, dtype=np.intp)
        signs = np.ones(shape)
        for row, course in enumerate(self.courses):
            for recording, held in enumerate((course.before, course.after)):
                for slot, (cause, place) in enumerate(held):
                    places[recording, row, slot] = place
                    rows[recording, row, slot] = ROWS.get(CAUSES[cause].effect, 0)
                    signs[recording, row, slot] = CAUSES[cause].sign
        return places, rows, signs

    @cached_property
    def _slots(self) -> Mapping[tuple[str, int], Ints]:
        """Place of a cause's size in a recording by course, -1 where it is not there."""
        found = {}
        for name in CAUSES:
            for recording in (BEFORE, AFTER):
                held = [dict((c.before, c.after)[recording]) for c in self.courses]
                found[name, recording] = np.array([h.get(name, -1) for h in held], dtype=np.intp)
        return found

    def coordinate(
        self, cause: str, recording: int, which: Ints, sizes: Floats, without: float = np.nan
    ) -> Floats:
        """A cause's coordinate in a recording, courses ``which`` (n,) at ``sizes`` (n, 2);
        ``without`` where it is not there."""
        place = self._slots[cause, recording][which]
        value = np.where(place == 1, sizes[:, 1], sizes[:, 0])
        return np.where(place >= 0, value, without)

    def seen_in(self, recording: int) -> "InOne":
        """These courses as hypotheses about one of the recordings."""
        return InOne(self, recording)

    def effects(self, which: Ints, sizes: Floats, bends: tuple[float, float]) -> Effects:
        """Effects of courses ``which`` (batch,) at coordinates ``sizes`` (batch, 2)."""
        batch = np.arange(len(which))
        areas = [ROWS[effect] for effect in AREAS]
        table = np.zeros((len(ROWS) + 1, len(which), self.recordings))
        bent = np.zeros(len(which), dtype=np.bool_)
        for recording in (BEFORE, AFTER):
            places, rows, signs = (part[recording][which] for part in self._codes)
            for slot in (0, 1):
                row = rows[:, slot]
                size = np.where(row > 0, sizes[batch, places[:, slot]], 0.0)
                area = np.isin(row, areas)
                value = np.where(area, np.exp(np.where(area, size, 0.0)), signs[:, slot] * size)
                table[row, batch, recording] += np.where(row > 0, value, 0.0)
                bent |= row == ROWS["meter"]
        return Effects(table, np.where(bent, bends[1], bends[0]))


@dataclass(frozen=True)
class InOne:
    """What courses say of one recording, as the likelihoods of idle speed and plate ask it."""

    courses: Courses
    recording: int

    def coordinate(self, cause: str, which: Ints, sizes: Floats, without: float = np.nan) -> Floats:
        """See `Courses.coordinate`."""
        return self.courses.coordinate(cause, self.recording, which, sizes, without)


def courses_of(hypotheses: Hypotheses, recordings: int) -> Courses:
    """Every course that starts from one of the hypotheses about the recording before."""
    found = [course for causes in hypotheses.causes for course in _from(causes, hypotheses)]
    of_each = (hypotheses.low, hypotheses.high, hypotheses.worth, hypotheses.common)
    ranges = {
        causes[0]: [part[row, 0] for part in of_each]
        for row, causes in enumerate(hypotheses.causes)
        if len(causes) == 1
    }
    low, high, worth, common = parts = np.full((len(of_each), len(found), 2), np.nan)
    for row, course in enumerate(found):
        for place, cause in enumerate(course.members):
            parts[:, row, place] = ranges[cause]
    return Courses(tuple(found), low, high, worth, common, recordings)


def _from(before: tuple[str, ...], hypotheses: Hypotheses) -> Iterator[Course]:
    """What can have become of these causes."""
    alone = [causes[0] for causes in hypotheses.causes if len(causes) == 1]
    had = tuple((cause, place) for place, cause in enumerate(before))
    if not before:
        yield Course((), (), "still")
        for cause in alone:
            yield Course((), ((cause, 0),), "new")
        return
    yield Course(had, had, "still")
    yield Course(had, (), "gone")
    if len(before) == 2:
        yield Course(had, had[:1], "one gone")
        yield Course(had, had[1:], "one gone")
        return
    yield Course(had, ((before[0], 1),), "changed")
    for cause in LEFT_BEHIND:
        if cause not in alone or cause == before[0]:
            continue
        yield Course(had, ((cause, 1),), "gone and new")
        if pairs((before[0], cause)):
            yield Course(had, (*had, (cause, 1)), "still and new")
