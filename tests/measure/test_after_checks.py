"""The table of findings after checks, from probabilities that are known."""

from dataclasses import replace

import numpy as np
import pytest

from bellmouth.car.description import Car, Known
from measure.after_checks import after_checks, main, right_after
from measure.cases import Sample
from measure.followups import Followed

_CAR = Sample(0, "A", "leak", {}, "airflow", "idle", "none", Car(Known(2.0), "airflow"), (), (), {})
_STEPS = np.array([[0.6, 0.4], [0.3, 0.7], [0.2, 0.8]])
_FOLLOWED = [
    Followed(_CAR, ("healthy", "leak"), _STEPS, ("smoke_test", "smoke_test")),
    Followed(replace(_CAR, cause="healthy"), ("healthy", "leak"), _STEPS, ("smoke_test",)),
]


def test_right_is_told_after_each_check() -> None:
    assert [right_after(_FOLLOWED, step) for step in range(3)] == [0.5, 0.5, 0.5]
    assert [right_after(_FOLLOWED[:1], step) for step in range(3)] == [0.0, 1.0, 1.0]


def test_the_table_says_how_honest_it_is_and_what_was_made_again() -> None:
    before, first, second = after_checks(_FOLLOWED).splitlines()[-3:]
    assert before.split()[:4] == ["0", "0.500", "0.500", "0.520"]
    assert "smoke_test 2; again 0 of 2" in first
    assert "smoke_test 1 (1); again 1 of 1" in second


def test_variants_kept_for_the_end_are_refused() -> None:
    with pytest.raises(SystemExit):
        main(["--variants", "AE"])
