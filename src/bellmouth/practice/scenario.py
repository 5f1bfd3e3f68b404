"""From practice cases to recordings, in one call."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import polars as pl

from bellmouth.car.description import Car, Complaint, Known
from bellmouth.practice.cars import Cars
from bellmouth.practice.columns import Floats
from bellmouth.practice.faults import SIZE_UNITS, Faults, Weather
from bellmouth.practice.polling import draw_polling, frame, poll, write_csv
from bellmouth.practice.population import VARIANTS, Case, healthy_again
from bellmouth.practice.signals import Reporter
from bellmouth.practice.simulate import Traces, simulate
from bellmouth.recording.series import Recording

__all__ = ["SimulatedCase", "Truth", "run", "run_reference"]

_BATCH = 400


@dataclass(frozen=True)
class Truth:
    """What is really wrong: cause, sizes by single cause, and their units (``mm``, ``mm2``,
    ``g/s``, ``ratio``)."""

    cause: str
    sizes: dict[str, float]
    units: dict[str, str]


@dataclass(frozen=True)
class SimulatedCase:
    """A recording, what the owner knows, and the truth.

    ``true`` holds the case's traces (true flows, pressure, lambda and the controller's signals)
    over ``time_s``; names are those of :data:`bellmouth.practice.simulate.CHANNELS`.
    """

    case: Case
    recording: Recording
    car: Car
    typical_complaint: Complaint
    truth: Truth
    variant: str
    reported: str
    plan: str
    time_s: Floats
    true: dict[str, Floats]
    remembered_deg: float

    def frame(self) -> pl.DataFrame:
        """The recording as a table in the contract's layout."""
        return frame(self.recording)

    def write_csv(self, path: Path | str) -> None:
        """Write the recording as CSV in the contract's layout."""
        write_csv(self.recording, path)


def _description(case: Case) -> Car:
    """What the owner knows: the engine and how it is metered, mostly its idle speed."""
    rng = np.random.default_rng([case.seed, VARIANTS.index(case.variant), case.number, 2])
    row = case.car.row(0)
    chance = rng.random(3)
    bore = Known(float(np.round(row["bore_mm"] + rng.normal(0.0, 0.5))), 1.0)
    return Car(
        displacement_l=Known(row["displacement_l"]),
        metering="airflow" if row["airflow_metered"] > 0 else "pressure",
        cylinders=int(row["cylinders"]),
        banks=int(row["banks"]),
        throttle_bore_mm=bore if chance[0] < 0.3 else None,
        idle_rpm=Known(row["specified_rpm"]) if chance[1] < 0.9 else None,
        turbocharged=bool(row["turbo"] > 0) if chance[2] < 0.8 else None,
        source=f"practice {case.variant}{case.number}",
    )


def _complaint(case: Case, channel: dict[str, Floats]) -> Complaint:
    """What an owner of such a car is likely to say, from how it idles."""
    if case.cause == "healthy":
        return "none"
    if "learned_stale" in case.cause:
        return "after cleaning"
    idling = (channel["pedal_deg"] <= 0) & (channel["speed_rpm"] > 300) & (channel["load"] < 0.5)
    idling &= (channel["road_kmh"] < 2) & (channel["coolant_c"] > 70)
    if not idling.any():
        return "unknown"
    off = float(np.median(channel["speed_rpm"][idling])) - float(case.car.specified_rpm[0])
    trim = float(np.median((channel["short_1"] + channel["long_1"])[idling]))
    signs: list[tuple[bool, Complaint]] = [
        (off > 120.0, "high idle"),
        (off < -60.0, "low idle"),
        (trim > 0.17, "lamp or lean code"),
        (trim > 0.10 or "deposit" in case.cause, "rough idle"),
    ]
    return next((said for seen, said in signs if seen), "unknown")


def _one(case: Case, traces: Traces, column: int, occasion: int) -> SimulatedCase:
    """Poll one car of a batch."""
    mark = [case.seed, VARIANTS.index(case.variant), case.number, 3, occasion]
    rng = np.random.default_rng(mark)
    keep = traces.time_s < traces.seconds[column]
    channel = {k: v[keep, column].astype(np.float64) for k, v in traces.channel.items()}
    remembered = float(traces.remembered_deg[column])
    reporter = Reporter(
        case.car, case.fault, case.weather, channel, remembered, float(rng.normal(0.0, 0.35))
    )
    name = f"practice {case.variant}{case.number} {case.plan.kind}"
    time_s = traces.time_s[keep]
    recording = poll(
        rng, reporter, case.reports, time_s, case.plan.seconds, draw_polling(rng), name
    )
    truth = Truth(case.cause, case.sizes, {k: SIZE_UNITS[k] for k in case.sizes})
    return SimulatedCase(
        case, recording, _description(case), _complaint(case, channel), truth, case.variant,
        case.reported, case.plan.kind, time_s, channel, remembered,
    )  # fmt: skip


def _batches(cases: Sequence[Case]) -> list[list[int]]:
    """Cases of one variant together, drives apart: steps cost more than padding does."""
    groups: dict[tuple[str, bool], list[int]] = {}
    for i, case in enumerate(cases):
        groups.setdefault((case.variant, case.plan.kind == "drive"), []).append(i)
    batches: list[list[int]] = []
    for (_, drive), members in groups.items():
        most = _BATCH // 2 if drive else _BATCH
        batches += [members[k : k + most] for k in range(0, len(members), most)]
    return batches


def run(cases: Sequence[Case], *, occasion: int = 0, keep_true: bool = True) -> list[SimulatedCase]:
    """Simulate cases and poll them, in the order given.

    Deterministic: noise belongs to the case (and ``occasion``), not to its company. True traces
    take about 0.7 MB a case of three minutes; ``keep_true`` false drops them.
    """
    done: dict[int, SimulatedCase] = {}
    for batch in _batches(cases):
        group = [cases[i] for i in batch]
        seeds = [(c.seed, VARIANTS.index(c.variant), c.number, occasion) for c in group]
        traces = simulate(
            Cars.join([c.car for c in group]), Faults.join([c.fault for c in group]),
            Weather.join([c.weather for c in group]), [c.plan for c in group],
            group[0].variant, seeds,
        )  # fmt: skip
        for column, i in enumerate(batch):
            one = _one(cases[i], traces, column, occasion)
            done[i] = one if keep_true else replace(one, true={}, time_s=np.zeros(0))
    return [done[i] for i in range(len(cases))]


def run_reference(
    cases: Sequence[Case],
    *,
    occasion: int = 1,
    plan: str | None = None,
    keep_true: bool = True,
) -> list[SimulatedCase]:
    """The same cars recorded when nothing was wrong: before the fault, or after the repair.

    Other weather and another tank of a like blend; ``occasion`` tells several such days apart,
    ``plan`` fixes what is recorded.
    """
    good = [healthy_again(case, occasion, plan=plan) for case in cases]
    return run(good, occasion=occasion, keep_true=keep_true)
