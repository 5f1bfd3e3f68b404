"""Derivatives of the residuals in the car's unknowns, by the chain rule.

The same mass balance as `model`, differentiated by hand so that a finding takes milliseconds;
``tests/finding/test_sensitivity.py`` holds it against finite differences.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from bellmouth.finding.model import (
    CLOSED_SCALE,
    NEARLY_ONE,
    RISE_PA,
    RISE_SPAN,
    Effects,
    Model,
    bend_applies,
)
from bellmouth.finding.nuisance import Unknowns
from bellmouth.physics.air import GAMMA
from bellmouth.physics.orifice import CRITICAL_PRESSURE_RATIO

__all__ = ["Laid", "Slopes", "channel_slopes", "chosen_slopes", "laid", "unknown_jacobian"]

Floats = NDArray[np.float64]
Slopes = dict[str, Floats]

_BLOCKS = ("ambient", "fuel_fill", "heating", "meter_day")


@dataclass(frozen=True)
class Laid:
    """A channel's slopes side by side: the unknowns and (batch, unknowns, points)."""

    unknowns: tuple[str, ...]
    values: Floats

    def of(self, members: slice) -> "Laid":
        """Those of some members of the batch."""
        return Laid(self.unknowns, self.values[members])


def laid(slopes: Slopes, points: int) -> Laid:
    """A channel's slopes at every point, also those that are the same at all."""
    shape = (max(len(slope) for slope in slopes.values()), points)
    each = [np.broadcast_to(slope, shape) for slope in slopes.values()]
    return Laid(tuple(slopes), np.stack(each, axis=1))


def unknown_jacobian(model: Model, coordinates: Floats, effects: Effects) -> Floats:
    """Residuals differentiated in the unknowns' coordinates, (batch, residuals, unknowns)."""
    every = channel_slopes(model, coordinates, effects, model.states(coordinates, effects))
    points = model.observations.points
    return chosen_slopes(model, [laid(one, points) for one in every], coordinates.shape)


def chosen_slopes(model: Model, channels: Sequence[Laid], shape: tuple[int, ...]) -> Floats:
    """Slopes of the residuals that are compared, from those of each channel at every point;
    ``shape`` is that of the coordinates."""
    o, u = model.observations, model.unknowns
    found = np.zeros((shape[0], len(model.channels), shape[1]))
    first = 0
    for channel, rows in zip(channels, model.places.values(), strict=True):
        mine = np.arange(first, first := first + len(rows))
        column, own = _columns(channel.unknowns, o.recordings)
        at = column if o.recordings == 1 else column + own * o.recording[rows]
        found[:, mine, at] = channel.values[:, :, rows]
    return u.turned(found)


@cache
def _columns(unknowns: tuple[str, ...], recordings: int) -> tuple[NDArray[np.intp], ...]:
    """Where unknowns stand, the first of those with one a recording, and which these are; as
    columns."""
    column = np.array([[_column(unknown, recordings)] for unknown in unknowns])
    return column, np.array([[int(unknown in _BLOCKS)] for unknown in unknowns])


@cache
def _column(unknown: str, recordings: int) -> int:
    """Where an unknown stands among the coordinates: the first of those with one a recording."""
    if unknown in _BLOCKS:
        first: int = Unknowns.block(unknown, recordings).start
        return first
    return Unknowns.index(unknown)


def channel_slopes(
    model: Model, coordinates: Floats, effects: Effects, state: Mapping[str, Floats]
) -> list[Slopes]:
    """Slopes of each of the model's channels in the unknowns' coordinates, by unknown, (batch,
    points) each, or (batch, 1) where it is the same at all; before the unknowns' own turn."""
    o, u = model.observations, model.unknowns
    recordings = o.recordings
    scale = np.broadcast_to(u.sd, coordinates.shape).copy()
    scale[:, u.index("meter_bend")] = effects.bend_sd

    def scaled(unknown: str, slope: Floats) -> Floats:
        column = _column(unknown, recordings)
        if unknown in _BLOCKS and recordings > 1:
            return np.asarray(slope * scale[:, column + o.recording])
        return np.asarray(slope * scale[:, column, None])

    return [
        {unknown: scaled(unknown, slope) for unknown, slope in slopes.items()}
        for slopes in _channel_slopes(model, state, effects).values()
    ]


