"""Recordings in the book: Parquet files, read back sample for sample."""

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from bellmouth.book.entries import Entry
from bellmouth.book.loose import named_or_gone
from bellmouth.book.store import Store
from bellmouth.book.visits import Read
from bellmouth.errors import BookError
from bellmouth.recording import read_recording, stretches
from bellmouth.recording.export import frame
from bellmouth.recording.kept_steps import steps_text
from bellmouth.recording.seal import sealed
from bellmouth.recording.series import Recording
from bellmouth.recording.stretch import Stretch

__all__ = ["add_recording", "held", "idle_opening", "recording_of"]

#: Readings that follow the plate, the one that most cars have first.
_OPENINGS = ("throttle_position", "commanded_throttle_actuator", "relative_throttle_position")
_LEAST_PCT = 0.5


def add_recording(
    store: Store,
    name: str,
    recording: Recording,
    *,
    by: str | None = None,
    job: int | None = None,
    corrects: int | None = None,
) -> Entry:
    """Keep a recording as a Parquet file and add an entry for it; ``by`` is who made it.

    Raises
    ------
    BookError
        If it cannot be written, or does not read back as it was.
    """
    with store.told():
        steps = steps_text(recording.series)
        whole = sealed(
            frame(recording), recording.of_car, loads_off=recording.loads_off, steps=steps
        )
        kept = store.files.keep("recordings", whole, "parquet")
    document = _described(recording) | ({"by": by} if by else {})
    with named_or_gone(store, kept):
        if not _same(_read(store, kept, document), recording):
            raise BookError(f"{recording.source}: cannot be kept without losing samples.")
        return store.add(name, "recording", document, files=[kept], job=job, corrects=corrects)


def held(store: Store, entries: Sequence[Entry], recording: Recording) -> Entry | None:
    """The entry among some that holds the same samples already, None where there is none."""
    samples = sum(series.time_s.size for series in recording.series.values())
    for entry in entries:
        like = entry.kind == "recording" and entry.document.get("samples") == samples
        if like and _same(recording_of(store, entry), recording):
            return entry
    return None


def recording_of(store: Store, entry: Entry) -> Recording:
    """The recording of an entry, as it was when it was added.

    Raises
    ------
    BookError
        If its file is missing or damaged.
    """
    if entry.kind != "recording":
        raise BookError(f"Entry {entry.number} is a {entry.kind}, not a recording.")
    if not entry.files:
        raise BookError(f"Entry {entry.number} has lost its file. Put back a backup of the book.")
    return _read(store, entry.files[0], entry.document)


def idle_opening(found: Sequence[Stretch]) -> Read | None:
    """The plate's opening over the warm idles of a recording, None where nothing tells it. [%]"""
    opening = _idle_opening(found)
    return None if opening is None else Read(opening["value"], opening["standard_error"])


def _described(recording: Recording) -> dict[str, Any]:
    every = recording.series.values()
    rate = recording.samples_per_s
    said: dict[str, Any] = {
        "source": recording.source,
        "seconds": max(float(series.time_s[-1]) for series in every),
        "samples": sum(series.time_s.size for series in every),
        "samples_per_s": rate if math.isfinite(rate) else None,
        "parameters": {series.name: series.unit for series in every},
        "notes": list(recording.notes),
        "unmapped": list(recording.unmapped),
        "dropped": dict(recording.dropped),
        "begins_s": recording.begins_s,
    }
    # A file has no place for it: the step of what was read several times at one moment.
    steps = {series.name: series.step for series in every if series.step is not None}
    said |= {"steps": steps} if steps else {}
    opening = _idle_opening(stretches(recording))
    return said | ({"idle_opening": opening} if opening else {})


def _read(store: Store, name: str, document: Any) -> Recording:
    with store.told():
        store.files.read(name)
    rate = document["samples_per_s"]
    found = read_recording(store.files.path(name))
    # The file's clock begins at 0; what is told on the clock of the car's own recording moves back.
    later_s = document["begins_s"] - found.begins_s
    steps = document.get("steps", {})
    series = {n: replace(one, step=steps.get(n, one.step)) for n, one in found.series.items()}
    return replace(
        found,
        series=series,
        source=document["source"],
        notes=tuple(document["notes"]),
        unmapped=tuple(document["unmapped"]),
        samples_per_s=math.nan if rate is None else rate,
        dropped=dict(document["dropped"]),
        begins_s=document["begins_s"],
        woken=tuple((low_s + later_s, high_s + later_s) for low_s, high_s in found.woken),
    )


def _same(one: Recording, other: Recording) -> bool:
    return list(one.series) == list(other.series) and all(
        mine.unit == theirs.unit
        and np.array_equal(mine.time_s, theirs.time_s)
        and np.array_equal(mine.value, theirs.value)
        for mine, theirs in zip(one.series.values(), other.series.values(), strict=True)
    )


def _idle_opening(found: Sequence[Stretch]) -> dict[str, Any] | None:
    """The plate's mean opening over the warm idles, by the first reading that tells it. [%]"""
    idles = [one for one in found if one.kind == "idle" and one.warm is not False]
    for parameter in _OPENINGS:
        read = [one.readings[parameter] for one in idles if parameter in one.readings]
        # A reading at the lower end of its range does not follow the plate.
        read = [one for one in read if one.value > max(one.quantum, _LEAST_PCT)]
        if not read:
            continue
        weights = np.array([1.0 / max(one.standard_error, 1e-3) ** 2 for one in read])
        value = float(np.average([one.value for one in read], weights=weights))
        # Idles of one recording share their rounding: more of them are no better known.
        error = min(one.standard_error for one in read)
        return {"parameter": parameter, "value": value, "standard_error": error, "unit": "%"}
    return None
