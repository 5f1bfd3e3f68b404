"""The throttle reading at its stop, as the car file holds it."""

import numpy as np
import pytest

from bellmouth.car.description import Known
from bellmouth.finding.case import solve
from bellmouth.finding.checks import next_checks
from bellmouth.finding.closed_reading import closed_reading, of_the_stop
from bellmouth.finding.find import find
from bellmouth.finding.result import Finding
from tests.finding.garage import car, stretches
from tests.finding.worked import healthy, meter_reads_low


def _found(closed: Known | None) -> Finding:
    return find(healthy(), car(closed_throttle_position_pct=closed))


def test_the_less_it_is_known_the_less_it_says() -> None:
    without = _found(None).present["deposit"]
    exact, rough, none = (_found(Known(6.0, sd)).present["deposit"] for sd in (0.0, 3.0, 30.0))
    assert exact > rough + 0.2
    assert rough > without
    assert none == pytest.approx(without, abs=0.03)


def test_it_is_no_check_that_somebody_made() -> None:
    said = _found(Known(11.0)).warnings
    assert any(
        one.startswith("Counted from the car file: the throttle reads 11.0 %") for one in said
    )
    assert not any(one.startswith("Checks counted") for one in said)
    made = find(healthy(), car(closed_throttle_position_pct=Known(6.0)), results="closed_reading=2")
    assert "Checks counted: closed reading: 2." in made.warnings
    assert not any("from the car file" in one for one in made.warnings)


def test_a_stop_above_the_idle_is_not_of_this_plate() -> None:
    told, without = _found(Known(20.0)), _found(None)
    assert told.present == without.present
    (said,) = [one for one in told.warnings if "car file" in one and "closed" in one]
    assert "it was not used" in said
    # As far above as it is not known, it may be.
    assert closed_reading(
        solve(stretches(), [], car(closed_throttle_position_pct=Known(14.0, 2.0)))
    )


def test_a_stop_at_the_idle_is_not_below_it_by_less_than_nothing() -> None:
    lowest = float(min(one.value("throttle_position") for one in stretches()[:1]))
    case = solve(
        stretches(), [], car(closed_throttle_position_pct=Known(round(lowest + 0.3, 2), 0.2))
    )
    (said,) = of_the_stop(case, ())
    assert said.endswith("with its plate closed, as at the lowest idle.")


def test_one_that_does_not_fit_is_to_be_read_again_and_no_check_made_again() -> None:
    told = find(meter_reads_low(), car(closed_throttle_position_pct=Known(1.0, 0.1)))
    odd = [one for one in told.warnings if "does not fit the recording" in one]
    assert odd == [
        "The car file's reading at the stop (1.0 %) does not fit the recording: read it again at "
        "the stop."
    ]
    assert not any("Make the check again" in one for one in told.warnings)
    assert told.disagreeing == {}


def test_without_an_idle_nothing_is_compared() -> None:
    case = solve(stretches()[1:], [], car(closed_throttle_position_pct=Known(11.0)))
    assert closed_reading(case) == ()
    assert of_the_stop(case, ()) == ()


def test_one_that_is_hardly_known_may_be_read_again() -> None:
    for sd, asked in ((0.0, False), (0.4, False), (4.0, True)):
        case = solve(stretches(), [], car(closed_throttle_position_pct=Known(11.0, sd)))
        names = (*case.hypotheses.names, "unexplained")
        even = dict.fromkeys(names, 0.0) | {"healthy": 0.5, "deposit": 0.5}
        suggested = {one.check for one in next_checks(case, even, closed_reading(case))}
        assert ("closed_reading" in suggested) is asked, sd


def test_its_number_is_rounded_as_people_read_it() -> None:
    (told,) = closed_reading(solve(stretches(), [], car(closed_throttle_position_pct=Known(11.0))))
    assert told.value is not None
    assert told.value == np.round(told.value, 2)
