"""Cases: cars drawn, run and written to a folder as recordings, car files and truths."""

import json
import math
import shutil
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any, Final, TypeVar

import numpy as np
from numpy.typing import NDArray

from measure.second_engine import flow
from measure.second_engine.cars import Cars, draw_car, stack
from measure.second_engine.days import (
    CAUSE_SHARES,
    CAUSES,
    Days,
    Script,
    draw_day,
    draw_script,
)  # fmt: skip
from measure.second_engine.drive import Traces, drive
from measure.second_engine.logger import (
    Logged,
    Reports,
    car_text,
    draw_reports,
    recording_text,
)  # fmt: skip
from measure.second_engine.plant import effective_area

__all__ = ["Case", "draw_cases", "read_cases"]

Floats = NDArray[np.float64]
T = TypeVar("T")

#: Candidates a case: some engines would not idle with their fault and are left out.
_SPARE: Final = 1.12
_SETTLED_S: Final = 8.0
_LEAK_DISCHARGE: Final = 0.8


@dataclass(frozen=True)
class Case:
    """A case in its folder; ``sizes`` of the fault in the units of a finding."""

    folder: Path
    number: int
    cause: str
    plan: str
    reports: str
    sizes: Mapping[str, float]


@dataclass(frozen=True)
class _Candidate:
    """A car, today and the good day: what happened, and how it was recorded."""

    number: int
    cause: str
    car: Cars
    days: tuple[Days, ...]
    scripts: tuple[Script, ...]
    reports: Reports


def draw_cases(folder: Path, cases: int, seed: int, *, reference: bool) -> list[Case]:
    """Write ``cases`` cases of a seed into a folder, which is emptied first."""
    shutil.rmtree(folder, ignore_errors=True)
    drawn = [_candidate(seed, k, reference) for k in range(math.ceil(_SPARE * cases) + 2)]
    cars = stack([one.car for one in drawn for _ in one.days])
    days = stack([day for one in drawn for day in one.days])
    scripts = [script for one in drawn for script in one.scripts]
    traces = drive(cars, days, scripts, np.random.default_rng([seed, 10**6]))
    found: list[Case] = []
    left_out: dict[str, int] = {}
    column = 0
    for one in drawn:
        mine = range(column, column + len(one.days))
        column += len(one.days)
        logged = [_logged(traces, k, one.car, day) for k, day in zip(mine, one.days, strict=True)]
        if not all(map(_idles, logged, one.scripts)):
            left_out[one.cause] = left_out.get(one.cause, 0) + 1
        elif len(found) < cases:
            found.append(_write(folder, seed, one, logged))
    (folder / "cases.json").write_text(
        json.dumps({"cases": [_as_json(case) for case in found], "left_out": left_out}, indent=1)
    )
    return found


def read_cases(folder: Path) -> list[Case]:
    """Cases that `draw_cases` wrote."""
    told: dict[str, Any] = json.loads((folder / "cases.json").read_text(encoding="utf-8"))
    return [Case(folder=folder / f"{row['number']:04d}", **row) for row in told["cases"]]


def _as_json(case: Case) -> dict[str, Any]:
    return {f.name: getattr(case, f.name) for f in fields(case) if f.name != "folder"}


def _candidate(seed: int, number: int, reference: bool) -> _Candidate:
    rng = np.random.default_rng([seed, number])
    cause = str(rng.choice(CAUSES, p=[CAUSE_SHARES[name] for name in CAUSES]))
    car = draw_car(rng)
    wanted = (cause, "healthy") if reference else (cause,)
    days = tuple(draw_day(rng, car, name) for name in wanted)
    scripts = tuple(draw_script(rng) for _ in wanted)
    return _Candidate(number, cause, car, days, scripts, draw_reports(rng, car))


def _logged(traces: Traces, column: int, car: Cars, day: Days) -> Logged:
    values = {name: rows[:, column].astype(np.float64) for name, rows in traces.values.items()}
    return Logged(traces.seconds, values, car, day)


def _idles(logged: Logged, script: Script) -> bool:
    """Whether the engine runs throughout and burns; what does not nobody would record warm."""
    inside = logged.seconds < script.length
    speed = logged.values["speed"][inside] * 30.0 / math.pi
    settled = inside & (logged.seconds > _SETTLED_S)
    lam = float(np.median(logged.values["lambda"][settled]))
    return bool(speed.min() > 380.0 and 0.75 < lam < 1.3)


def _write(folder: Path, seed: int, one: _Candidate, logged: list[Logged]) -> Case:
    into = folder / f"{one.number:04d}"
    into.mkdir(parents=True)
    rng = np.random.default_rng([seed, one.number, 1])
    names = ("recording.csv", "reference.csv")[: len(logged)]
    for name, log, script in zip(names, logged, one.scripts, strict=True):
        text = recording_text(rng, log, one.reports, script.length)
        (into / name).write_text(text, encoding="utf-8")
    (into / "car.toml").write_text(car_text(rng, one.car, one.days[0]), encoding="utf-8")
    sensors = {"mass_air_flow": "airflow", "intake_manifold_pressure": "pressure"}
    reports = "+".join(word for name, word in sensors.items() if name in one.reports.fast)
    sizes = {one.cause: _size(one, logged[0])} if one.cause != "healthy" else {}
    return Case(into, one.number, one.cause, one.scripts[0].plan, reports, sizes)


def _size(one: _Candidate, logged: Logged) -> float:
    """Of the fault, in the unit of a finding: diameter [mm], ratio, area [mm2], air [g/s].

    A meter's ratio is the geometric mean along the recording, as a bent one has no other.
    """
    day, v = one.days[0], logged.values
    settled = (logged.seconds > _SETTLED_S) & (logged.seconds < one.scripts[0].length)
    if one.cause == "leak":
        return 1e3 * math.sqrt(4.0 * float(day.leak_area) / (math.pi * _LEAK_DISCHARGE))
    if one.cause.startswith("meter"):
        shown, true = ("meter", "plate") if one.car.airflow_metered else ("believed", "cylinder")
        return float(np.exp(np.mean(np.log(v[shown][settled] / v[true][settled]))))
    if one.cause.startswith("fuel"):
        return float(day.fuel)
    if one.cause == "deposit":
        idling = settled & (v["pedal"] <= 0.0)
        at = np.median(v["opening"][idling]), np.median(v["pressure"][idling])
        return 1e6 * _taken(one.car, day, *map(np.asarray, at))
    return 1e3 * float(day.stale)


def _taken(car: Cars, day: Days, opening: Floats, pressure: Floats) -> float:
    """Effective area [m2] that the deposit takes at the idle opening."""
    ratio = pressure / day.barometer
    clean = replace(day, deposit=np.zeros_like(day.deposit))
    lost = effective_area(car, clean, opening, ratio) - effective_area(car, day, opening, ratio)
    return float(lost)


def choked_g_s_mm2() -> float:
    """Air through a choked square millimetre on an ordinary day [g/s]."""
    return 1e-3 * float(flow.orifice(1.0, 100e3, 30e3, 298.15))
