"""A check that the recording did not let expect is said to disagree."""

import numpy as np
import pytest

from bellmouth.finding.case import Case, solve
from bellmouth.finding.checks import parse_results
from bellmouth.finding.disagree import expected, remarks
from tests.finding.garage import car, stretches


@pytest.fixture(scope="module")
def case() -> Case:
    return solve(stretches(leak_mm=4.0), [], car())


def sure_of(case: Case, cause: str) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    return np.array([float(name == cause) for name in (*case.hypotheses.names, "unexplained")])


def test_outcomes_of_one_check_are_all_there_is(case: Case) -> None:
    likely = np.full(case.hypotheses.count + 1, 1 / (case.hypotheses.count + 1))
    told = [expected(case, likely, parse_results([f"smoke_test={o}"])[0]) for o in ("none", "seen")]
    assert sum(told) == pytest.approx(1.0)


def test_no_smoke_where_a_large_leak_was_sure_disagrees(case: Case) -> None:
    (said,) = remarks(case, sure_of(case, "leak"), parse_results(["smoke_test=none"]))
    assert said.sentence.startswith("Smoke test: none was not to be expected from the recording")
    assert said.sentence.endswith("check again, and record again, before you trust either.")
    assert (said.check, said.disagrees_with) == ("smoke_test", "recording")


@pytest.mark.parametrize(
    ("cause", "result"),
    [("leak", "smoke_test=seen"), ("healthy", "smoke_test=none"), ("healthy", "fuel_delivery=1.0")],
)
def test_what_was_to_be_expected_is_not_said(case: Case, cause: str, result: str) -> None:
    assert remarks(case, sure_of(case, cause), parse_results([result])) == ()


def test_a_number_disagrees_too(case: Case) -> None:
    told = parse_results(["fuel_delivery=0.7"])
    (said,) = remarks(case, sure_of(case, "healthy"), told)
    assert said.sentence.startswith("Fuel delivery: 0.7 was not to be expected")


def test_the_same_again_asks_for_another_recording_and_another_outcome_is_told(case: Case) -> None:
    sure = sure_of(case, "leak")
    (said,) = remarks(case, sure, parse_results(["smoke_test=none"] * 2))
    assert said.sentence.endswith("the two disagree. Record again before you trust either.")
    assert "and the check showed it again" in said.sentence
    (said,) = remarks(case, sure, parse_results(["smoke_test=none", "smoke_test=seen"]))
    assert said.sentence.startswith("Smoke test: made 2 times, it contradicts itself (none, seen).")
    assert said.disagrees_with == "itself"
    numbers = parse_results(["fuel_delivery=1.0", "fuel_delivery=0.99"])
    assert remarks(case, sure, numbers) == ()
