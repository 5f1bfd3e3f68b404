"""Simulated cases: a recording as the finding sees it, and the truth, cached on disk.

Recordings are cached by the code they are made with (``bellmouth.practice``), steady stretches by
the code that finds them as well, so that a change of the inference alone costs only inference.
"""

import hashlib
import pickle
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, TypeVar

from bellmouth.car.description import Car
from bellmouth.recording.series import Recording
from bellmouth.recording.steady import stretches
from bellmouth.recording.stretch import Stretch
from measure import OUT, ROOT, simulated
from measure.cleaned import falls_of_chunk
from measure.pool import spread
from measure.simulated import Plan
from measure.unloaded import unloaded_of_chunk

__all__ = ["CHUNK", "Sample", "cached", "recordings", "samples", "stored", "with_later"]

_Made = TypeVar("_Made")

#: Simulating two hundred cars costs little more than simulating one.
CHUNK = 200
_BATCH = (
    "cars", "cells", "columns", "controller", "driver", "engine", "faults", "idle", "laws", "plans",
    "polling", "population", "scenario", "signals", "simulate", "surface",
)  # fmt: skip


@dataclass(frozen=True)
class Sample:
    """One case: truth, what the car reports, and its stretches; see `measure.simulated`."""

    number: int
    variant: str
    cause: str
    sizes: Mapping[str, float]
    reports: str
    plan: str
    complaint: str
    car: Car
    judged: tuple[Stretch, ...]
    references: tuple[tuple[Stretch, ...], ...]
    facts: Mapping[str, float]


def samples(plan: Plan, count: int, processes: int = 2, *, keep: bool = False) -> list[Sample]:
    """The first ``count`` cases of a plan; the same plan always gives the same cases.

    ``keep`` takes recordings that an older practice car made, where there are any.
    """
    size = min(CHUNK, count)
    chunks = [(plan, number, size, keep) for number in range(-(-count // size))]
    found = [sample for chunk in spread(_chunk, chunks, processes, "drawing") for sample in chunk]
    return found[:count]


def recordings(plan: Plan, count: int) -> list[simulated.Simulated]:
    """The first ``count`` cases as recordings, at most `CHUNK`; made in this process."""
    path = _recordings_path(plan, 0, count)
    return cached(path, lambda: simulated.chunk(plan, 0, count))


def with_later(
    found: Sequence[Sample], plan: Plan, processes: int = 2, *, keep: bool = False
) -> list[Sample]:
    """The first cases of a plan with what only follow-up checks ask for among their facts, as it
    takes another drive: what cleaning the plate would change, and the idle with all loads off."""
    size = min(CHUNK, len(found))
    chunks = [(plan, number, size, keep) for number in range(-(-len(found) // size))]
    later = [one for chunk in spread(_later, chunks, processes, "driving again") for one in chunk]
    return [
        replace(one, facts={**one.facts, **facts})
        for one, facts in zip(found, later[: len(found)], strict=True)
    ]


def _later(which: tuple[Plan, int, int, bool]) -> list[Mapping[str, float]]:
    plan, number, size, keep = which
    name = f"{plan.variant}-{_mark(plan, number, size)}"

    def told(kind: str, make: Callable[[Plan, int, int], Any]) -> Any:
        path = stored(kind, name, ["practice"])
        path = _older(path) if keep else path
        return cached(path, lambda: make(plan, number, size))

    falls, idles = told("cleaned", falls_of_chunk), told("put_right", unloaded_of_chunk)
    return [{"cleaned_pct": fall, **facts} for fall, facts in zip(falls, idles, strict=True)]


def _older(path: Path) -> Path:
    """A cached file, or the newest that an older practice car made where there is none."""
    if path.exists():
        return path
    pattern = path.stem.rpartition("-")[0] + "-*"
    older = sorted(path.parent.glob(pattern), key=lambda p: p.stat().st_mtime)
    return older[-1] if older else path


def _chunk(which: tuple[Plan, int, int, bool]) -> list[Sample]:
    plan, number, size, keep = which
    path = _recordings_path(plan, number, size)
    path = _older(path) if keep else path
    found = stored("stretches", path.stem, ["recording"])
    if found.exists():
        held: list[Sample] = _read(found)
        return held
    made = cached(path, lambda: simulated.chunk(plan, number, size))
    return cached(found, lambda: [_sample(one) for one in made])


def _recordings_path(plan: Plan, number: int, size: int) -> Path:
    return stored("recordings", f"{plan.variant}-{_mark(plan, number, size)}", ["practice"])


def _mark(plan: Plan, number: int, size: int) -> str:
    return hashlib.sha256(repr((plan, number, size)).encode()).hexdigest()[:12]


def _sample(one: simulated.Simulated) -> Sample:
    return Sample(
        number=one.number,
        variant=one.variant,
        cause=one.cause,
        sizes=one.sizes,
        reports=one.reports,
        plan=one.plan,
        complaint=one.complaint,
        car=one.car,
        judged=_stretches(one.recording),
        references=tuple(_stretches(reference) for reference in one.references),
        facts=one.facts,
    )


def _stretches(recording: Recording) -> tuple[Stretch, ...]:
    return tuple(stretches(recording))


def cached(path: Path, make: Callable[[], _Made]) -> _Made:
    """What stands at a path, made and put there if nothing does."""
    if path.exists():
        found: _Made = _read(path)
        return found
    made = make()
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_suffix(".part")
    part.write_bytes(pickle.dumps(made, protocol=pickle.HIGHEST_PROTOCOL))
    part.replace(path)
    return made


def _read(path: Path) -> Any:
    # Written above by this program, in its own folder.
    return pickle.loads(path.read_bytes())  # noqa: S301


def stored(kind: str, name: str, rooms: Sequence[str]) -> Path:
    """Where a pickle of a kind stands, by its name and the rooms whose sources it depends on."""
    files: list[Path] = []
    for room in rooms:
        every = sorted((ROOT / "src" / "bellmouth" / room).glob("*.*"))
        # The live car, its wires and its learning have no part in the simulated recordings.
        files += [one for one in every if room != "practice" or one.stem in _BATCH]
    digest = hashlib.sha256(str(simulated.VERSION).encode())
    for file in files:
        digest.update(file.read_bytes())
    return (
        OUT / "cases" / f"v{simulated.VERSION}" / f"{kind}-{name}-{digest.hexdigest()[:12]}.pickle"
    )
