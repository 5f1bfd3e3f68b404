"""Recordings as a guided capture asks for them."""

import numpy as np
import pytest

from bellmouth.bus.guide import course, extras
from bellmouth.practice.population import draw
from measure.guided import _answers, _guided


def test_a_guided_recording_does_what_the_guide_says() -> None:
    (case,) = draw(1, "A", 3, plans=("held",))
    speeds = [step.speed_rpm for step in (*course(), *extras()) if step.speed_rpm]
    told = _guided(case, speeds)
    plan = told.plan
    assert plan.key[0] == 0.0
    assert plan.key[-1] == 1.0
    assert set(plan.load.tolist()) in ({0.0}, {0.0, 1.0})
    assert not plan.road_kmh.any()
    held = [rpm for rpm in dict.fromkeys(plan.held_rpm.tolist()) if rpm]
    assert held == pytest.approx(speeds, abs=250.0)
    assert plan.held_rpm[plan.key > 0][0] == plan.held_rpm[-1] == 0.0
    assert told.weather.coolant_c.min() >= 85.0
    # The fault, the fuel and the purge valve's habits are the car's.
    assert told.fault is case.fault
    assert (plan.purge.max() > 0.0) == (case.plan.purge.max() > 0.0)


def test_one_person_in_fifteen_forgets_a_load() -> None:
    cases = draw(90, "B", 5, plans=("held",))
    forgot = [_guided(case, [1500.0]).plan.load.any() for case in cases]
    assert 0 < sum(forgot) < 15


def test_every_way_of_recording_is_judged() -> None:
    found = _answers(("B", 4, 0, 2))
    assert len(found) == 2
    for one in found:
        assert one.probability.shape == (4, 8)
        assert one.probability.sum(axis=1) == pytest.approx(1.0)
        assert one.asked > 0 or np.array_equal(one.probability[1], one.probability[2])
        assert not np.array_equal(one.probability[0], one.probability[1])
