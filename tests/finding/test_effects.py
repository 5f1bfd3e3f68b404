"""Parts of a state worked out once are the parts worked out for every member."""

from collections.abc import Mapping, Sequence

import numpy as np
import pytest
from numpy.typing import NDArray

from bellmouth.car import Metering
from bellmouth.finding.case import solve
from bellmouth.finding.effects import Effects, Part, Shared
from bellmouth.finding.nuisance import Values
from tests.finding.garage import car, stretches

Floats = NDArray[np.float64]


# A controller that meters pressure reports it.
@pytest.mark.parametrize(
    ("metering", "manifold"), [("airflow", True), ("airflow", False), ("pressure", True)]
)
def test_a_grid_in_parts_is_the_grid_to_the_last_bit(metering: Metering, manifold: bool) -> None:
    judged = stretches(leak_mm=1.5, metering=metering, manifold=manifold)
    case = solve(judged, (), car(metering))
    hypotheses, model = case.hypotheses, case.model
    which = np.repeat(np.arange(hypotheses.count), 9)
    step = np.tile(np.stack(np.divmod(np.arange(9), 3)), hypotheses.count)
    low, high = hypotheses.low[which], hypotheses.high[which]
    sizes = low + (high - low) * (step.T + 1.0) / 5.0
    effects = hypotheses.effects(which, sizes, (0.02, 0.1))
    coordinates = np.random.default_rng(3).normal(0.0, 0.5, case.posterior.coordinates.shape)
    counted: list[int] = []

    class Watched(Shared):
        def __call__(
            self, depends_on: Sequence[str], part: Part, values: Values, effects: Effects
        ) -> Mapping[str, Floats]:
            def watched(values: Values, effects: Effects) -> Mapping[str, Floats]:
                counted.append(len(effects.bend_sd))
                return part(values, effects)

            return super().__call__(depends_on, watched, values, effects)

    along = np.full((2, hypotheses.count), 3)
    by = Watched(which, step, along, hypotheses.acting)
    in_parts = model.states(coordinates, effects, by)
    whole = model.states(coordinates[which], effects)
    for kind in model.kinds:
        np.testing.assert_array_equal(
            model.channel(kind, in_parts, effects), model.channel(kind, whole, effects)
        )
    assert max(counted) < len(which) / 2
