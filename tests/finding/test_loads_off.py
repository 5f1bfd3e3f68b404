"""An idle that is up where loads are known to be off is no load."""

from dataclasses import replace

from bellmouth.finding.case import solve
from bellmouth.finding.checks import next_checks
from bellmouth.finding.find import find
from bellmouth.finding.lowest_idle import Lowest, load_share
from bellmouth.finding.priors import load_priors
from bellmouth.recording.stretch import Stretch
from tests.finding.garage import car, stretches
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
