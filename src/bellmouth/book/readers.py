"""Two people, one car: how far their readings of the same thing lie apart, from the book."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import sqlalchemy as sa

from bellmouth.book import tables
from bellmouth.book.entries import Entry, effective, read_many
from bellmouth.book.opening import reading
from bellmouth.book.spread import Spread, spread_of
from bellmouth.book.store import Store

__all__ = ["Quantity", "quantities", "spreads", "things_of"]

_USED = ("job", "recording", "finding", "work", "attempt")
_AT_ONCE = 500
# A cause's size is compared where the finding holds the cause to be there at least so surely.
_SURE = 0.5


@dataclass(frozen=True)
class Quantity:
    """Something that is read: what, its unit, and how far readings of it lie apart."""

    name: str
    unit: str
    spread: Spread


Key = tuple[str, str]


def spreads(store: Store) -> tuple[Quantity, ...]:
    """Spread of each quantity that somebody read twice, or two persons once, on one visit."""
    table = tables.standing
    found: dict[Key, list[Mapping[str, Sequence[float]]]] = defaultdict(list)
    with store.told(), reading(store.engine) as connection:
        every = sorted(map(int, connection.execute(sa.select(table.c.car_id)).scalars()))
        for start in range(0, len(every), _AT_ONCE):
            some = read_many(connection, every[start : start + _AT_ONCE], _USED)
            for entries in some.values():
                for key, things in things_of(effective(entries)).items():
                    found[key] += things
    return quantities(found)


def quantities(
    found: Mapping[Key, Sequence[Mapping[str, Sequence[float]]]],
) -> tuple[Quantity, ...]:
    """The quantities of which anything was read more than once."""
    kept = [Quantity(name, unit, spread_of(found[name, unit])) for name, unit in sorted(found)]
    return tuple(one for one in kept if one.spread.again is not None)


def things_of(
    entries: Sequence[Entry],
) -> dict[Key, list[Mapping[str, Sequence[float]]]]:
    """A car's readings by quantity and thing; a thing is the car between two pieces of work.

    ``entries`` are what corrections left, in the order of what happened. A finding that was made
    again of one recording, as with a check's result, is no other reading: the last counts.
    """
    last = {one.document.get("recording"): one.number for one in entries if one.kind == "finding"}
    who: dict[int, str] = {}
    read: dict[Key, dict[tuple[int | None, int], dict[str, list[float]]]] = {}
    stage: dict[int | None, int] = defaultdict(int)
    stage_of: dict[int, tuple[int | None, int]] = {}
    for one in entries:
        if one.kind in ("work", "attempt"):
            stage[one.job] += 1
        elif one.kind == "recording" and one.document.get("by"):
            # Findings name the entry that it was before somebody corrected who made it.
            for number in (one.number, one.corrects or one.number):
                stage_of[number] = (one.job, stage[one.job])
                who[number] = str(one.document["by"])
            opening = one.document.get("idle_opening")
            if opening:
                key = (f"idle opening, {opening['parameter']}", "%")
                _add(read, key, stage_of[one.number], who[one.number], opening["value"])
        elif one.kind == "finding" and one.document.get("recording") in stage_of:
            number = int(one.document["recording"])
            if last[number] != one.number:
                continue
            for key, value in _sizes(one):
                _add(read, key, stage_of[number], who[number], value)
    return {key: list(things.values()) for key, things in read.items()}


def _add(
    read: dict[Key, dict[tuple[int | None, int], dict[str, list[float]]]],
    key: Key,
    thing: tuple[int | None, int],
    person: str,
    value: float,
) -> None:
    read.setdefault(key, {}).setdefault(thing, {}).setdefault(person, []).append(float(value))


def _sizes(entry: Entry) -> list[tuple[Key, float]]:
    causes = entry.document["finding"]["causes"]
    top = max(causes, key=lambda one: float(one["probability"]))
    if top["probability"] < _SURE:
        return []
    return [
        ((f"size of {cause}", str(size["unit"])), float(size["value"]))
        for cause, size in top["sizes"].items()
    ]
