"""A sensor that never moves, in a finding."""

from dataclasses import replace

import pytest

from bellmouth.errors import FindingError
from bellmouth.finding.find import find
from tests.finding.garage import car
from tests.finding.test_find import recording, still


@pytest.mark.parametrize("name", ["throttle_position", "intake_manifold_pressure"])
def test_a_stuck_sensor_decides_nothing(name: str) -> None:
    """A dead throttle reading made every engine unexplained, a dead pressure a false one."""
    level = {"throttle_position": 13.0, "intake_manifold_pressure": 60.0}[name]
    made = recording()
    stuck = find(still(made, name, level), car())
    others = {one: series for one, series in made.series.items() if one != name}
    absent = find(replace(made, series=others), car())
    of_absent = {one.cause: one.probability for one in absent.causes}
    assert {c.cause: c.probability for c in stuck.causes} == pytest.approx(of_absent, abs=1e-9)


def test_a_stuck_sensor_that_meters_the_air_is_refused() -> None:
    flow = still(recording(), "mass_air_flow", 2.4)
    with pytest.raises(FindingError, match=r"mass_air_flow stayed at 2\.4 .* its plug"):
        find(flow, car())
    pressure = still(recording(mass_air_flow=None), "intake_manifold_pressure", 35.0)
    with pytest.raises(FindingError, match=r"intake_manifold_pressure stayed at 35 .* its plug"):
        find(pressure, replace(car(), metering="pressure"))


def test_an_engine_without_a_throttle_is_not_taken_for_a_stuck_sensor() -> None:
    """Whole kPa of a diesel at idle may well be one number throughout."""
    with pytest.raises(FindingError, match="idles unthrottled"):
        find(still(recording(), "intake_manifold_pressure", 100.0), car())
