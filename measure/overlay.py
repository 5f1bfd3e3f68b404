"""Faults laid over real recordings of healthy engines.

An overlay changes what was reported, not what the engine and its controller did. A leak is laid
over in two ways, the two ends of what a controller may do: the plate closes by what the hole lets
in and pressure stays, or the plate stays and pressure rises; speed stays in both. It is no
physics of control, and says so wherever it is used.
"""

from dataclasses import replace

import numpy as np

from bellmouth.physics import air, orifice
from bellmouth.recording.series import Floats, Recording, Series

__all__ = [
    "between",
    "fuel",
    "hole_over_least_flow",
    "leak_plate_closes",
    "leak_pressure_rises",
    "scaled",
]


def between(recording: Recording, start: float, end: float) -> Recording:
    """The part of a recording between two shares of its length, its clock from 0."""
    last = max(s.time_s[-1] for s in recording.series.values())
    low, high = start * last, end * last
    series = {}
    for name, one in recording.series.items():
        keep = (one.time_s >= low) & (one.time_s < high)
        if keep.any():
            series[name] = replace(one, time_s=one.time_s[keep] - low, value=one.value[keep])
    return replace(recording, series=series, source=f"{recording.source} {start:g}-{end:g}")


def scaled(recording: Recording, name: str, factor: float) -> Recording:
    """One parameter reads ``factor`` times as much."""
    one = recording.series[name]
    return _with(recording, replace(one, value=one.value * factor))


def fuel(recording: Recording, ratio: float) -> Recording:
    """Fuel delivered over commanded is ``ratio``: the long trim makes it up.

    In steps of 0.78125 %, as the standard's trims come; no limit of the controller is imitated.
    """
    name = "long_term_fuel_trim_bank_1"
    one = recording.series[name]
    asked = ((1.0 + one.value / 100.0) / ratio - 1.0) * 100.0
    return _with(recording, replace(one, value=np.round(asked / 0.78125) * 0.78125))


def leak_plate_closes(recording: Recording, diameter_mm: float) -> Recording:
    """A round hole after the throttle; the plate closes until pressure and speed are as before.

    The meter misses what the hole lets in from outside, and the plate stands where it passes the
    rest, by the area against reading that this very recording shows. [mm]
    """
    meter, plate = recording.series["mass_air_flow"], recording.series["throttle_position"]
    flow = meter.value - _hole_g_s(recording, diameter_mm, meter.time_s)
    passed = _at(recording, "mass_air_flow", plate.time_s)
    left = passed - _hole_g_s(recording, diameter_mm, plate.time_s)
    grid, area = _plate_law(recording)
    share = np.maximum(left / passed, 0.02)
    stood = np.interp(plate.value, grid, area)
    # Only the change is laid over, so that the plate's own scatter stays.
    moved = np.interp(stood * share, area, grid) - np.interp(stood, area, grid)
    changed = _with(recording, replace(meter, value=np.maximum(flow, 0.01)))
    return _with(changed, replace(plate, value=plate.value + moved))


def leak_pressure_rises(recording: Recording, diameter_mm: float) -> Recording:
    """A round hole after the throttle; plate and speed stay, and the manifold fills up.

    Pressure rises until the cylinders draw what plate and hole let in, by the filling that this
    very recording shows; the meter reads less only where the plate is not choked. [mm]
    """
    meter = recording.series["mass_air_flow"]
    manifold = recording.series["intake_manifold_pressure"]
    _, passed = _filled(recording, diameter_mm, meter.time_s)
    raised, _ = _filled(recording, diameter_mm, manifold.time_s)
    # Only the change is laid over, so that the reading's own scatter stays.
    before = _at(recording, "intake_manifold_pressure", manifold.time_s)
    changed = _with(recording, replace(meter, value=np.maximum(passed, 0.01)))
    return _with(changed, replace(manifold, value=manifold.value + raised - before))


def hole_over_least_flow(recording: Recording, diameter_mm: float) -> float:
    """What a hole passes over the air the engine idles on (the meter's second percentile)."""
    meter = recording.series["mass_air_flow"]
    hole = _hole_g_s(recording, diameter_mm, meter.time_s)
    return float(np.quantile(hole, 0.9) / np.quantile(meter.value, 0.02))


