"""Cars without trims whose controller tells what fuel it used."""

import pytest

from bellmouth.finding.case import solve
from bellmouth.physics.fuel import blend_density_kg_m3, blend_ratio
from bellmouth.recording.stretch import Stretch
from tests.finding.garage import car, reading, stretches


def _with_fuel_rate(made: tuple[Stretch, ...], ethanol: float) -> tuple[Stretch, ...]:
    """Trims taken away, and the rate of a controller that burns this blend exactly. [L/h]"""
    for stretch in made:
        readings: dict = stretch.readings  # type: ignore[type-arg, assignment]
        for name in [name for name in readings if "trim" in name]:
            del readings[name]
        fuel_kg_s = stretch.value("mass_air_flow") * 1e-3 / float(blend_ratio(ethanol))
        rate = fuel_kg_s / float(blend_density_kg_m3(ethanol)) * 3.6e6
        readings["engine_fuel_rate"] = reading(rate, 0.005 * rate)
        readings["ethanol_percentage"] = reading(100.0 * ethanol, 0.5)
    return made


@pytest.mark.parametrize("ethanol", [0.0, 0.1, 0.85])
def test_fuel_of_the_blend_that_is_reported_is_no_fault(ethanol: float) -> None:
    """E85 asks for 1.4 times the volume of petrol (element balance; see `physics.fuel`)."""
    case = solve(_with_fuel_rate(stretches(), ethanol), [], car())
    assert case.observations.log_trim[:, 0] == pytest.approx(0.0, abs=1e-9)
    logs = case.posterior.log_evidence
    assert logs[case.hypotheses.names.index("fuel_low")] < logs[0]


def test_a_blend_that_was_read_once_is_that_of_the_whole_recording() -> None:
    made = _with_fuel_rate(stretches(), 0.85)
    for stretch in made[1:]:
        del stretch.readings["ethanol_percentage"]  # type: ignore[attr-defined]
    case = solve(made, [], car())
    assert case.observations.log_trim[:, 0] == pytest.approx(0.0, abs=1e-9)
