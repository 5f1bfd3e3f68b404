"""Simulated cars before and after work: five ways it can go, each with its truth."""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from bellmouth.car.description import Car
from bellmouth.practice import population, scenario
from bellmouth.practice.faults import draw_faults, draw_weather, leak_area_mm2, sizes_of
from bellmouth.practice.laws import PLATE_LAWS
from bellmouth.practice.plans import draw_plan
from bellmouth.practice.population import Case
from bellmouth.recording.series import Recording
from bellmouth.recording.steady import stretches
from bellmouth.recording.stretch import Stretch
from measure.cases import cached, stored

__all__ = ["WAYS", "Worked", "leaking_pairs", "pairs"]

#: How the work went, and the verdict that is right.
WAYS = {
    "cleaned and learned": "better",
    "repaired": "better",
    "cleaned, not learned": "worse",
    "cleaned, new leak": "worse",
    "nothing done": "same",
    "wrong thing done": "same",
}
_CHOKED_G_S_PER_MM2 = 0.2362
_LEAST_SHARE = 0.10  # of idle air: the smallest surplus worth acting on
_MENDED = (("deposit",), ("meter_low", "meter_high", "fuel_low", "fuel_high"))
_REPAIRABLE = ("leak", "meter_low", "meter_high", "fuel_low")
_ANY = ("healthy", "leak", "meter_low", "meter_high", "fuel_low", "fuel_high", "deposit",
        "learned_stale")  # fmt: skip


@dataclass(frozen=True)
class Worked:
    """One pair: what was wrong before and after, with sizes in the finding's units."""

    way: str
    verdict: str
    before: tuple[Stretch, ...]
    after: tuple[Stretch, ...]
    after_recording: Recording
    causes: tuple[str, str]
    sizes: tuple[Mapping[str, float], Mapping[str, float]]
    reports: str
    complaint: str
    car: Car
    idle_g_s: float


def pairs(count: int, variant: str, seed: int) -> list[Worked]:
    """``count`` pairs of a variant, the ways in equal shares; cached."""
    mark = hashlib.sha256(f"{count} {variant} {seed} {_source()}".encode()).hexdigest()[:16]
    path = stored("pairs", f"{variant}-{mark}", ["practice", "recording"])
    return cached(path, lambda: _make(count, variant, seed))


def _source() -> str:
    return hashlib.sha256(Path(__file__).read_bytes()).hexdigest()


def _make(count: int, variant: str, seed: int) -> list[Worked]:
    ways = list(WAYS)
    each = -(-count // len(ways))
    drawn: list[tuple[str, Case]] = []
    for number, way in enumerate(ways):
        causes = _causes(way)
        cases = population.draw(each, variant, seed + 101 * number, causes=causes)
        drawn += [(way, replace(case, number=case.number + 1000 * number)) for case in cases]
    return _worked(drawn)


def leaking_pairs(count: int, variant: str, seed: int) -> list[Worked]:
    """``count`` cars that meter pressure, each mended with nothing new and mended with a new leak
    beside: two pairs that begin alike; cached."""
    mark = hashlib.sha256(f"leaking {count} {variant} {seed} {_source()}".encode()).hexdigest()[:16]
    path = stored("pairs", f"{variant}-{mark}", ["practice", "recording"])
    return cached(path, lambda: _leaking(count, variant, seed))


def _leaking(count: int, variant: str, seed: int) -> list[Worked]:
    each = -(-count // len(_MENDED))
    drawn = []
    for number, causes in enumerate(_MENDED):
        cases = population.draw(4 * each, variant, seed + 55 * number + 7, causes=causes)
        metered = [case for case in cases if case.reported == "pressure"][:each]
        for case in metered:
            one = replace(case, number=case.number + 1000 * number)
            drawn += [("repaired", one), ("cleaned, new leak", one)]
    return _worked(drawn)


def _worked(drawn: list[tuple[str, Case]]) -> list[Worked]:
    """Both recordings of each car: the day of the fault, and the day after the work."""
    first = scenario.run([case for _, case in drawn], keep_true=False)
    later = [
        _after(way, case, one.remembered_deg) for (way, case), one in zip(drawn, first, strict=True)
    ]
    second = scenario.run(later, occasion=7, keep_true=False)
    return [
        Worked(
            way=way, verdict="better" if _learned(way, after.truth.cause) else WAYS[way],
            before=tuple(stretches(before.recording)), after=tuple(stretches(after.recording)),
            after_recording=after.recording,
            causes=(before.truth.cause, after.truth.cause),
            sizes=(before.truth.sizes, after.truth.sizes),
            reports=before.reported, complaint=before.typical_complaint, car=before.car,
            idle_g_s=float(before.case.car.idle_airflow_g_s[0]),
        )
        for (way, _), before, after in zip(drawn, first, second, strict=True)
    ]  # fmt: skip


def _learned(way: str, after: str) -> bool:
    """Where what learning remembers is no surplus worth speaking of, it need not learn again."""
    return way == "cleaned, not learned" and after == "healthy"


def _causes(way: str) -> tuple[str, ...]:
    if way.startswith("cleaned"):
        return ("deposit",)
    if way == "repaired":
        return _REPAIRABLE
    return _ANY if way == "nothing done" else tuple(c for c in _ANY if c != "healthy")


def _after(way: str, case: Case, remembered_deg: float) -> Case:
    """The same car on the day after the work: other weather, another recording."""
    rng = np.random.default_rng([case.seed, case.number, 55])
    weather = draw_weather(rng, case.car, np.zeros(1))
    drift = np.clip(case.weather.ethanol_pct + rng.normal(0.0, 2.0, 1), 0.0, 85.0)
    most = np.where(case.car.flex > 0, 85.0, 10.0)
    weather = replace(weather, ethanol_pct=np.minimum(drift, most))
    plan = draw_plan(rng, "held", key_on=bool(rng.random() < 0.33), cold=False)
    after = replace(case, weather=weather, plan=plan)
    if WAYS[way] == "same":
        return after
    healthy = draw_faults(rng, case.car, ["healthy"], case.variant)
    cause = "healthy"
    if way == "cleaned, not learned":
        # What the plate was opened for the deposit is surplus once it is gone.
        plate = PLATE_LAWS[case.variant](case.car)
        open_mm2 = plate(np.array([remembered_deg])) - plate(case.car.idle_opening_deg)
        stale = np.minimum(open_mm2 * _CHOKED_G_S_PER_MM2, 1.3 * case.car.idle_airflow_g_s)
        if float(stale[0]) > _LEAST_SHARE * float(case.car.idle_airflow_g_s[0]):
            cause = "learned_stale"
            healthy = replace(healthy, stale_g_s=stale)
    if way == "cleaned, new leak":
        cause = "leak"
        healthy = replace(healthy, leak_mm2=leak_area_mm2(rng.uniform(1.0, 3.0, 1)))
    return replace(after, cause=cause, fault=healthy, sizes=sizes_of(cause, healthy, 0))
