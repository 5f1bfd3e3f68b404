"""What a trim says where only one of a bank's two was recorded."""

from dataclasses import replace

import numpy as np
import pytest

from bellmouth.finding.find import find
from bellmouth.finding.fuelling import LARGEST_LOG_TRIM
from bellmouth.finding.observations import Observations, observe
from bellmouth.finding.priors import load_priors
from bellmouth.finding.prove import _trims, prove, solve_pair
from bellmouth.recording.series import Recording
from bellmouth.recording.stretch import Stretch
from tests.finding.garage import car, reading, stretches
from tests.finding.worked import recording

_SHORT, _LONG = "short_term_fuel_trim_bank_1", "long_term_fuel_trim_bank_1"


def _observed(*names: str, at: int | None = None) -> Observations:
    """Three stretches with these trims beside the total; ``at`` has the last of them alone."""
    made = []
    for place, one in enumerate(stretches()):
        told = names if at in (None, place) else names[:-1]
        made.append(
            replace(one, readings={**one.readings, **dict.fromkeys(told, reading(0.4, 0.2))})
        )
    return observe(made, [], car())


@pytest.mark.parametrize(
    ("names", "told"), [((_SHORT,), False), ((_LONG,), True), ((_SHORT, _LONG), True), ((), True)]
)
def test_a_short_trim_alone_says_nothing_of_the_total(names: tuple[str, ...], told: bool) -> None:
    assert np.isfinite(_observed(*names).log_trim[:, 0]).tolist() == [told] * 3


def test_a_long_trim_alone_is_as_doubtful_as_short_ones_are_large() -> None:
    both, alone = (_observed(*names).trim_error[:, 0] for names in ((_SHORT, _LONG), (_LONG,)))
    unseen = load_priors().fuel["short_unseen_log"]
    assert alone == pytest.approx(np.hypot(both, unseen))


@pytest.mark.parametrize("names", [(_SHORT, _LONG), (_LONG, _SHORT)])
def test_a_stretch_that_one_of_the_two_does_not_reach_counts(names: tuple[str, str]) -> None:
    """A slow trim may not be read in a short stretch; it is known all the same."""
    o, whole = _observed(*names, at=2), _observed(*names)
    assert o.log_trim[:, 0] == pytest.approx(whole.log_trim[:, 0])
    assert o.trim_error[:, 0] == pytest.approx(whole.trim_error[:, 0])


def test_what_a_short_trim_that_was_left_out_stood_at_is_no_limit_of_the_fuel_rate() -> None:
    made = []
    for one in stretches():
        at_limit = one.readings["log_total_trim_bank_1"]._replace(at_limit=1)
        told = {"log_total_trim_bank_1": at_limit, _SHORT: reading(25.0, 0.2)}
        rate = {"engine_fuel_rate": reading(0.8, 0.01)}
        made.append(replace(one, readings={**one.readings, **told, **rate}))
    o = observe(made, [], car())
    assert np.isfinite(o.log_trim[:, 0]).all()
    assert not o.trim_limit.any()


def _far(short: float, long: float) -> tuple[Stretch, ...]:
    total = float(np.log((1 + short / 100) * (1 + long / 100)))
    trims = {
        _SHORT: reading(short, 0.2),
        _LONG: reading(long, 0.1),
        "log_total_trim_bank_1": reading(total, 0.004),
    }
    return tuple(replace(one, readings={**one.readings, **trims}) for one in stretches())


@pytest.mark.parametrize(("short", "long", "sign"), [(-37.0, -37.5, -1), (65.0, 60.0, 1)])
def test_a_total_further_out_than_any_mixture_is_a_bound(
    short: float, long: float, sign: int
) -> None:
    o = observe(_far(short, long), [], car())
    assert o.trim_limit[:, 0].tolist() == [sign] * 3
    assert o.log_trim[:, 0] == pytest.approx(sign * LARGEST_LOG_TRIM)
    assert not o.trim_gap.any()


@pytest.mark.parametrize(
    ("short", "long"), [(-100.0, -100.0), (-100.0, 2.0), (99.22, 99.22), (0.5, 99.22)]
)
def test_a_term_at_an_end_of_its_scale_is_no_reading(short: float, long: float) -> None:
    with np.errstate(divide="ignore"):
        made = _far(max(short, -99.99), max(long, -99.99))
    o = observe(made, [], car())
    assert not np.isfinite(o.log_trim).any()
    assert not o.trim_limit.any()


def test_trims_that_far_out_are_said_and_are_not_healthy() -> None:
    """Both left out without a word, the car had come out as healthy."""
    told = find(
        recording(
            "far.csv", 1,
            short_term_fuel_trim_bank_1=(-37.0, -37.0), long_term_fuel_trim_bank_1=(-37.5, -37.5),
        ),
        car(),
    )  # fmt: skip
    assert told.causes[0].cause != "healthy"
    assert any("bank 1 reads -61 %" in one and "a bound (-59 %)" in one for one in told.warnings)
    assert not any("No fuel trims" in one or "sits at its limit" in one for one in told.warnings)


@pytest.mark.parametrize("end", [-100.0, 99.21875])
def test_trims_at_the_end_of_their_scale_are_said_to_be_left_out(end: float) -> None:
    made = recording("ends.csv", 1, long_term_fuel_trim_bank_1=(end, end))
    found = find(made, car())
    assert found.causes[0].cause == "healthy"
    told = found.warnings
    assert any(f"A fuel trim of bank 1 stands at {end:.0f} %" in one for one in told)
    assert any("No fuel trims that can be used" in one for one in told)


def _far_off(source: str, long: float) -> Recording:
    return recording(source, 1, long_term_fuel_trim_bank_1=(long, long))


def _without(source: str, *terms: str) -> Recording:
    made = recording(source, 2)
    left = [f"{term}_term_fuel_trim_bank_1" for term in terms]
    return replace(made, series={n: one for n, one in made.series.items() if n not in left})


@pytest.mark.parametrize(
    ("made", "said"),
    [
        (_far_off("x.csv", 99.21875), "x.csv: A fuel trim of bank 1 stands at 99 %"),
        (_far_off("x.csv", -65.0), "x.csv: The total fuel trim of bank 1 reads -65 %"),
        (_without("x.csv", "short", "long"), "x.csv: No fuel trims: "),
        (_without("x.csv", "long"), "x.csv: Only the short fuel trim of bank 1"),
    ],
)
def test_a_proof_says_what_was_made_of_the_trims(made: Recording, said: str) -> None:
    other = recording("other.csv", 3)
    for pair in ((made, other), (other, made)):
        told = prove(*pair, car()).warnings
        assert [one for one in told if "trim" in one and one.startswith(said)]
        assert not any(one.startswith("other.csv") and "trim" in one for one in told)


def test_a_proof_says_that_a_trim_sits_at_its_limit() -> None:
    """By the clamp of the long trim, well inside its scale."""
    before, after = (stretches(fuel=0.7, trim_limit=0.22), stretches())
    pair = solve_pair(before, after, [], car())
    told = list(_trims(pair, (recording("one.csv", 1), recording("two.csv", 2))))
    assert told == [
        "one.csv: A fuel trim sits at its limit: there it is taken as a bound, not as a value."
    ]
