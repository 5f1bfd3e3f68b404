"""Fuel control: lambda is held at one, within limits, and what trims must be they are."""

import numpy as np
import pytest

from bellmouth.practice.controller import stoichiometric
from bellmouth.practice.scenario import SimulatedCase


# Stoichiometric ratios of petrol CH1.87, E10 and E85 by volume: 14.6, 14.01, 9.80 (element balance
# with 0.745 and 0.789 g/mL); a public table prints 14.13 and 9.7 for the blends.
@pytest.mark.parametrize(("ethanol", "ratio"), [(0.0, 14.6), (10.0, 14.01), (85.0, 9.80)])
def test_ethanol_lowers_the_stoichiometric_ratio(ethanol: float, ratio: float) -> None:
    assert stoichiometric(np.array([ethanol]))[0] == pytest.approx(ratio, abs=0.01)


@pytest.mark.parametrize("variant", ["A", "B", "C", "E"])
def test_lambda_is_held_at_one(
    healthy_by_variant: dict[str, list[SimulatedCase]], variant: str
) -> None:
    for sim in healthy_by_variant[variant]:
        keep = (sim.time_s > 5.0) & (sim.time_s < 16.0)
        assert np.mean(sim.true["true_lambda"][keep]) == pytest.approx(1.0, abs=0.02)


def test_narrow_feedback_hunts_and_wide_range_feedback_rests(
    healthy_by_variant: dict[str, list[SimulatedCase]],
) -> None:
    def wobble(variant: str) -> float:
        sims = healthy_by_variant[variant]
        keep = (sims[0].time_s > 5.0) & (sims[0].time_s < 16.0)
        return float(np.median([np.std(s.true["short_1"][keep]) for s in sims]))

    assert wobble("A") > 2.0 * wobble("B")


def test_trims_stay_within_their_limits(drawn_sample: list[SimulatedCase]) -> None:
    for sim in drawn_sample:
        car, true = sim.case.car, sim.true
        for bank in ("1", "2"):
            short, long = true[f"short_{bank}"], true[f"long_{bank}"]
            assert np.max(np.abs(short)) <= car.short_limit[0] + 1e-6
            assert np.max(np.abs(long)) <= car.long_limit[0] + 1e-6
            closed = true["closed_loop"] > 0.5
            slack = 0.02  # a long trim changes cell between two corrections
            assert np.max(np.abs(short + long)[closed], initial=0.0) <= car.total_limit[0] + slack


@pytest.mark.parametrize("variant", ["A", "B", "C", "E"])
def test_total_trim_is_true_over_metered_air_over_delivery(
    healthy_by_variant: dict[str, list[SimulatedCase]], variant: str
) -> None:
    """The mass balance of the trims, from the true flows, at idle."""
    for sim in healthy_by_variant[variant]:
        keep = (sim.time_s > 6.0) & (sim.time_s < 16.0)
        true = {k: v[keep] for k, v in sim.true.items()}
        car, weather = sim.case.car.row(0), sim.case.weather.row(0)
        tuned = weather["ethanol_pct"] + weather["ethanol_error_pct"] if car["flex"] else 5.0
        blend = stoichiometric(np.array([weather["ethanol_pct"], tuned]))
        bank = car["bank_log_gain"] if car["banks"] > 1 else 0.0
        gain = np.exp(car["injector_log_gain"] + weather["fuel_log"] + bank) * blend[0] / blend[1]
        expected = np.mean(true["cylinder_g_s"]) / np.mean(true["metered_g_s"]) / gain
        if sim.variant == "C":
            got = np.mean((1 + true["short_1"]) * (1 + true["long_1"]))
        else:
            got = 1.0 + np.mean(true["short_1"] + true["long_1"])
        assert got == pytest.approx(expected, abs=0.02)
