"""Which procedures a job needs, in what order."""

import pytest

from bellmouth.errors import ProcedureError
from bellmouth.learning import plan


def test_the_order_is_released_closed_idle_drive() -> None:
    planned = plan(["throttle_cleaned", "pedal_unplugged", "battery_disconnected"])
    assert [item.procedure.catalogue for item in planned] == ["P2", "P3", "P4", "P9"]


def test_a_cleaned_throttle_needs_no_released_position() -> None:
    assert [item.procedure.catalogue for item in plan(["throttle_cleaned"])] == ["P3", "P4"]


def test_a_reset_is_never_planned() -> None:
    for work in ("memory_cleared", "control_unit_unplugged", "battery_disconnected"):
        assert "P1" not in [item.procedure.catalogue for item in plan([work])]


def test_what_is_done_covers_its_like() -> None:
    done = plan(["throttle_cleaned"], done=["P6"])
    assert done[0].covered == 'Covered by "Throttle adaptation with the ignition on".'
    assert not done[1].covered
    assert plan(["throttle_cleaned"], done=["P3"])[0].covered == "Done."


def test_what_is_left_out_keeps_its_reason() -> None:
    planned = plan(["battery_disconnected"], skipped={"P9": "no time"})
    assert planned[-1].covered == "Left out, because no time."


def test_unknown_work_is_refused() -> None:
    with pytest.raises(ProcedureError, match='Work "waxed" is not known'):
        plan(["waxed"])
    with pytest.raises(ProcedureError, match="Say what was done"):
        plan([])
