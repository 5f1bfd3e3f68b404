"""What the pictures draw, from the best fit of each likely cause."""

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from bellmouth.finding.model import Effects, State
from bellmouth.finding.result import Picture, PicturePoint
from bellmouth.finding.sizes import Z90

if TYPE_CHECKING:
    from bellmouth.finding.case import Case

__all__ = ["draw"]

Floats = NDArray[np.float64]


def draw(case: "Case", posterior: Mapping[str, float]) -> Picture:
    """Points of the judged recording and the trim curves of the causes worth drawing."""
    o, names = case.observations, case.hypotheses.names
    order = sorted(range(len(names)), key=lambda row: -posterior[names[row]])
    kept = [row for row in order if posterior[names[row]] > 0.03][:4]
    if 0 not in kept:
        kept.append(0)
    rows = np.array(kept, dtype=np.intp)
    state, effects = _state(case, rows)
    trims = _predicted(case, state, effects)
    read = o.total_trim()
    typical = _typical_g_s(case)
    points = tuple(
        _point(case, state, trims, read, typical, [names[row] for row in kept], int(point))
        for point in np.flatnonzero(o.judged)
    )
    curves = {}
    for place, row in enumerate(kept):
        flow, trim = state["cylinder"][place], trims[place]
        mask = o.judged & np.isfinite(flow) & np.isfinite(trim)
        curves[names[row]] = _curve(flow[mask] * 1e3, trim[mask], state["leak"][place][mask] * 1e3)
    return Picture(points, curves)


def _state(case: "Case", rows: NDArray[np.intp]) -> tuple[State, Effects]:
    u = case.model.unknowns
    bends = (float(u.sd[u.index("meter_bend")]), u.contaminated_bend_sd)
    effects = case.hypotheses.effects(rows, case.posterior.sizes[rows], bends)
    return case.model.states(case.posterior.coordinates[rows], effects), effects


def _predicted(case: "Case", state: State, effects: Effects) -> Floats:
    """Log total trim to be expected, of the mean of the banks that are used at each point."""
    used = np.isfinite(case.observations.log_trim)
    used[~used.any(axis=1)] = True, case.model.two_banks
    each = [case.model.predicted_log_trim(state, effects, bank) for bank in (0, 1)]
    return np.asarray((np.stack(each, axis=2) * used).sum(axis=2) / used.sum(axis=1))


def _curve(flow: Floats, log_trim: Floats, leak: Floats) -> tuple[tuple[float, float], ...]:
    """Trim [%] over a smooth range of flow [g/s]: the leak's share falls as one over flow, the
    rest is interpolated."""
    if not len(flow):
        return ()
    order = np.argsort(flow)
    flow, log_trim, leak = flow[order], log_trim[order], leak[order]
    rest = log_trim - np.log(flow / np.maximum(flow - leak, 0.05 * flow))
    grid = np.geomspace(flow[0] * 0.9, flow[-1] * 1.1, 40)
    leaks = np.interp(grid, flow, leak)
    share = np.log(grid / np.maximum(grid - leaks, 0.05 * grid))
    trim = np.expm1(np.interp(np.log(grid), np.log(flow), rest) + share) * 100
    return tuple((float(x), float(y)) for x, y in zip(grid, trim, strict=True))


def _point(
    case: "Case",
    state: Mapping[str, Floats],
    trims: Floats,
    read: tuple[Floats, Floats],
    typical_g_s: Floats,
    names: list[str],
    point: int,
) -> PicturePoint:
    o = case.observations
    kind = "idle" if o.idle[point] else "held" if o.held[point] else "drive"
    trim, error = read[0][point], read[1][point]
    by_cause = {name: float(np.expm1(trims[i, point]) * 100) for i, name in enumerate(names)}
    return PicturePoint(
        kind=kind,
        start_s=float(o.start_s[point]),
        end_s=float(o.end_s[point]),
        engine_speed_rpm=float(o.speed_rev_s[point] * 60),
        airflow_meter_g_s=_finite(o.metered_kg_s[point] * 1e3),
        airflow_speed_density_g_s=_speed_density(case, typical_g_s, point),
        airflow_throttle_g_s=_throttle(case, state, point),
        true_airflow_g_s=_finite(state["cylinder"][0, point] * 1e3),
        manifold_pressure_kpa=_finite(o.manifold_pa[point] / 1e3),
        throttle_pct=_finite(o.throttle_pct[point]),
        total_trim_pct=(
            (float(np.expm1(trim) * 100), float(error * 100)) if np.isfinite(trim) else None
        ),
        total_trim_by_cause_pct={k: v for k, v in by_cause.items() if np.isfinite(v)},
        recording=int(o.recording[point]) + 1,
    )


def _finite(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _typical_g_s(case: "Case") -> Floats:
    """What a typical engine would breathe at each point's speed and pressure, (points,)."""
    zero = np.zeros((1, case.model.unknowns.size))
    return np.asarray(case.model.states(zero, Effects.none(1))["filled"][0] * 1e3)


def _speed_density(
    case: "Case", typical_g_s: Floats, point: int
) -> tuple[float, float, float] | None:
    """What a typical engine would breathe; the spread is of engines."""
    o, u = case.observations, case.model.unknowns
    if not np.isfinite(o.manifold_pa[point]):
        return None
    flow = typical_g_s[point]
    sd = float(np.hypot(u.sd[u.index("fill_level")], 0.05))
    return float(flow), float(flow * np.exp(-Z90 * sd)), float(flow * np.exp(Z90 * sd))


def _throttle(
    case: "Case", state: Mapping[str, Floats], point: int
) -> tuple[float, float, float] | None:
    """What the plate lets through at this reading, by the law fitted to all points of the car."""
    o = case.observations
    area = state["plate"][0, point] * 1e-6 * state["flux"][0, point] * 1e3
    if not np.isfinite(area) or not np.isfinite(o.throttle_pct[point]):
        return None
    sd = float(case.priors.model_error["plate_log"][-1]) + 0.02
    return float(area), float(area * np.exp(-Z90 * sd)), float(area * np.exp(Z90 * sd))
