"""Which throttle reading is taken, and open loop under the loads of a drive that is not told."""

from dataclasses import replace

import numpy as np
import pytest

from bellmouth.finding.columns import Columns, throttle_name
from bellmouth.finding.observations import observe
from bellmouth.recording.stretch import Stretch
from tests.finding.garage import car, reading, stretches


def _loaded(short: float, kpa: float = 88.0, *, kind: str = "drive", **more: float) -> Stretch:
    """A point of a drive, by its short trim and pressure."""
    one = stretches()[2]
    readings = {
        **one.readings,
        "intake_manifold_pressure": reading(kpa, 0.1),
        "short_term_fuel_trim_bank_1": reading(short, 0.2),
        "long_term_fuel_trim_bank_1": reading(0.0, 0.2),
        **{name: reading(value, 0.001) for name, value in more.items()},
    }
    return replace(one, kind=kind, readings=readings)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("stretch", "opened"),
    [
        (_loaded(0.0), True),
        (_loaded(0.4), False),
        (_loaded(0.0, 45.0), False),
        (_loaded(0.0, 45.0, calculated_load=80.0), True),
        (_loaded(0.0, 45.0, commanded_equivalence_ratio=0.87), True),
        (_loaded(0.0, 45.0, commanded_equivalence_ratio=1.0), False),
        (_loaded(0.0, kind="held"), False),
        (_loaded(0.0, short_term_fuel_trim_bank_2=1.6), False),
        (replace(_loaded(0.0), closed_loop=True), False),
        (replace(_loaded(0.4), closed_loop=False), True),
    ],
)
def test_a_quick_trim_that_stands_at_nothing_under_load_is_open_loop(
    stretch: Stretch, opened: bool
) -> None:
    assert Columns([stretch]).open_loop(1).tolist() == [opened]


def test_a_point_without_any_quick_trim_says_nothing_of_the_loop() -> None:
    one = _loaded(0.0)
    readings = {k: v for k, v in one.readings.items() if not k.startswith("short")}
    assert Columns([replace(one, readings=readings)]).open_loop(1).tolist() == [False]


def test_trims_of_an_enriched_point_are_left_out() -> None:
    o = observe([*stretches(fuel=0.8), _loaded(0.0)], [], car())
    assert np.isfinite(o.log_trim[:, 0]).tolist() == [True, True, True, False]


def test_a_plate_is_read_where_zero_does_not_move() -> None:
    """A relative reading may count from the opening that is learned, and hide a deposit."""
    both = {"relative_throttle_position": 2.0, "commanded_throttle_actuator": 14.0}
    stretch = replace(stretches()[0], readings={n: reading(v, 0.1) for n, v in both.items()})
    assert throttle_name(Columns([stretch])) == "commanded_throttle_actuator"
    sensor = {**stretch.readings, "throttle_position": reading(15.0, 0.1)}
    assert throttle_name(Columns([replace(stretch, readings=sensor)])) == "throttle_position"
