"""Which jobs came back: by what was done, by the learning procedure, by gasket and by person.

A job counts once it has had its time to come back. What was not written down is counted as
unknown, never guessed.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import sqlalchemy as sa

from bellmouth.book import tables
from bellmouth.book.entries import Entry, effective, read_many
from bellmouth.book.opening import reading
from bellmouth.book.shares import Share, share_of, shares_of
from bellmouth.book.store import Store

__all__ = ["UNKNOWN", "WITHIN_DAYS", "Comebacks", "Group", "JobDone", "comebacks", "count", "jobs"]

#: A job that was not back by then is taken not to have come back: our choice.
WITHIN_DAYS = 90
UNKNOWN = "not written down"
_USED = ("job", "work", "attempt")
_AT_ONCE = 500


@dataclass(frozen=True)
class JobDone:
    """A finished job: when, what was done, how it went on."""

    car: str
    job: int
    on: date
    works: frozenset[str]
    procedures: frozenset[str]
    gasket: str
    persons: frozenset[str]
    came_back_on: date | None


@dataclass(frozen=True)
class Group:
    """Jobs that have something in common, and how many of them came back."""

    name: str
    share: Share


@dataclass(frozen=True)
class Comebacks:
    """What the book says of its comebacks.

    ``waiting`` jobs are too young to tell and are not counted. Groups of one table overlap where
    a job belongs to several (two works in one job); gaskets never do.
    """

    every: Share
    waiting: int
    within_days: int
    works: tuple[Group, ...]
    procedures: tuple[Group, ...]
    gaskets: tuple[Group, ...]
    persons: tuple[Group, ...]


def comebacks(store: Store, *, within_days: int = WITHIN_DAYS) -> Comebacks:
    """Count the comebacks of all cars of a book."""
    return count(jobs(store), store.today(), within_days=within_days)


def jobs(store: Store) -> tuple[JobDone, ...]:
    """Every job of the book on which work was done."""
    table = tables.standing
    with store.told(), reading(store.engine) as connection:
        names = {
            int(row.car_id): str(row.name)
            for row in connection.execute(sa.select(table.c.car_id, table.c.name))
        }
        found: list[JobDone] = []
        every = sorted(names)
        for start in range(0, len(every), _AT_ONCE):
            some = read_many(connection, every[start : start + _AT_ONCE], _USED)
            for car_id, entries in some.items():
                found += _of_car(names[car_id], effective(entries))
    return tuple(found)


def _of_car(name: str, entries: Sequence[Entry]) -> list[JobDone]:
    opened = {one.job: one for one in entries if one.kind == "job"}
    back: dict[int, date] = {}
    for one in opened.values():
        earlier = one.document.get("comeback_of")
        if earlier is not None:
            on = date.fromisoformat(one.on_date or "")
            back[int(earlier)] = min(on, back.get(int(earlier), on))
    found = []
    for number, job in opened.items():
        own = [one for one in entries if one.job == number]
        work = [one.document for one in own if one.kind == "work"]
        tried = [one.document for one in own if one.kind == "attempt"]
        if number is None or not (work or tried):
            continue
        found.append(
            JobDone(
                car=name,
                job=number,
                on=date.fromisoformat(job.on_date or ""),
                works=frozenset(done for one in work for done in one["done"]),
                procedures=frozenset(
                    str(one["procedure"]) for one in tried if one.get("procedure")
                ),
                gasket=_gasket([str(one["gasket"]) for one in work if one.get("gasket")]),
                persons=frozenset(str(one["by"]) for one in (*work, *tried) if one.get("by")),
                came_back_on=back.get(number),
            )
        )
    return found


def _gasket(said: Sequence[str]) -> str:
    return said[-1] if said else UNKNOWN


def count(done: Sequence[JobDone], today: date, *, within_days: int = WITHIN_DAYS) -> Comebacks:
    """Count jobs that came back in time, whole and by group.

    Parameters
    ----------
    done
        Finished jobs.
    today
        Jobs younger than ``within_days`` are not counted.
    """
    time = timedelta(days=within_days)
    # Counting the young that are back, and not the young that may still come, would count too many.
    told = [(one, _is_back(one, time)) for one in done if one.on + time <= today]
    return Comebacks(
        every=share_of(sum(back for _, back in told), len(told)),
        waiting=len(done) - len(told),
        within_days=within_days,
        works=_groups((name, back) for one, back in told for name in one.works),
        procedures=_groups((name, back) for one, back in told for name in one.procedures),
        gaskets=_groups((one.gasket, back) for one, back in told),
        persons=_groups((name, back) for one, back in told for name in (one.persons or {UNKNOWN})),
    )


def _is_back(one: JobDone, time: timedelta) -> bool:
    return one.came_back_on is not None and one.came_back_on - one.on <= time


def _groups(pairs: Iterable[tuple[str, bool]]) -> tuple[Group, ...]:
    counted: dict[str, list[bool]] = defaultdict(list)
    for name, back in pairs:
        counted[name].append(back)
    names = sorted(counted, key=lambda name: (name == UNKNOWN, -len(counted[name]), name))
    shares = shares_of([(sum(counted[name]), len(counted[name])) for name in names])
    return tuple(Group(name, share) for name, share in zip(names, shares, strict=True))
