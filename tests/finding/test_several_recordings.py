"""Several recordings of a car as it is now: what one holds counts for all, wherever it stands."""

from dataclasses import replace

import numpy as np
import pytest

from bellmouth.car.description import Car, Known
from bellmouth.finding.case import Case, solve
from bellmouth.finding.find import find
from bellmouth.recording.stretch import Reading, Stretch
from tests.finding.garage import car, reading, stretches
from tests.finding.worked import recording, with_key_on

CAR = Car(Known(2.0), "airflow", idle_rpm=Known(700.0))
NONE = np.full((1, 2), np.nan)


def _key_on(*, rest_pct: float = 14.0, manifold_kpa: float = 100.0) -> Stretch:
    readings = {
        "engine_speed": reading(0.0, 0.1),
        "throttle_position": reading(rest_pct, 0.1),
        "intake_manifold_pressure": reading(manifold_kpa, 0.3),
        "barometric_pressure": reading(100.0, 0.3),
    }
    return Stretch("engine off", 0.0, 5.0, readings, True, None)


def _off(case: Case, name: str, log_size: float) -> float:
    """What the engine-off readings say for a cause of that size over a healthy car."""
    row = np.array([case.hypotheses.names.index(name)])
    size = np.array([[log_size, np.nan]])
    return float((case.key_on(row, size) - case.key_on(row * 0, NONE))[0])


def test_a_key_on_stretch_counts_in_whichever_recording_it_is() -> None:
    one, other = (
        recording(f"{seed}.csv", seed, intake_manifold_pressure=(34 * 0.88, 31 * 0.88))
        for seed in (1, 2)
    )
    other = with_key_on(other, 88.0)
    first, second = find(other, CAR, also=[one]), find(one, CAR, also=[other])
    assert first.present["pressure_low"] > 0.9
    assert second.present == pytest.approx(first.present, abs=2e-3)
    for told in (first, second):
        assert "key_on_pressure" not in {check.check for check in told.next_checks}


def test_two_key_on_stretches_of_one_car_are_not_two_sensors() -> None:
    """What the sensors are off by is in both; only their rounding is less."""
    off = _key_on(manifold_kpa=91.0)
    now = stretches(pressure=0.91)
    once = solve((off, *now), [], car(), also=[now])
    twice = solve((off, *now), [], car(), also=[(off, *now)])
    size = -float(np.log(0.91))
    assert _off(once, "pressure_low", size) > 1.0
    assert _off(twice, "pressure_low", size) == pytest.approx(
        _off(once, "pressure_low", size), rel=0.1
    )


def test_key_on_stretches_that_contradict_each_other_tell_nothing() -> None:
    now = stretches(pressure=0.88)
    days = [(_key_on(manifold_kpa=kpa), *now) for kpa in (88.0, 100.0)]
    case = solve(days[0], [], car(), also=days[1:])
    assert abs(_off(case, "pressure_low", -float(np.log(0.88)))) < 0.2


def test_where_the_plate_rests_counts_in_whichever_recording_it_was_read() -> None:
    now = stretches()
    off = _key_on(rest_pct=now[0].value("throttle_position") - 3.0)
    first, second = (
        solve(one, [], car(), also=[other])
        for one, other in (((off, *now), now), (now, (off, *now)))
    )
    assert first.plate.informed
    assert second.plate.informed
    assert second.log_evidence == pytest.approx(first.log_evidence, abs=1e-6)


def test_an_opening_is_worth_what_a_good_recording_says_however_many_are_judged() -> None:
    """Deposit moves the reading itself."""
    dirty, good = stretches(deposit_mm2=12.0), [stretches()]
    held_open = tuple(
        replace(one, readings=_moved(one, 0.0 if one.kind == "idle" else 2.5)) for one in dirty
    )
    alone = solve(dirty, good, car()).scale.slope_mm2_deg
    more = solve(dirty, good, car(), also=[held_open]).scale.slope_mm2_deg
    assert more == pytest.approx(alone)


def _moved(one: Stretch, pct: float) -> dict[str, Reading]:
    throttle = one.readings["throttle_position"]
    return {**one.readings, "throttle_position": throttle._replace(value=throttle.value + pct)}
