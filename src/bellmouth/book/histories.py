"""From a car's entries to the visits that a forecast is made of."""

import math
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from bellmouth.book import tables
from bellmouth.book.assumptions import load_assumptions
from bellmouth.book.entries import Entry, effective, places, read_many
from bellmouth.book.family_growth import assumed_of
from bellmouth.book.forecast import Forecast, forecast
from bellmouth.book.judging import CLEANED
from bellmouth.book.opening import reading
from bellmouth.book.standing import known_of
from bellmouth.book.store import Store
from bellmouth.book.visits import CarVisits, Read, Visit
from bellmouth.errors import BookError
from bellmouth.finding.family import Family, read_family

__all__ = ["deposit_read", "forecast_of", "visits_of", "visits_of_kind"]

_USED = ("car", "job", "finding", "recording", "work")
_MOST_ALIKE = 40
_Z90 = 1.6448536269514722


def forecast_of(
    store: Store,
    name: str,
    *,
    level_mm2: float | None = None,
    family: Family | str | Path | None = None,
) -> Forecast | None:
    """Forecast a car of the book from its findings and those of other cars of its kind.

    ``family``, or the file of it, says how fast its like get dirty in the place of the trade's
    rule, where that was learnt.
    None where no job with an odometer has a finding or a recording that tells. [mm²]
    """
    with store.told(), reading(store.engine) as connection:
        car_id, entries = store.read(connection, name)
        car = visits_of(entries, level_mm2)
        if not car.visits:
            return None
        others = list(_read_alike(connection, _alike(connection, car_id, entries)))
    known = read_family(family) if isinstance(family, str | Path) else family
    assumed = assumed_of(None if known is None else known.growth)
    return forecast(car, [one for one in others if one.tells_growth], assumed=assumed)


def _read_alike(connection: sa.Connection, car_ids: Sequence[int]) -> Iterator[CarVisits]:
    """The visits of other cars; one whose history is damaged must not cost this car its forecast,
    and `check` names it."""
    for car_id in car_ids:
        with suppress(BookError):
            yield visits_of(read_many(connection, [car_id], _USED)[car_id])


def visits_of_kind(store: Store, kind: str) -> list[CarVisits]:
    """The visits of every car of a kind, as far as they were read."""
    table = tables.standing
    with store.told(), reading(store.engine) as connection:
        query = sa.select(table.c.car_id).where(table.c.kind == kind).order_by(table.c.car_id)
        found = [int(one) for one in connection.execute(query).scalars()]
        entries = read_many(connection, found, _USED)
    return [visits_of(each) for each in entries.values()]


def _alike(connection: sa.Connection, car_id: int, entries: Sequence[Entry]) -> list[int]:
    kind = known_of(entries).document.get("kind")
    if not kind:
        return []
    table = tables.standing
    query = sa.select(table.c.car_id).where(
        table.c.kind == kind, table.c.car_id != car_id, table.c.jobs > 1
    )
    newest = query.order_by(table.c.last_made_at.desc(), table.c.car_id).limit(_MOST_ALIKE)
    return [int(found) for found in connection.execute(newest).scalars()]


def visits_of(entries: Sequence[Entry], level_mm2: float | None = None) -> CarVisits:
    """A car's visits, by odometer; jobs without one, or that tell nothing, are left out.

    What was read after the plate was cleaned is a visit of its own at the same odometer.
    """
    known = known_of(entries).document
    level = level_mm2 or load_assumptions().level["mm2_per_litre"] * _litres(known)
    now = _beside_recordings(entries)
    parameter = _parameter(now)
    told = [one for one in now if one.kind == "job" and one.distance_km is not None]
    jobs = sorted(told, key=lambda one: (one.distance_km or 0.0, one.job or 0))
    visits = [
        visit
        for job in jobs
        for visit in _of_job(job, [one for one in now if one.job == job.job], level, parameter)
    ]
    odometers = ((date.fromisoformat(one.on_date or ""), one.distance_km or 0.0) for one in jobs)
    return CarVisits(str(known["name"]), level, tuple(visits), tuple(odometers))


def _beside_recordings(entries: Sequence[Entry]) -> list[Entry]:
    """What corrections left, in the order of what happened; a finding stands beside the recording
    that it is of, and in its job, however much later somebody asked for it."""
    place, now = places(entries), effective(entries)
    recordings = {place[one.number]: one for one in now if one.kind == "recording"}
    order = []
    for one in now:
        of = one.document.get("recording") if one.kind == "finding" else None
        read = recordings.get(place.get(of, 0)) if isinstance(of, int) else None
        moved = one if read is None else replace(one, job=read.job)
        order.append((place[(read or one).number], place[one.number], moved))
    return [one for *_, one in sorted(order, key=lambda told: told[:2])]


