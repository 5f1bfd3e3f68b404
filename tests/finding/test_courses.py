"""Courses from before to after: which there are, and what each does in which recording."""

import numpy as np
import pytest

from bellmouth.finding.courses import AFTER, BEFORE, Courses
from bellmouth.finding.fitting import squares
from bellmouth.finding.prove import Pair, solve_pair
from tests.finding import garage


@pytest.fixture(scope="module")
def pair() -> Pair:
    return solve_pair(
        garage.stretches(meter=0.86), garage.stretches(idle_up_rpm=4.0), (), garage.car()
    )


@pytest.fixture(scope="module")
def courses(pair: Pair) -> Courses:
    return pair.courses


def test_the_first_course_is_a_car_that_was_and_is_healthy(courses: Courses) -> None:
    assert courses.courses[0].name == "healthy -> healthy"
    assert len({course.name for course in courses.courses}) == courses.count


def test_a_cause_may_stay_go_change_or_make_way_for_another(courses: Courses) -> None:
    names = {course.name for course in courses.courses}
    assert {
        "leak -> leak", "leak -> leak'", "leak -> healthy", "healthy -> leak",
        "deposit -> learned_stale", "meter_low -> meter_low+leak", "leak+deposit -> deposit",
    } <= names  # fmt: skip


def test_no_course_has_both_states_of_the_plate(courses: Courses) -> None:
    """Deposit, and the learning left over from it, exclude each other."""
    for course in courses.courses:
        for held in (course.held(BEFORE), course.held(AFTER)):
            assert not {"deposit", "learned_stale"} <= set(held)


def test_a_cause_that_is_there_still_has_one_size(courses: Courses) -> None:
    row = [course.name for course in courses.courses].index("leak -> leak")
    assert courses.dimensions[row] == 1
    effects = courses.effects(np.array([row]), np.array([[np.log(2e-6), np.nan]]), (0.006, 0.035))
    assert effects.leak_area_m2[0] == pytest.approx([2e-6, 2e-6])


def test_a_cause_that_changed_acts_with_its_own_size_in_each_recording(courses: Courses) -> None:
    row = [course.name for course in courses.courses].index("meter_low -> meter_low'")
    effects = courses.effects(np.array([row]), np.array([[0.2, 0.1]]), (0.006, 0.035))
    assert effects.meter[0] == pytest.approx([-0.2, -0.1])
    assert effects.bend_sd[0] == 0.035


def test_a_new_cause_acts_in_the_recording_after_alone(courses: Courses) -> None:
    row = [course.name for course in courses.courses].index("deposit -> leak")
    sizes = np.array([[np.log(4.0), np.log(3e-6)]])
    effects = courses.effects(np.array([row]), sizes, (0.006, 0.035))
    assert effects.deposit_mm2[0] == pytest.approx([4.0, 0.0])
    assert effects.leak_area_m2[0] == pytest.approx([0.0, 3e-6])
    which = np.array([row])
    assert np.isnan(courses.coordinate("leak", BEFORE, which, sizes)[0])
    assert courses.coordinate("leak", AFTER, which, sizes)[0] == pytest.approx(np.log(3e-6))


def test_a_course_of_two_sizes_is_next_to_those_with_one_of_them_gone(courses: Courses) -> None:
    names = [course.name for course in courses.courses]

    def beside(name: str) -> list[str]:
        return [names[row] for row in courses.next_to[names.index(name)]]

    assert beside("deposit -> leak") == ["healthy -> leak", "deposit -> healthy"]
    assert beside("leak -> leak'") == ["healthy -> leak", "leak -> healthy"]
    assert beside("meter_low -> meter_low+leak") == ["healthy -> leak", "meter_low -> meter_low"]
    assert beside("leak+deposit -> deposit") == ["deposit -> deposit", "leak -> healthy"]
    alone = courses.dimensions < 2
    assert (courses.next_to[alone] == np.flatnonzero(alone)[:, None]).all()


def test_what_may_have_come_beside_is_found_wherever_the_course_without_it_is() -> None:
    """Stale learning at its smallest is next to nothing, and so is a small leak: with a large
    deposit before, the search for both had ended 5 off, and what may hide was ruled out."""
    after = garage.stretches(leak_mm=1.3, metering="pressure")
    before = garage.stretches(deposit_mm2=50.0, metering="pressure")
    posterior = (pair := solve_pair(before, after, (), garage.car("pressure"))).posterior
    cost = posterior.misfit * posterior.residuals.shape[1] + squares(posterior.coordinates)
    fit = dict(zip((course.name for course in pair.courses.courses), cost, strict=True))
    for name in ("deposit -> leak", "deposit -> learned_stale"):
        assert fit[name] < fit["deposit -> healthy"] + 1.0


def test_closed_form_physics_gives_back_the_meter_that_read_low(pair: Pair) -> None:
    """The forward physics of the test is not the finding's own model."""
    evidence = dict(
        zip((c.name for c in pair.courses.courses), pair.posterior.log_evidence, strict=True)
    )
    assert max(evidence, key=lambda name: evidence[name]).startswith("meter_low")
