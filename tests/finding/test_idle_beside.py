"""The air of a warm idle beside a reference: what it says about leak, fuel, load and surplus."""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from bellmouth.finding import idle_beside
from bellmouth.finding.case import Case, solve
from bellmouth.recording.stretch import Stretch
from tests.finding.garage import car, reading, stretches

Made = tuple[Stretch, ...]


def _idle(made: Sequence[Stretch], **change: float) -> Made:
    """The same with readings of its idle multiplied, or spark shifted by ``timing`` [deg]."""
    found = []
    for stretch in made:
        readings = dict(stretch.readings)
        spark = 10.0
        if stretch.kind == "idle":
            spark += change.get("timing", 0.0)
            for name, factor in change.items():
                if name in readings:
                    readings[name] = reading(stretch.value(name) * factor, stretch.error(name))
        readings["ignition_timing_advance"] = reading(spark, 0.2)
        found.append(replace(stretch, readings=readings))
    return tuple(found)


def _without(made: Made, name: str) -> Made:
    return tuple(
        replace(s, readings={k: v for k, v in s.readings.items() if k != name}) for s in made
    )


def _log(case: Case, name: str, size: float) -> float:
    assert case.beside is not None
    which = np.array([case.hypotheses.names.index(name)], dtype=np.intp)
    sizes = np.array([[size, np.nan]])
    return float(case.beside(which, sizes)[0])


def _healthy(case: Case) -> float:
    return _log(case, "healthy", math.nan)


def test_the_same_air_at_the_same_idle_speaks_for_fuel_against_a_leak() -> None:
    """Metered air that stayed leaves nothing for a hole to have let in, and the reverse."""
    good = _without(_idle(stretches()), "intake_manifold_pressure")
    stayed = solve(good, [good], car())
    less = solve(_idle(good, mass_air_flow=0.8), [good], car())
    hole = math.log(0.2 * less.scale.idle_area_m2)
    for case, sign in ((stayed, -1.0), (less, 1.0)):
        assert sign * (_log(case, "leak", hole) - _log(case, "fuel_low", 0.2)) > 1.5


def test_a_meter_that_reads_less_at_the_same_idle_is_a_meter_that_reads_low() -> None:
    good = _without(_idle(stretches()), "intake_manifold_pressure")
    case = solve(_idle(good, mass_air_flow=0.8), [good], car())
    assert _log(case, "meter_low", 0.22) - _healthy(case) > 1.5
    assert _log(case, "meter_high", 0.22) < _healthy(case)


def test_a_raised_idle_that_asks_for_much_more_air_is_under_load_not_surplus() -> None:
    good = _idle(stretches(metering="pressure"))
    raised = _idle(stretches(metering="pressure", idle_up_rpm=150.0))
    share = math.log(0.3)
    told = []
    for factor in (1.3, 1.0):
        case = solve(_idle(raised, intake_manifold_pressure=factor), [good], car("pressure"))
        told.append(_healthy(case) - _log(case, "learned_stale", share))
    assert told[0] > 0.7
    # Idle is raised by other things than loads: no more air says little.
    assert -0.5 < told[1] < 0.0


def test_an_idle_raised_far_without_more_air_is_less_likely_under_load() -> None:
    """Of real idles only those raised by less than 130 rpm asked for no more air a turn."""
    good = _idle(stretches(metering="pressure"))
    told = []
    for up, share in ((90.0, 0.25), (190.0, 0.4)):
        raised = _idle(stretches(metering="pressure", idle_up_rpm=up))
        case = solve(raised, [good], car("pressure"))
        told.append(_log(case, "learned_stale", math.log(share)) - _healthy(case))
    assert told[1] > told[0] + 0.2


def test_a_later_spark_asks_for_more_air_by_itself() -> None:
    """What a retarded spark wastes is no sign of a load."""
    good = _idle(stretches(metering="pressure"))
    raised = stretches(metering="pressure", idle_up_rpm=150.0)
    told = []
    for timing in (0.0, -8.0):
        judged = _idle(raised, intake_manifold_pressure=1.15, timing=timing)
        case = solve(judged, [good], car("pressure"))
        told.append(_log(case, "learned_stale", math.log(0.3)) - _healthy(case))
    assert told[1] > told[0]


def test_without_a_reference_it_says_nothing() -> None:
    case = solve(_idle(stretches()), [], car())
    assert case.beside is not None
    every = np.arange(case.hypotheses.count)
    assert not case.beside(every, case.hypotheses.low).any()


def test_given_its_speed_and_spark_the_air_is_a_density() -> None:
    """Whatever the share of surplus, the likelihood of all changes together is one."""
    good = _idle(stretches())
    case = solve(_idle(stretches(idle_up_rpm=60.0)), [good], car())
    assert case.beside is not None
    step = float(idle_beside._PLACES[1] - idle_beside._PLACES[0])
    for table in (case.beside.leak_log, case.beside.stale_log):
        assert np.exp(table).sum(axis=1) * step == pytest.approx(1.0, abs=0.02)
