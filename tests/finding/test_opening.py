"""How far the plate stands open: what makes up for deposit, and readings from the stop."""

import numpy as np
import pytest
from scipy.special import lambertw

from bellmouth.finding.case import Case, solve
from bellmouth.finding.explain import evidence_of
from bellmouth.finding.made_up import made_up_pct
from bellmouth.finding.model_error import scale_weights
from bellmouth.finding.sensitivity import unknown_jacobian
from bellmouth.recording.stretch import Stretch
from tests.finding.garage import car, reading, stretches

_STOP_PCT = 12.0  # throttle reading of the garage's car at its stop


def _with_command(made: tuple[Stretch, ...], zero_pct: float) -> tuple[Stretch, ...]:
    for stretch in made:
        stands = stretch.value("throttle_position") - zero_pct
        stretch.readings["commanded_throttle_actuator"] = reading(stands, 0.1)  # type: ignore[index]
    return made


def _gain(case: Case, cause: str = "deposit") -> float:
    logs = case.posterior.log_evidence
    return float(logs[case.hypotheses.names.index(cause)] - logs[0])


def test_made_up_opening_is_lamberts() -> None:
    own, deposit, fade = np.array([0.5, 2.0, 6.0]), np.array([40.0, 4.0, 0.0]), np.full(3, 7.0)
    expected = fade * lambertw(deposit / fade * np.exp(-own / fade)).real
    assert made_up_pct(own, deposit, fade) == pytest.approx(expected, rel=1e-6, abs=1e-12)


def test_a_reading_from_the_stop_tells_a_deposit() -> None:
    alone = solve(stretches(deposit_mm2=12.0), [], car())
    told = solve(_with_command(stretches(deposit_mm2=12.0), _STOP_PCT), [], car())
    assert "opening" in told.model.channels
    assert _gain(told) > _gain(alone) + 1.0


def test_a_reading_from_the_stop_clears_a_clean_plate() -> None:
    alone = solve(stretches(), [], car())
    told = solve(_with_command(stretches(), _STOP_PCT), [], car())
    assert _gain(told) < _gain(alone) - 0.3


def test_a_reading_that_is_the_sensors_own_tells_nothing_of_the_stop() -> None:
    case = solve(_with_command(stretches(), 0.0), [], car())
    assert "opening" not in case.model.channels


def test_a_reading_from_the_stop_that_nothing_explains_is_named() -> None:
    case = solve(_with_command(stretches(), _STOP_PCT), [], car())
    posterior = dict.fromkeys(case.hypotheses.names, 0.0) | {"healthy": 1.0}
    best = case.hypotheses.names.index("healthy")
    case.posterior.standardised[best] = np.where(case.model.channels == "opening", 4.0, 0.0)
    (said,) = evidence_of(case, posterior)[-1:]
    assert said.what.startswith("how far the plate stands open above its stop disagrees at")


def test_every_covariance_but_the_last_has_its_weight() -> None:
    for zero in (0.0, _STOP_PCT):
        case = solve(_with_command(stretches(), zero), [], car())
        weights = scale_weights(case.model, case.priors)
        assert len(weights) == len(case.covariances) - 1
        assert weights.sum() == pytest.approx(1.0)


def test_slopes_of_the_opening_are_finite_differences() -> None:
    case = solve(_with_command(stretches(deposit_mm2=8.0), _STOP_PCT), [], car())
    model, u, where = case.model, case.model.unknowns, case.posterior.coordinates
    bends = (float(u.sd[u.index("meter_bend")]), u.contaminated_bend_sd)
    effects = case.hypotheses.effects(np.arange(len(where)), case.posterior.sizes, bends)
    exact = unknown_jacobian(model, where, effects)
    for name in ("opening", "slope", "fade"):
        step = np.zeros_like(where)
        step[:, u.index(name)] = 1e-5
        moved = model.residuals(where + step, effects) - model.residuals(where - step, effects)
        assert exact[:, :, u.index(name)] == pytest.approx(moved / 2e-5, abs=2e-5)


def test_which_of_like_throttle_readings_comes_first_changes_nothing() -> None:
    """Readings are coarse: of two idles at one reading one may not tell the opening, as where its
    command stood at nothing. As first of the two it silenced the other."""
    told = _with_command(stretches(deposit_mm2=12.0), _STOP_PCT)
    silent = stretches(deposit_mm2=12.0)[:1]
    first = solve(told, [], car(), also=[silent])
    last = solve(silent, [], car(), also=[told])
    assert "opening" in last.model.channels
    assert _gain(last) == pytest.approx(_gain(first), abs=1e-6)


def test_one_of_like_idles_whose_reading_is_just_off_its_zero_does_not_speak_for_all() -> None:
    """A command that reads one step in most idles and a little more in one sits at its zero."""
    told = _with_command(stretches(), _STOP_PCT)
    idles = [stretches()[:1] for _ in range(2)]
    for (idle,), reads in zip([*idles, told[:1]], (0.78, 0.78, 0.94), strict=True):
        idle.readings["commanded_throttle_actuator"] = reading(reads, 0.1)  # type: ignore[index]
    case = solve(told, [], car(), also=idles)
    assert np.isfinite(case.observations.opening_pct).any()
    assert "opening" not in case.model.channels
