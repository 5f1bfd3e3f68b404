"""What the idle reads once every load is off: a load that raised it in the recording goes, surplus
air stays."""

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from bellmouth.finding.idle_speed import (
    SHARES,
    Comparison,
    Surplus,
    lowered_density,
    speed_density,
    speed_rises,
    stray_density,
    surplus_shares,
)
from bellmouth.finding.tables import between, places

if TYPE_CHECKING:
    from bellmouth.finding.case import Case
    from bellmouth.finding.check_sizes import Nodes

__all__ = ["fall_by_learning", "idle_unloaded", "recorded_idle_rpm"]

Floats = NDArray[np.float64]

_WAYS = 8  # parts of what surplus may raise an idle by
_LOADS = 12  # slices of the load that the recording may have had
_LEAST = 1e-12  # density, per rpm, so that no way is ruled out altogether
_STRAY_STAYS = 0.5  # of idles that stray in the recording, those that stray again: common practice
# Of idles that a deposit lowers, those that come up once learning makes up for it, and how far it
# brings them: common practice, no source.
_COMES_UP, _OF_IT, _GIVE = 0.5, 0.8, 0.3


def recorded_idle_rpm(case: "Case") -> float:
    """The lowest warm idle of the recording [rpm], or any car's where none was recorded."""
    held = case.idle.held
    usual: float = case.priors.idle_speed["unknown_rpm"][0]
    return usual if held is None else held.judged.speed_rpm


def idle_unloaded(nodes: "Nodes") -> tuple[Floats, Floats, Floats]:
    """Idle speed with all loads off [rpm] at every node: weights, means and standard deviations of
    its parts, each (n, parts).

    The parts are no load in the recording, loads of several sizes, and an idle that strayed. Where
    no warm idle was recorded it is any car's at every node, and so tells nothing.
    """
    case = nodes.case
    held = case.idle.held
    if held is None:
        anything = np.ones((len(nodes.hypothesis), 1))
        mean, sd = case.priors.idle_speed["unknown_rpm"]
        return anything, mean * anything, sd * anything
    leak, stale = surplus_shares(
        case.hypotheses, nodes.hypothesis, nodes.sizes, case.scale.idle_area_m2
    )
    row = places(leak + stale, SHARES)
    by_kind = {kind: between(_weights(kind, held, nodes), row) for kind in ("leak", "stale")}
    weight = np.where((stale > 0)[:, None], by_kind["stale"], by_kind["leak"])
    mean, sd = _parts(held, nodes)
    weight = weight / weight.sum(axis=1, keepdims=True)
    return weight, np.broadcast_to(mean, weight.shape), np.broadcast_to(sd, weight.shape)


def fall_by_learning(nodes: "Nodes") -> tuple[Floats, Floats, Floats]:
    """How much the idle falls once it is learned anew [rpm], loads off before and after, at every
    node: weights, means and standard deviations of its parts, each (n, parts).

    Parts are equally likely ways in which surplus air may raise an idle, weighed by the speed and
    spark that were recorded. What a leak lets in stays. The last part is an idle that a deposit
    lowers and learning brings up again.
    """
    case = nodes.case
    leak, stale = surplus_shares(
        case.hypotheses, nodes.hypothesis, nodes.sizes, case.scale.idle_area_m2
    )
    table, held = case.priors.idle_speed, case.idle.held
    usual: float = table["unknown_rpm"][0]
    target = usual if held is None or not np.isfinite(held.target_rpm) else held.target_rpm
    metered = case.observations.airflow_metered
    rises = speed_rises("stale", table, target, airflow_metered=metered)
    weight = np.ones_like(rises)
    if held is not None:
        weight = np.sum(held.parts(rises, table), axis=0) + _LEAST
    row = places(leak + stale, SHARES)
    share, mean, sd = (between(table, row) for table in _gathered(weight, rises))
    of_it = (stale / np.maximum(leak + stale, 1e-9))[:, None]
    up = _COMES_UP * case.idle.lowered(nodes.hypothesis, nodes.sizes)[:, None]
    below = 0.0 if held is None else min(float(np.nan_to_num(held.excess_rpm)), 0.0)
    weight = np.hstack([share / share.sum(axis=1, keepdims=True) * (1.0 - up), up])
    mean = np.hstack([mean * of_it, np.full_like(up, _OF_IT * below)])
    return weight, mean, np.hstack([sd * of_it, np.full_like(up, -_GIVE * below)])


def _gathered(weight: Floats, rises: Floats) -> tuple[Floats, Floats, Floats]:
    """Ways with like rises as one part: weights, means and standard deviations, each
    (shares, parts)."""
    order = np.argsort(rises, axis=1)
    shape = (len(rises), _WAYS, -1)
    weight, rises = (np.take_along_axis(x, order, axis=1).reshape(shape) for x in (weight, rises))
    total = weight.sum(axis=2)
    mean = (weight * rises).sum(axis=2) / total
    spread = (weight * (rises - mean[..., None]) ** 2).sum(axis=2) / total
    # Half a step between two parts is left as doubt.
    return total, mean, np.hypot(np.sqrt(spread), 0.1 * mean)


def _parts(held: Comparison, nodes: "Nodes") -> tuple[Floats, Floats]:
    """Means and standard deviations [rpm] of the parts, the check's own error aside."""
    table = nodes.case.priors.idle_speed
    # The check is made hot: half of what a cooler engine may have idled higher is taken off.
    warming = 0.5 * held.judged.warming_rpm
    middle = held.judged.speed_rpm - warming
    mean = np.concatenate([[middle], middle - _loads(table["load_rpm"]), [middle]])
    slice_rpm = table["load_rpm"] / (2 * _LOADS)
    sd = np.concatenate([[0.0], np.full(_LOADS, slice_rpm), [table["stray_rpm"]]])
    return mean, np.hypot(sd, warming)


def _loads(most_rpm: float) -> Floats:
    return (np.arange(float(_LOADS)) + 0.5) / _LOADS * most_rpm


def _weights(kind: Surplus, held: Comparison, nodes: "Nodes") -> Floats:
    """How likely each part is at each share of surplus, speed and spark given: (shares, parts)."""
    case = nodes.case
    table = case.priors.idle_speed
    metered = case.observations.airflow_metered
    rises = speed_rises(kind, table, held.target_rpm, airflow_metered=metered)
    alike, _, down = held.parts(rises, table)
    spark = held.loaded_spark(1.0, rises, table)
    left = held.excess_rpm - rises
    unloaded = {**held.shares, "load": 0.0, "target load": 0.0}
    wide = float(np.hypot(held.sd_rpm, table["load_rpm"] / (2 * _LOADS)))
    loads = _loads(table["load_rpm"])
    raised = speed_density(left[..., None] - loads, wide, unloaded, table)
    share = held.shares["load"] * (1 - held.shares["target load"]) / _LOADS
    stray = table["stray_share"]
    same = (1 - stray) * (alike + down).mean(axis=1)
    more = (1 - stray) * share * (raised * spark[..., None]).mean(axis=1)
    odd = stray * held.spark.odd * stray_density(held.excess_rpm, table)
    same = same + _STRAY_STAYS * odd + table["lowered_other_share"] * lowered_density(held, table)
    gone = np.full(len(same), (1 - _STRAY_STAYS) * odd)
    return np.column_stack([same, more, gone])
