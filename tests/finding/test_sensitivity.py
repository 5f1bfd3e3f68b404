"""Derivatives by hand against finite differences, on every kind of car."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from bellmouth.car.description import Metering
from bellmouth.finding.case import solve
from bellmouth.finding.sensitivity import unknown_jacobian
from tests.finding.garage import car, reading, stretches

KINDS = [
    ({"leak_mm": 2.0}, "airflow", True),
    ({"deposit_mm2": 5.0}, "airflow", False),
    ({"meter": 0.6, "trim_limit": 0.3}, "airflow", True),
    ({"leak_mm": 2.0, "metering": "pressure"}, "pressure", True),
]


@pytest.mark.parametrize(("fault", "metering", "manifold"), KINDS)
@pytest.mark.parametrize("referenced", [False, True])
def test_jacobian_is_the_finite_difference(
    fault: dict[str, Any], metering: Metering, manifold: bool, referenced: bool
) -> None:
    judged = stretches(manifold=manifold, **fault)
    good = [stretches(manifold=manifold, metering=metering)] if referenced else []
    case = solve(judged, good, car(metering))
    model, hypotheses, posterior = case.model, case.hypotheses, case.posterior
    u = model.unknowns
    bends = (float(u.sd[u.index("meter_bend")]), u.contaminated_bend_sd)
    effects = hypotheses.effects(np.arange(hypotheses.count), posterior.sizes, bends)
    rng = np.random.default_rng(1)
    where = posterior.coordinates + 0.1 * rng.normal(size=posterior.coordinates.shape)
    exact = unknown_jacobian(model, where, effects)
    for k in range(u.size):
        step = np.zeros_like(where)
        step[:, k] = 1e-5
        ahead, behind = (
            model.residuals(where + step, effects),
            model.residuals(where - step, effects),
        )
        assert exact[:, :, k] == pytest.approx((ahead - behind) / 2e-5, abs=2e-5)


def test_the_discharge_of_an_unchoked_plate_is_the_finite_difference() -> None:
    loaded = tuple(
        replace(
            s,
            readings={
                **s.readings,
                "intake_manifold_pressure": reading(1.9 * s.value("intake_manifold_pressure"), 0.2),
            },
        )
        for s in stretches()
    )
    case = solve(loaded, [], car())
    model, column = case.model, case.model.unknowns.index("discharge")
    plate = model.channels == "plate"
    assert (model.unchoked[model.rows[plate]] > 0.1).all()
    effects = case.hypotheses.effects(np.zeros(1, np.intp), np.full((1, 2), np.nan), (0.006, 0.035))
    here = np.zeros((1, model.unknowns.size))
    beside = here.copy()
    beside[0, column] = 1e-4
    told = unknown_jacobian(model, here, effects)[0, :, column]
    stepped = (model.residuals(beside, effects) - model.residuals(here, effects))[0] / 1e-4
    assert told == pytest.approx(stepped, abs=1e-5)
    assert (np.abs(told[plate]) > 1e-3).all()
    assert not told[~plate].any()
