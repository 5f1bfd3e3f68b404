"""A hole after the throttle of a car on boost: air is blown out by it."""

import numpy as np
import pytest

from bellmouth.car.description import Metering
from bellmouth.finding.case import Case, solve
from bellmouth.finding.sensitivity import unknown_jacobian
from bellmouth.physics import orifice
from bellmouth.recording.stretch import Stretch
from tests.finding.garage import AMBIENT_KPA, INTAKE_K, car, reading, stretches

_BOOSTED_KPA = (118.0, 150.0)
_DIAMETER_M = 2e-3


def _case(metering: Metering, missing: str = "") -> Case:
    made = stretches(leak_mm=2.0, metering=metering)
    for place, kpa in enumerate(_BOOSTED_KPA):
        readings = {
            "engine_speed": reading(3000.0, 5.0),
            "mass_air_flow": reading(0.52 * kpa, 0.3),
            "intake_manifold_pressure": reading(kpa, 0.3),
            "boost_pressure": reading(kpa + 40.0, 0.3),
            "throttle_position": reading(26.0 + place, 0.1),
            "intake_air_temperature": reading(INTAKE_K - 273.15, 0.5),
            "barometric_pressure": reading(AMBIENT_KPA, 0.29),
            "log_total_trim_bank_1": reading(-0.01, 0.004),
        }
        left_out = {missing if place else "", "mass_air_flow" if metering == "pressure" else ""}
        readings = {name: one for name, one in readings.items() if name not in left_out}
        start = 100.0 + 30.0 * place
        made = (*made, Stretch("drive", start, start + 25.0, readings, True, None))
    return solve(made, [stretches(metering=metering)], car(metering))


def test_what_the_hole_passes_is_the_signed_orifice_flow() -> None:
    case = _case("airflow")
    area = orifice.leak_area_m2(_DIAMETER_M)
    row = np.array([case.hypotheses.names.index("leak")])
    effects = case.hypotheses.effects(row, np.array([[np.log(area), np.nan]]), (0.006, 0.035))
    state = case.model.states(case.posterior.coordinates[row], effects)
    told = orifice.signed_mass_flow_kg_s(
        area, state["ambient"], state["manifold"], case.observations.intake_k
    )
    boosted = np.isfinite(case.observations.boost_pa)
    judged = case.observations.judged & boosted
    assert (told[0][judged] < 0.0).all()
    assert state["leak"][0][judged] == pytest.approx(told[0][judged], rel=1e-9)
    assert (state["leak"][0][case.observations.judged & ~boosted] > 0.0).all()
    # What the meter saw and the hole lost does not get into the cylinders.
    got = state["cylinder"][0][judged] - state["passed"][0][judged]
    assert got == pytest.approx(told[0][judged], rel=1e-9)


@pytest.mark.parametrize("metering", ["airflow", "pressure"])
@pytest.mark.parametrize("missing", ["throttle_position", "mass_air_flow"])
def test_what_a_point_did_not_read_leaves_the_rest(metering: Metering, missing: str) -> None:
    case = _case(metering, missing)
    assert np.isfinite(case.posterior.log_evidence).all()
    assert np.isfinite(case.posterior.residuals).all()


@pytest.mark.parametrize("metering", ["airflow", "pressure"])
def test_slopes_on_boost_are_the_finite_differences(metering: Metering) -> None:
    case = _case(metering)
    model, hypotheses, posterior = case.model, case.hypotheses, case.posterior
    u = model.unknowns
    assert model.boosted
    bends = (float(u.sd[u.index("meter_bend")]), u.contaminated_bend_sd)
    effects = hypotheses.effects(np.arange(hypotheses.count), posterior.sizes, bends)
    where = posterior.coordinates
    exact = unknown_jacobian(model, where, effects)
    for k in range(u.size):
        step = np.zeros_like(where)
        step[:, k] = 1e-5
        ahead, behind = (model.residuals(where + way * step, effects) for way in (1.0, -1.0))
        assert exact[:, :, k] == pytest.approx((ahead - behind) / 2e-5, abs=2e-5)
