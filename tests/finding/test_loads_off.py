"""An idle that is up where loads are known to be off is no load."""

from dataclasses import replace

import pytest

from bellmouth.finding.case import solve
from bellmouth.finding.checks import next_checks
from bellmouth.finding.find import find
from bellmouth.finding.lowest_idle import Lowest, load_share
from bellmouth.finding.priors import load_priors
from bellmouth.finding.prove import prove
from bellmouth.recording.stretch import Stretch
from tests.finding.garage import car, reading, stretches
from tests.finding.worked import healthy


def _off(made: tuple[Stretch, ...]) -> tuple[Stretch, ...]:
    return tuple(replace(one, loads_off=one.kind == "idle") for one in made)


def _stale_over_healthy(made: tuple[Stretch, ...]) -> float:
    case = solve(made, [], car())
    logs = dict(zip(case.hypotheses.names, case.posterior.log_evidence, strict=True))
    return float(logs["learned_stale"] - logs["healthy"])


def test_a_raised_idle_without_loads_speaks_for_surplus_air() -> None:
    raised = stretches(idle_up_rpm=120.0)
    assert _stale_over_healthy(_off(raised)) > _stale_over_healthy(raised) + 0.5
    # One on its mark says the same either way.
    usual = stretches()
    assert abs(_stale_over_healthy(_off(usual)) - _stale_over_healthy(usual)) < 0.25


def test_it_never_makes_a_load_likelier() -> None:
    table = load_priors().idle_speed
    for levels in (1, 2, 3):
        told, untold = (
            load_share(Lowest(700.0, levels, 10.0, 0.0, loads_off=off), table)
            for off in (True, False)
        )
        assert told <= untold
    driven = Lowest(700.0, 1, 10.0, 0.0, driven=True, loads_off=True)
    assert load_share(driven, table) == table["driven_load_share"][0]


def test_the_check_is_not_asked_for_where_it_is_as_good_as_made() -> None:
    for made, asked in (
        (stretches(idle_up_rpm=60.0), True),
        (_off(stretches(idle_up_rpm=60.0)), False),
    ):
        case = solve(made, [], car())
        even = dict.fromkeys((*case.hypotheses.names, "unexplained"), 0.0)
        even |= {"healthy": 0.5, "learned_stale": 0.5}
        assert ("loads_off" in {one.check for one in next_checks(case, even, ())}) is asked


def test_what_was_told_is_said() -> None:
    said = "Taken as told: every load was off at idle"
    assert not any(one.startswith(said) for one in find(healthy(), car()).warnings)
    by_word = find(healthy(), car(), loads_off=True)
    by_file = find(replace(healthy(), loads_off=True), car())
    assert any(one.startswith(said) for one in by_word.warnings)
    assert by_word.causes == by_file.causes


def test_what_a_recording_notes_can_be_taken_back() -> None:
    noted = replace(healthy(), loads_off=True)
    taken_back = find(noted, car(), loads_off=False)
    assert taken_back.causes == find(healthy(), car()).causes
    assert not any(one.startswith("Taken as told") for one in taken_back.warnings)


def _said(warnings: tuple[str, ...]) -> list[str]:
    return [one.partition("Taken as told")[0] for one in warnings if "Taken as told" in one]


def test_of_several_recordings_it_says_which_it_was_told_of() -> None:
    one, other = (replace(healthy(f"{n}.csv", n), loads_off=n == 2) for n in (1, 2))
    assert _said(find(one, car(), also=[other]).warnings) == ["2.csv: "]
    assert _said(find(one, car(), also=[other], loads_off=True).warnings) == ["1.csv, 2.csv: "]
    assert _said(prove(one, other, car()).warnings) == ["2.csv: "]
    assert _said(prove(one, replace(other, loads_off=False), car()).warnings) == []


@pytest.mark.parametrize("lower", [0, 1])
def test_the_plate_goes_by_the_mark_of_its_lowest_reading(lower: int) -> None:
    """One recording without loads says nothing of the plate in another."""

    def at(pct: float, *, off: bool) -> tuple[Stretch, ...]:
        told = {"throttle_position": reading(pct, 0.05)}
        made = (replace(one, readings={**one.readings, **told}) for one in stretches()[:1])
        return (*made, *stretches()[1:]) if not off else _off((*made, *stretches()[1:]))

    rest = replace(
        stretches()[0], kind="engine off",
        readings={"engine_speed": reading(0.0, 0.1), "throttle_position": reading(20.0, 0.1)},
    )  # fmt: skip
    pct = (14.0, 15.0) if lower == 0 else (15.0, 14.0)

    def plate(*marks: bool) -> list[float]:
        first, second = (at(p, off=mark) for p, mark in zip(pct, marks, strict=True))
        return list(solve((rest, *first), [], car(), also=[second]).plate.log_density)

    marked = tuple(place == lower for place in (0, 1))
    assert plate(*marked) == plate(True, True) != plate(False, False)
    assert plate(*(not one for one in marked)) == plate(False, False)