def _channel_slopes(
    model: Model, state: Mapping[str, Floats], effects: Effects
) -> dict[str, Slopes]:
    """Slopes of each channel's residual in each unknown's value."""
    o = model.observations
    kinds = model.kinds
    passed, manifold, ambient, upstream = _inputs(model, state, effects)
    filled = _filled(model, state, manifold)
    flux = _flux(upstream, manifold, state["manifold"] / state["upstream"])
    flux["discharge"] = model.unchoked + np.zeros((1, 1))
    leak = _flux(ambient, manifold, state["manifold"] / state["ambient"])
    if not o.airflow_metered:
        passed = filled
    result: dict[str, Slopes] = {}
    if "filling" in kinds:
        share = state["leak"] / state["cylinder"]
        cylinder = _sum((1.0 - share, passed), (share, leak))
        result["filling"] = _sum((1.0, cylinder), (-1.0, filled))
    if "plate" in kinds:
        plate = _plate(state)
        through = state["plate"] * 1e-6 * state["flux"]
        beside = state["leak"] if not o.airflow_metered else np.zeros_like(through)
        share = beside / (through + beside)
        supply = _sum((1.0 - share, _sum((1.0, plate), (1.0, flux))), (share, leak))
        result["plate"] = _sum((1.0, passed), (-1.0, supply))
    if "opening" in kinds:
        result["opening"] = _opening(state)
    if "closed" in kinds:
        result["closed"] = _closed(model, state, effects)
    if "computed" in kinds:
        result["computed"] = _sum((-1.0, filled), (-1.0, {"meter_gain": np.ones(1)}))
    if "boost" in kinds:
        result["boost"] = _sum((1.0, upstream), (-1.0, ambient))
    for bank in (0, 1):
        if f"trim {bank + 1}" in kinds:
            result[f"trim {bank + 1}"] = _trim(model, state, effects, bank, passed, leak)
    return {kind: result[kind] for kind in kinds}


def _sum(*terms: tuple[Floats | float, Slopes]) -> Slopes:
    """Weighted sum of slopes."""
    total: Slopes = {}
    for weight, slopes in terms:
        for name, slope in slopes.items():
            part = weight * slope
            total[name] = total[name] + part if name in total else part
    return total


def _inputs(
    model: Model, state: Mapping[str, Floats], effects: Effects
) -> tuple[Slopes, Slopes, Slopes, Slopes]:
    """Slopes of the logarithms of metered-true flow, manifold, ambient and upstream pressure."""
    one = np.ones(1)
    bend = -bend_applies(model, effects) * model.log_relative_flow
    passed: Slopes = {"meter_gain": -one, "meter_day": -one, "meter_bend": bend}
    manifold_pa = state["manifold"]
    offset = 1.0 / manifold_pa
    seen = model.has_manifold * 1.0
    gain = -seen * (1.0 + state["value"][:, [model.unknowns.index("pressure_offset")]] * offset)
    manifold: Slopes = {"pressure_gain": gain, "pressure_offset": -seen * offset}
    if not model.has_manifold.all():
        guessed = _sum((1.0, passed), (1.0, {"heating": one, "fill_level": -one}))
        manifold = _sum((1.0, manifold), (1.0 - seen, guessed))
    ambient: Slopes = {"ambient": one}
    boosted = model.has_boost * 1.0
    upstream: Slopes = {"ambient": 1.0 - boosted, "boost_gain": -boosted}
    return passed, manifold, ambient, upstream


def _filled(model: Model, state: Mapping[str, Floats], manifold: Slopes) -> Slopes:
    one = np.ones(1)
    manifold_pa = state["manifold"]
    rise = state["value"][:, [model.unknowns.index("fill_rise")]]
    law: Slopes = {
        "fill_level": one,
        "fill_rise": (1.0 - RISE_PA / manifold_pa) / RISE_SPAN,
        "fill_speed": model.log_speed,
        "heating": -one,
    }
    return _sum((1.0, law), (1.0 + rise * RISE_PA / manifold_pa / RISE_SPAN, manifold))


