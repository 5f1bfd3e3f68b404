"""The practice car's plate as somebody beside the engine hears it move."""

import math

import pytest

from bellmouth.practice.ignition import Key
from tests.practice.test_live_car import Stand


def test_how_long_ago_the_plate_was_heard() -> None:
    stand = Stand().key(Key.ON)
    assert stand.car.plate_heard_ago_s == math.inf
    stand.after(3.0).key(Key.OFF)
    assert stand.car.plate_heard_ago_s == math.inf, "not yet"
    stand.after(2.0)
    assert stand.car.seen().plate_heard
    assert stand.car.plate_heard_ago_s < 0.1
    stand.after(6.0)
    assert not stand.car.seen().plate_heard
    assert stand.car.plate_heard_ago_s == pytest.approx(2.0, abs=0.2)
