"""Derivatives of the residuals in the car's unknowns, by the chain rule.

The same mass balance as `model`, differentiated by hand so that a finding takes milliseconds;
``tests/finding/test_sensitivity.py`` holds it against finite differences.
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from bellmouth.finding.effects import Effects
from bellmouth.finding.model import (
    CLOSED_SCALE,
    NEARLY_ONE,
    RISE_PA,
    RISE_SPAN,
    Model,
    State,
    bend_applies,
)
from bellmouth.finding.nuisance import PER_RECORDING
from bellmouth.finding.plate_law import above_slopes, area_slopes, opening_slopes
from bellmouth.physics.air import GAMMA
from bellmouth.physics.orifice import CRITICAL_PRESSURE_RATIO

__all__ = ["point_slopes", "unknown_jacobian"]

Floats = NDArray[np.float64]
Slopes = dict[str, Floats]


def unknown_jacobian(model: Model, coordinates: Floats, effects: Effects) -> Floats:
    """Residuals differentiated in the unknowns' coordinates, (batch, residuals, unknowns)."""
    every = point_slopes(model, effects, model.states(coordinates, effects))
    compared = every.take(model.compared(), axis=1)
    return model.unknowns.in_coordinates(compared, effects.bend_sd)


def point_slopes(model: Model, effects: Effects, state: State) -> Floats:
    """Slopes of each of the model's channels at every point in the unknowns' values, (batch,
    channels x points, unknowns)."""
    o, u = model.observations, model.unknowns
    batch, recordings, points = len(effects.bend_sd), o.recordings, o.points
    found = np.zeros((batch, len(model.kinds), points, u.mean.shape[-1]))
    for channel, slopes in enumerate(_channel_slopes(model, state, effects).values()):
        for unknown, slope in slopes.items():
            own = unknown in PER_RECORDING
            column = u.block(unknown, recordings).start if own else u.index(unknown)
            if own and recordings > 1:
                found[:, channel, np.arange(points), column + o.recording] = slope
            else:
                found[:, channel, :, column] = slope
    return found.reshape(batch, len(model.kinds) * points, found.shape[-1])


def _channel_slopes(model: Model, state: State, effects: Effects) -> dict[str, Slopes]:
    """Slopes of each channel's residual in each unknown's value."""
    passed, manifold, ambient, upstream = _inputs(model, state, effects)
    filled = _filled(model, state, manifold)
    leak = flux = _flux(ambient, manifold, state["manifold"] / state["ambient"])
    if model.boosted:
        flux = _flux(upstream, manifold, state["manifold"] / state["upstream"])
        leak = _either_way(
            leak, _flux(manifold, ambient, state["ambient"] / state["manifold"]), state
        )
    flux = {**flux, "discharge": model.unchoked}
    if not model.observations.airflow_metered:
        passed = filled
    by_kind: dict[str, Callable[[], Slopes]] = {
        "filling": lambda: _filling(state, passed, filled, leak),
        "plate": lambda: _plate(model, state, passed, flux, leak),
        "opening": lambda: opening_slopes(state),
        "closed": lambda: _closed(model, state, effects),
        "computed": lambda: _sum((-1.0, filled), (-1.0, {"meter_gain": np.ones(1)})),
        "boost": lambda: _sum((1.0, upstream), (-1.0, ambient)),
        "trim 1": lambda: _trim(model, state, effects, 0, passed, leak),
        "trim 2": lambda: _trim(model, state, effects, 1, passed, leak),
    }
    return {kind: by_kind[kind]() for kind in model.kinds}


def _filling(state: State, passed: Slopes, filled: Slopes, leak: Slopes) -> Slopes:
    """Slopes of the air that gets into the cylinders over what fills them."""
    share = state["leak"] / state["cylinder"]
    return _sum((1.0 - share, passed), (share, leak), (-1.0, filled))


def _plate(model: Model, state: State, passed: Slopes, flux: Slopes, leak: Slopes) -> Slopes:
    """Slopes of what the cylinders are known to get over what plate and leak let through."""
    supply = _sum((1.0, area_slopes(state)), (1.0, flux))
    if not model.observations.airflow_metered:
        through = state["plate"] * 1e-6 * state["flux"]
        share = state["leak"] / (through + state["leak"])
        supply = _sum((1.0 - share, supply), (share, leak))
    return _sum((1.0, passed), (-1.0, supply))


def _sum(*terms: tuple[Floats | float, Slopes]) -> Slopes:
    """Weighted sum of slopes."""
    total: Slopes = {}
    for weight, slopes in terms:
        whole = isinstance(weight, float) and weight == 1.0
        for name, slope in slopes.items():
            part = slope if whole else weight * slope
            total[name] = total[name] + part if name in total else part
    return total


def _inputs(model: Model, state: State, effects: Effects) -> tuple[Slopes, Slopes, Slopes, Slopes]:
    """Slopes of the logarithms of metered-true flow, manifold, ambient and upstream pressure."""
    one = np.ones(1)
    bend = -bend_applies(model, effects) * model.log_relative_flow
    passed: Slopes = {"meter_gain": -one, "meter_day": -one, "meter_bend": bend}
    manifold_pa = state["manifold"]
    offset = 1.0 / manifold_pa
    seen = model.has_manifold * 1.0 if model.guesses else np.ones(1)
    gain = -seen * (1.0 + state.value("pressure_offset") * offset)
    manifold: Slopes = {"pressure_gain": gain, "pressure_offset": -seen * offset}
    if not model.observations.airflow_metered:
        manifold["sensed"] = gain * model.at_points(effects.meter)
    if model.guesses:
        guessed = _sum((1.0, passed), (1.0, {"heating": one, "fill_level": -one}))
        manifold = _sum((1.0, manifold), (1.0 - seen, guessed))
    ambient: Slopes = {"ambient": one}
    upstream = ambient
    if model.boosted:
        boosted = model.has_boost * 1.0
        upstream = {"ambient": 1.0 - boosted, "boost_gain": -boosted}
    return passed, manifold, ambient, upstream


def _filled(model: Model, state: State, manifold: Slopes) -> Slopes:
    one = np.ones(1)
    manifold_pa = state["manifold"]
    rise = state.value("fill_rise")
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


def _either_way(inward: Slopes, outward: Slopes, state: State) -> Slopes:
    """Slopes of the log of what a hole passes, in or out."""
    blows = np.asarray(state["leak_flux"] < 0.0, dtype=np.float64)
    return _sum((1.0 - blows, inward), (blows, outward))


def _closed(model: Model, state: State, effects: Effects) -> Slopes:
    """Slopes of the lowest throttle reading; see `Model.plate_parts`."""
    above = above_slopes(model.plate_parts(state.value, effects))
    slopes = {name: -CLOSED_SCALE * slope for name, slope in above.items()}
    return {"closed": -CLOSED_SCALE * np.ones(1), **slopes}


def _trim(
    model: Model,
    state: State,
    effects: Effects,
    bank: int,
    passed: Slopes,
    leak: Slopes,
) -> Slopes:
    o = model.observations
    one = np.ones(1)
    sign = 0.5 if bank == 0 else -0.5
    fuel: Slopes = {"fuel_level": one, "fuel_fill": one, "bank_split": sign * one}
    direction = 2.0 * sign * model.two_banks
    toward = np.tanh(state.value("leak_bank"))
    nearer = direction * toward
    turning = direction - nearer * toward
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
    passes = model.clamp_slope(model.predicted_log_trim(state, effects, bank), state.value, bank)
    return _sum((-passes, predicted), (passes, {"trim_sum": o.trim_gap[..., bank]}))