def _flux(upstream: Slopes, manifold: Slopes, ratio: Floats) -> Slopes:
    """Slopes of the log of pressure times flow function: none through the ratio when choked."""
    inside = np.clip(ratio, CRITICAL_PRESSURE_RATIO, NEARLY_ONE)
    thermal = inside ** ((GAMMA - 1.0) / GAMMA)
    exponent = (1.0 - (GAMMA - 1.0) / GAMMA) - 0.5 * thermal / (1.0 - thermal) * (
        (GAMMA - 1.0) / GAMMA
    )
    moving = (ratio > CRITICAL_PRESSURE_RATIO) & (ratio < NEARLY_ONE)
    slope = np.where(moving, exponent, 0.0)
    return _sum((1.0 - slope, upstream), (slope, manifold))


def _plate(parts: Mapping[str, Floats]) -> Slopes:
    """Slopes of the logarithm of the plate's area; the law is `Model.plate_parts`."""
    clean, lost, left = parts["clean"], parts["lost"], parts["left"]
    root = np.sqrt(left**2 + parts["floor"] ** 2)
    by_left = 0.5 * (1.0 + left / root)
    by_floor = 0.5 * parts["floor"] / root * (parts["floor"] / clean)
    opening, slope, curve = parts["opening"], parts["slope"], parts["curve"]
    clean_by_opening = slope * (1.0 + 2.0 * curve * opening)
    lost_by_opening = -lost / parts["fade"]
    by_opening = (
        by_left * (clean_by_opening - lost_by_opening) + by_floor * clean_by_opening
    ) * parts["opening_by_above"]
    by_clean = by_left + by_floor
    area = parts["plate"]
    above_by_slope = parts["above_by_slope"]
    return {
        "bypass": by_clean * parts["bypass"] / area,
        "slope": (
            by_clean * slope * opening * (1.0 + curve * opening) + by_opening * above_by_slope
        )
        / area,
        "curve": by_clean * slope * opening**2 / area,
        "opening": by_opening * parts["above_by_opening"] / area,
        "fade": (by_opening * parts["above_by_fade"] - by_left * lost * opening / parts["fade"])
        / area,
    }


def _opening(parts: Mapping[str, Floats]) -> Slopes:
    """Slopes of the reading over the opening, less for what the opening gains."""
    by_above = -parts["opening_by_above"] / parts["opening"]
    return {name: by_above * parts[f"above_by_{name}"] for name in ("opening", "slope", "fade")}


def _closed(model: Model, state: Mapping[str, Floats], effects: Effects) -> Slopes:
    """Slopes of the lowest throttle reading; see `Model.plate_parts`."""
    parts = model.plate_parts(state["value"], effects)
    slopes = {
        name: -CLOSED_SCALE * parts[f"above_by_{name}"] for name in ("opening", "slope", "fade")
    }
    return {"closed": -CLOSED_SCALE * np.ones(1), **slopes}


def _trim(
    model: Model,
    state: Mapping[str, Floats],
    effects: Effects,
    bank: int,
    passed: Slopes,
    leak: Slopes,
) -> Slopes:
    o = model.observations
    one = np.ones(1)
    sign = 0.5 if bank == 0 else -0.5
    fuel: Slopes = {"fuel_level": one, "fuel_fill": one, "bank_split": sign * one}
    value = state["value"]
    direction = 2.0 * sign * model.two_banks
    nearer = direction * np.tanh(value[:, [model.unknowns.index("leak_bank")]])
    turning = direction - nearer * np.tanh(value[:, [model.unknowns.index("leak_bank")]])
    if o.airflow_metered:
        got = state["passed"] + (1.0 + nearer) * state["leak"]
        share = (1.0 + nearer) * state["leak"] / got
        predicted = _sum((1.0 - share, passed), (share, leak), (1.0, fuel))
        shift = turning * state["leak"] / got
    else:
        lean = nearer * state["leak"] / state["filled"]
        inside = np.where(lean > -0.8, 1.0 / (1.0 + np.clip(lean, -0.8, None)), 0.0)
        moved = _sum((1.0, leak), (-1.0, passed))
        predicted = _sum((inside * lean, moved), (1.0, fuel), (1.0, {"meter_gain": -one}))
        shift = inside * turning * state["leak"] / state["filled"]
    predicted = _sum((1.0, predicted), (1.0, {"leak_bank": shift}))
    passes = model.clamp_slope(model.predicted_log_trim(state, effects, bank), value, bank)
    return _sum((-passes, predicted), (passes, {"trim_sum": o.trim_gap[..., bank]}))
