"""Parts of a state worked out once are the parts worked out for every member."""

import numpy as np
import pytest

from bellmouth.car import Metering
from bellmouth.finding.effects import Shared
from bellmouth.finding.find import solve
from tests.finding.garage import car, stretches


# A controller that meters pressure reports it.
@pytest.mark.parametrize(
    ("metering", "manifold"), [("airflow", True), ("airflow", False), ("pressure", True)]
)
def test_a_grid_in_parts_is_the_grid_to_the_last_bit(metering: Metering, manifold: bool) -> None:
    judged = stretches(leak_mm=1.5, metering=metering, manifold=manifold)
    case = solve(judged, (), car(metering))
    hypotheses, model = case.hypotheses, case.model
    steps = np.stack(np.divmod(np.arange(9), 3), axis=1)
    which = np.repeat(np.arange(hypotheses.count), 9)
    step = np.tile(steps, (hypotheses.count, 1))
    low, high = hypotheses.low[which], hypotheses.high[which]
    sizes = low + (high - low) * (step + 1.0) / 5.0
    effects = hypotheses.effects(which, sizes, (0.02, 0.1))
    coordinates = np.random.default_rng(3).normal(0.0, 0.5, case.posterior.coordinates.shape)[which]
    counted: list[int] = []
    shared = Shared(which, step, hypotheses.acting)

    def by(depends_on, part, value, effects):  # type: ignore[no-untyped-def]
        def watched(value, effects):  # type: ignore[no-untyped-def]
            counted.append(len(value))
            return part(value, effects)

        return shared(depends_on, watched, value, effects)

    in_parts = model.states(coordinates, effects, by)
    whole = model.states(coordinates, effects)
    for kind in model.kinds:
        np.testing.assert_array_equal(
            model.channel(kind, in_parts, effects), model.channel(kind, whole, effects)
        )
    assert max(counted) < len(which) / 2
