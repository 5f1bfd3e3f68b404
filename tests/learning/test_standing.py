"""Conditions watched while an attempt runs: what breaks them, and what only looks like it."""

import pytest

from bellmouth.learning import find_procedure
from bellmouth.learning.follow import Lost
from bellmouth.learning.standing import Standing


def _first_lost(standing: Standing, readings: list[tuple[float, float, float]]) -> Lost | None:
    for at_s, speed, supply in readings:
        for name, value in (("engine_speed", speed), ("control_module_voltage", supply)):
            lost = standing.read(name, value, at_s)
            if lost is not None:
                return lost
    return None


def _started(crank_s: float, charges_s: float) -> list[tuple[float, float, float]]:
    """Engine speed and supply four times a second: a start at 2 s, charging some time after."""
    found = []
    for count in range(60):
        at_s = 0.25 * count
        runs_s = 2.0 + crank_s
        speed = 0.0 if at_s < 2.0 else 220.0 if at_s < runs_s else 900.0
        supply = 12.6 if at_s < 2.0 else 10.0 if at_s < runs_s else 12.4
        found.append((at_s, speed, 14.2 if at_s >= runs_s + charges_s else supply))
    return found


@pytest.mark.parametrize("crank_s", [0.8, 1.6, 4.0])
def test_the_sag_of_the_starter_breaks_nothing(crank_s: float) -> None:
    standing = Standing(find_procedure("P4"))
    assert _first_lost(standing, _started(crank_s, charges_s=1.9)) is None


def test_a_generator_that_does_not_charge_is_still_told() -> None:
    lost = _first_lost(Standing(find_procedure("P4")), _started(0.8, charges_s=60.0))
    assert lost is not None
    assert lost.step == "charging"
    assert lost.at_s == pytest.approx(2.0 + 1.0 + 2.0 + 1.0, abs=0.3)


def test_a_weak_battery_is_still_told() -> None:
    readings = [(0.25 * count, 0.0, 12.6 if count < 8 else 11.9) for count in range(20)]
    lost = _first_lost(Standing(find_procedure("P4")), readings)
    assert lost is not None
    assert (lost.step, lost.at_s) == ("battery", 3.0)


def test_a_low_supply_waits_for_a_look_at_the_engine() -> None:
    """On a K line the engine's speed may be two seconds old: the starter may turn by now."""
    standing = Standing(find_procedure("P4"))
    standing.read("engine_speed", 0.0, 0.0)
    assert standing.read("control_module_voltage", 10.0, 1.0) is None
    assert standing.read("control_module_voltage", 10.0, 2.1) is None
    standing.read("engine_speed", 250.0, 2.2)
    assert standing.read("control_module_voltage", 10.0, 2.8) is None
