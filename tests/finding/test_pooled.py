"""Recordings inferred together get what they get alone, to the last bit."""

from dataclasses import fields

import numpy as np

from bellmouth.finding.case import prepare, solve, solve_many
from bellmouth.finding.infer import Posterior
from tests.finding.garage import car, stretches

CASES = [
    (stretches(leak_mm=2.0), (), car("airflow")),
    (stretches(manifold=False, deposit_mm2=5.0), (), car("airflow")),
    (stretches(meter=0.6, trim_limit=0.3), (), car("airflow")),
    (stretches(leak_mm=2.0, metering="pressure"), (), car("pressure")),
    (stretches(metering="pressure"), (), car("pressure")),
    (stretches(leak_mm=1.0), (stretches(),), car("airflow")),
    (stretches(leak_mm=2.0)[:2], (), car("airflow")),
]


def _same(one: Posterior, other: Posterior) -> bool:
    pairs = [
        (getattr(part[0], field.name), getattr(part[1], field.name))
        for part in ((one, other), (one.grid, other.grid))
        for field in fields(part[0])
        if field.name != "grid"
    ]
    return all(np.array_equal(a, b, equal_nan=True) for a, b in pairs)


def test_together_is_alone_to_the_last_bit() -> None:
    together = solve_many([prepare(judged, good, owner) for judged, good, owner in CASES])
    for (judged, good, owner), case in zip(CASES, together, strict=True):
        assert _same(case.posterior, solve(judged, good, owner).posterior)
    backwards = solve_many([prepare(judged, good, owner) for judged, good, owner in CASES[::-1]])
    for case, other in zip(together, backwards[::-1], strict=True):
        assert _same(case.posterior, other.posterior)


def test_nothing_to_infer_is_nothing() -> None:
    assert solve_many([]) == []
