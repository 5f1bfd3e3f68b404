"""What a trim says where only one of a bank's two was recorded."""

from dataclasses import replace

import numpy as np
import pytest

from bellmouth.finding.observations import Observations, observe
from bellmouth.finding.priors import load_priors
from tests.finding.garage import car, reading, stretches

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
