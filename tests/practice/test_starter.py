"""The starter of a practice car: for how long, and by whom."""

from itertools import pairwise

import numpy as np

from bellmouth.j1979.messages import (
    TroubleCodes,
)
from bellmouth.practice.mechanic import Mechanic
from tests.practice.test_live_car import Stand


def test_an_engine_that_will_not_fire_is_let_go_and_tried_again() -> None:
    stand = Stand("fuel_low", 0.3, driver=Mechanic(key_on_s=1.0))
    turning = [stand.after(0.1).car.seen().speed_rpm > 50.0 for _ in range(300)]
    starts = sum(
        now and not before for before, now in zip([False, *turning], turning, strict=False)
    )
    assert starts == 3
    assert 0.3 < np.mean(turning) < 0.7
    reply = stand.one(3)
    assert isinstance(reply, TroubleCodes)
    assert not reply.codes  # nobody has driven it here


def test_a_stalling_engine_is_turned_by_nobody() -> None:
    stand = Stand("healthy", None, driver=Mechanic(key_on_s=1.0)).after(26.0)
    stand.car.driver, engine = None, stand.car._body.engine
    engine.run.car.bypass_mm2[:] = engine.run.car.floor_deg[:] = 0.0
    engine.run.car.authority_up_deg[:] = 0.0
    engine.run.idle.learned[:] = -20.0  # the plate shuts
    speeds = [stand.after(0.025).car._body.engine.speed_rpm for _ in range(400)]
    assert speeds[-1] == 0.0
    assert all(after <= before + 15.0 for before, after in pairwise(speeds))
