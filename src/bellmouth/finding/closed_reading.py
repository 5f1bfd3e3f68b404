"""What the car file holds that a check would have read: the throttle reading at its stop."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from bellmouth.car.description import Known
from bellmouth.finding.check_table import CHECKS, CheckResult

if TYPE_CHECKING:
    from bellmouth.finding.case import Case

__all__ = ["closed_reading", "of_the_stop"]

_CHECK = "closed_reading"
_BELOW_SDS = 3.0  # a stop this far above the idle is no stop of this plate; our choice


def closed_reading(case: "Case") -> tuple[CheckResult, ...]:
    """The reading at the stop as the result of its check, where it can be of this car."""
    over = _over(case)
    if over is None or _contradicts(over):
        return ()
    return (CheckResult(_CHECK, "value", over.value, over.sd, from_car=True),)


def of_the_stop(case: "Case", results: Sequence[CheckResult]) -> tuple[str, ...]:
    """What was made of the car file's reading at the stop, if anything."""
    over, closed = _over(case), case.car.closed_throttle_position_pct
    if over is None or closed is None:
        return ()
    if any(one.check == _CHECK and not one.from_car for one in results):
        return ()
    if _contradicts(over):
        return (
            f"The car file has the throttle at {closed.value:.1f} % with its plate closed, and it "
            f"idles {-over.value:.1f} % below that: it was not used. Read it again at the stop.",
        )
    if over.value < 0:  # by no more than the two may be off
        return (
            f"Counted from the car file: the throttle reads {closed.value:.1f} % with its plate "
            "closed, as at the lowest idle.",
        )
    return (
        f"Counted from the car file: the throttle reads {closed.value:.1f} % with its plate "
        f"closed, {over.value:.1f} % below the lowest idle.",
    )


def _over(case: "Case") -> Known | None:
    """The lowest reading at idle less that at the stop [%]; ``None`` where either is unknown."""
    o, closed = case.observations, case.car.closed_throttle_position_pct
    readings = o.throttle_pct[o.judged & o.idle & np.isfinite(o.throttle_pct)]
    if closed is None or not o.throttle_absolute or not len(readings):
        return None
    return Known(round(float(readings.min()) - closed.value, 2), closed.sd)


def _contradicts(over: Known) -> bool:
    check = CHECKS[_CHECK]
    doubt = float(np.hypot(check.error, over.sd))
    return over.value < -_BELOW_SDS * doubt