def _of_job(
    job: Entry, entries: Sequence[Entry], level_mm2: float, parameter: str | None
) -> list[Visit]:
    # By place, not by number: what was corrected stands where it first stood.
    cleanings = [
        place
        for place, one in enumerate(entries)
        if one.kind == "work" and CLEANED in one.document["done"]
    ]
    cut = cleanings[0] if cleanings else len(entries)
    km, on = float(job.distance_km or 0.0), date.fromisoformat(job.on_date or "")
    visits = []
    for part, cleaned in (
        (entries[:cut], bool(cleanings)),
        (entries[cut + 1 :], False),
    ):
        deposit, opening = _deposit(part, level_mm2), _opening(part, parameter)
        if deposit or opening or cleaned:
            visits.append(Visit(km, on, deposit, opening, cleaned))
    return visits


def _deposit(entries: Sequence[Entry], level_mm2: float) -> Read | None:
    found = [one.document["finding"] for one in entries if one.kind == "finding"]
    unseen = load_assumptions().reading["unseen"] * level_mm2
    return deposit_read(found[-1], unseen) if found else None


def deposit_read(finding: Mapping[str, Any], unseen_mm2: float) -> Read | None:
    """What a finding says of the deposit; None where its recording could not tell. [mm²]

    What speaks is how much likelier the recording made a deposit than it was held to be before.
    Where it made it much less likely there may still be one up to ``unseen_mm2``, too small to be
    asked after.
    """
    told_by = _likelier(finding)
    reading = load_assumptions().reading
    if told_by < 1.0 / reading["not_there_by"]:
        return Read(unseen_mm2 / 2.0, unseen_mm2 / math.sqrt(12.0))
    if told_by < reading["told_by"]:
        return None
    # As likely to be there as the recording alone makes it.
    there = told_by / (1.0 + told_by)
    if (sized := _sized(finding)) is None:
        return None
    mean, variance = sized
    whole = there * mean + (1.0 - there) * unseen_mm2 / 2.0
    square = there * (variance + mean**2) + (1.0 - there) * unseen_mm2**2 / 3.0
    return Read(whole, math.sqrt(max(square - whole**2, 1e-6)))


def _likelier(finding: Mapping[str, Any]) -> float:
    """Odds of a deposit after the recording over those before it; 1 where none was asked after."""
    before = sum(p for cause, p in finding["prior"].items() if "deposit" in cause.split("+"))
    after = sum(
        one["probability"] for one in finding["causes"] if "deposit" in one["cause"].split("+")
    )
    if not 0.0 < before < 1.0:
        return 1.0
    return float(after / max(1.0 - after, 1e-12) * (1.0 - before) / before)


def _sized(finding: Mapping[str, Any]) -> tuple[float, float] | None:
    """Mean and variance of the deposit over the causes that have one, None where no size is told.
    [mm²], [mm4]"""
    weight = mean = square = 0.0
    for cause in finding["causes"]:
        size = cause["sizes"].get("deposit")
        if size is not None and None not in size.values():
            chance, value = cause["probability"], size["value"]
            weight += chance
            mean += chance * value
            square += chance * (((size["high"] - size["low"]) / 2.0 / _Z90) ** 2 + value**2)
    if not weight:
        return None
    return mean / weight, square / weight - (mean / weight) ** 2


def _parameter(entries: Sequence[Entry]) -> str | None:
    """The reading of the plate that most recordings have; different ones cannot be compared."""
    names = [
        one.document["idle_opening"]["parameter"]
        for one in entries
        if one.kind == "recording" and "idle_opening" in one.document
    ]
    return max(sorted(set(names)), key=names.count) if names else None


def _opening(entries: Sequence[Entry], parameter: str | None) -> Read | None:
    for one in reversed(entries):
        opening = one.document.get("idle_opening") if one.kind == "recording" else None
        if opening and opening["parameter"] == parameter:
            return Read(float(opening["value"]), float(opening["standard_error"]))
    return None


def _litres(known: Mapping[str, Any]) -> float:
    size = known["car"]["displacement_l"]
    return float(size["value"] if isinstance(size, dict) else size)