def _hole_g_s(recording: Recording, diameter_mm: float, time_s: Floats) -> Floats:
    """Air through the hole from outside, negative where the manifold stands above it. [g/s]"""
    manifold = _at(recording, "intake_manifold_pressure", time_s)
    return _through(recording, diameter_mm, time_s, manifold)


def _through(
    recording: Recording, diameter_mm: float, time_s: Floats, manifold_kpa: Floats
) -> Floats:
    outside = _at(recording, "barometric_pressure", time_s) * 1e3
    kelvin = _at(recording, "ambient_air_temperature", time_s) + air.KELVIN
    area = orifice.leak_area_m2(diameter_mm * 1e-3)
    flow = orifice.signed_mass_flow_kg_s(area, outside, manifold_kpa * 1e3, kelvin)
    return np.asarray(1e3 * flow)


def _filled(recording: Recording, diameter_mm: float, time_s: Floats) -> tuple[Floats, Floats]:
    """Manifold pressure [kPa] and air past the plate [g/s] with the hole, by bisection."""
    before = _at(recording, "intake_manifold_pressure", time_s)
    passed = _at(recording, "mass_air_flow", time_s)
    ahead = np.maximum(_at(recording, "boost_pressure", time_s), before + 0.5)
    power = 1.0 + _filling_slope(recording)
    full = orifice.flow_function(before / ahead)

    def plate(pressure: Floats) -> Floats:
        return np.asarray(passed * orifice.flow_function(pressure / ahead) / full)

    low, high = np.full_like(before, 5.0), ahead.copy()
    for _ in range(40):
        middle = 0.5 * (low + high)
        drawn = passed * (middle / before) ** power
        short = drawn < plate(middle) + _through(recording, diameter_mm, time_s, middle)
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    pressure = 0.5 * (low + high)
    return pressure, plate(pressure)


def _filling_slope(recording: Recording) -> float:
    """How the log of filling rises with the log of pressure, speed allowed for."""
    time_s = recording.series["mass_air_flow"].time_s
    flow = recording.series["mass_air_flow"].value
    speed = _at(recording, "engine_speed", time_s)
    pressure = _at(recording, "intake_manifold_pressure", time_s)
    good = (speed > 600) & (flow > 0.5) & (pressure > 15) & (pressure < 95)
    filling = np.log(flow / speed / pressure)[good]
    basis = np.stack([np.ones(good.sum()), np.log(speed[good]), np.log(pressure[good])], axis=1)
    return float(np.linalg.lstsq(basis, filling, rcond=None)[0][2])


def _plate_law(recording: Recording) -> tuple[Floats, Floats]:
    """Readings and areas that rise together: medians of the recording's own points."""
    time_s = recording.series["mass_air_flow"].time_s
    flow = recording.series["mass_air_flow"].value
    reading = _at(recording, "throttle_position", time_s)
    manifold = _at(recording, "intake_manifold_pressure", time_s)
    ahead = _at(recording, "boost_pressure", time_s)
    good = (manifold < 0.95 * ahead) & (flow > 0.5)
    area = flow[good] / ahead[good] / orifice.flow_function(manifold[good] / ahead[good])
    edges = np.unique(np.quantile(reading[good], np.linspace(0, 1, 25)))
    place = np.clip(np.searchsorted(edges, reading[good], side="right") - 1, 0, len(edges) - 2)
    grid = np.array([np.median(reading[good][place == k]) for k in range(len(edges) - 1)])
    middle = np.array([np.median(area[place == k]) for k in range(len(edges) - 1)])
    middle = np.maximum.accumulate(middle) + 1e-9 * np.arange(len(middle))
    # Below the smallest opening seen, the first slope goes on down to nothing.
    slope = (middle[3] - middle[0]) / (grid[3] - grid[0])
    return (
        np.concatenate([[grid[0] - middle[0] / slope], grid]),
        np.concatenate([[0.0], middle]),
    )


def _at(recording: Recording, name: str, time_s: Floats) -> Floats:
    one = recording.series[name]
    return np.asarray(np.interp(time_s, one.time_s, one.value))


def _with(recording: Recording, one: Series) -> Recording:
    return replace(recording, series={**recording.series, one.name: one})
