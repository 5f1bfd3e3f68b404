"""Airflow in a part of a recording, and at both ends of its speeds."""

from dataclasses import replace

import pytest

from bellmouth.finding.find import find
from tests.finding.garage import car
from tests.finding.test_find import recording, still


def test_airflow_against_speed_and_pressure_is_told_at_both_ends_of_the_speeds() -> None:
    """One number for all speeds hides what a leak does: it read +10 % as evidence for one."""
    told = find(recording(mass_air_flow=0.8), car(), prior={"meter_low": 1.0}).evidence
    words = [one.what for one in told if "against a typical engine" in one.what]
    assert len(words) == 1
    assert " % at 700 rpm and " in words[0]
    assert " % at 2500 rpm against a typical engine" in words[0]


@pytest.mark.filterwarnings("error")
def test_airflow_in_a_part_of_the_recording_beside_a_clamped_trim_is_quiet() -> None:
    """Where it ended a number that is none was compared with the limit, and NumPy's words came."""
    made = recording()
    for term in ("short", "long"):
        made = still(made, f"{term}_term_fuel_trim_bank_1", 25.0)
    flow = made.series["mass_air_flow"]
    first = flow.time_s < 95
    part = replace(flow, time_s=flow.time_s[first], value=flow.value[first])
    told = find(replace(made, series={**made.series, "mass_air_flow": part}), car())
    assert any("sits at its limit" in one for one in told.warnings)
