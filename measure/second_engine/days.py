"""What differs from one recording to the next: weather, fuel, loads, purge, what was held, and
the fault with its size."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from measure.second_engine import flow
from measure.second_engine.cars import Cars
from measure.second_engine.ranges import SHARES, draw, happens

__all__ = ["CAUSES", "CAUSE_SHARES", "Days", "Script", "deposit_worth", "draw_day", "draw_script"]

Floats = NDArray[np.float64]

CAUSES: Final = (
    "healthy", "leak", "meter_low", "meter_high", "fuel_low", "fuel_high", "deposit",
    "learned_stale",
)  # fmt: skip
#: Healthy three in ten, the others alike.
CAUSE_SHARES: Final[Mapping[str, float]] = {
    cause: SHARES["healthy"][0] if cause == "healthy" else (1.0 - SHARES["healthy"][0]) / 7.0
    for cause in CAUSES
}


@dataclass(frozen=True)
class Days:
    """Of each recording, shape (recordings,); SI units. ``stale`` is a flow [kg/s]."""

    barometer: Floats
    intake: Floats
    coolant: Floats
    ethanol: Floats
    ethanol_guess: Floats
    load: Floats
    load_raise: Floats
    purge_air: Floats
    purge_fuel: Floats
    leak_area: Floats
    meter: Floats
    bend: Floats
    fuel: Floats
    deposit: Floats
    deposit_reach: Floats
    stale: Floats


@dataclass(frozen=True)
class Script:
    """Pieces of a recording: until when [s] which speed is held [rpm], 0 at idle; windows [s] of
    load and of purge; ``plan`` as the tables name it."""

    plan: str
    held: tuple[tuple[float, float], ...]
    load: tuple[float, float]
    purge: tuple[tuple[float, float], ...]

    @property
    def length(self) -> float:
        """Of the recording [s]."""
        return self.held[-1][0]


def draw_day(rng: np.random.Generator, car: Cars, cause: str) -> Days:
    """Weather and fuel of a day, and the fault."""
    blend, guess = _fuel(rng, car)
    sides = {"low": -1.0, "high": 1.0}
    off = sides.get(cause.rsplit("_", 1)[-1], 0.0) * draw(rng, "off")
    leak = draw(rng, "leak_airflow" if car.airflow_metered else "leak_pressure")
    choked = float(flow.orifice(1.0, 101e3, 35e3, 298.15))
    dirty = cause.startswith("meter") and bool(car.airflow_metered)
    more = math.radians(draw(rng, "deposit"))
    reach = max(math.radians(draw(rng, "deposit_reach")), float(car.idle_opening) + more)
    values = {
        "barometer": 1e3 * draw(rng, "barometer"),
        "intake": 273.15 + draw(rng, "intake"),
        "coolant": 273.15 + draw(rng, "coolant"),
        "ethanol": blend,
        "ethanol_guess": guess,
        "load": draw(rng, "load") * float(car.displacement) * 1e3,
        "load_raise": draw(rng, "load_raise") * happens(rng, "load_raises") * math.pi / 30.0,
        "purge_air": draw(rng, "purge_air") * float(car.idle_flow),
        "purge_fuel": draw(rng, "purge_fuel"),
        "leak_area": leak * float(car.idle_flow) / choked if cause == "leak" else 0.0,
        "meter": math.exp(off) if cause.startswith("meter") else 1.0,
        "bend": draw(rng, "dirty_bend") if dirty else 0.0,
        "fuel": math.exp(off) if cause.startswith("fuel") else 1.0,
        "deposit": deposit_worth(car, more, reach) if cause == "deposit" else 0.0,
        "deposit_reach": reach,
        "stale": draw(rng, "stale") * float(car.idle_flow) if cause == "learned_stale" else 0.0,
    }
    return Days(**{k: np.asarray(v, dtype=np.float64) for k, v in values.items()})


def deposit_worth(car: Cars, more: float, reach: float) -> float:
    """Effective area [m2] of a deposit that ``more`` opening [rad] at idle makes up for, where it
    fades over ``reach`` [rad]. A round plate opens faster the further it stands open, so that
    the slope at closed would make it too small."""
    idle = car.idle_opening
    opened = idle + more
    more_area = flow.discharging(car.discharge, car.shape, opened) * flow.plate_area(
        car.bore, car.closed, opened
    ) - flow.discharging(car.discharge, car.shape, idle) * flow.plate_area(
        car.bore, car.closed, idle
    )
    return float(more_area / np.exp(-((opened / reach) ** 2)))


def _fuel(rng: np.random.Generator, car: Cars) -> tuple[float, float]:
    """Ethanol by volume and what the controller takes it for [-]: a flexible car knows about
    what it has, and says so; another is laid out for 5 or 10 %."""
    guess = draw(rng, "fuel_guess") / 100.0
    if car.flexible:
        blend = draw(rng, "ethanol") / 100.0
        return blend, min(max(blend + guess, 0.0), 1.0)
    return draw(rng, "blend") / 100.0, float(car.laid_for)


def draw_script(rng: np.random.Generator) -> Script:
    """Idle alone, or idle, some held speeds and idle, in any order; loads and purge."""
    held: tuple[tuple[float, float], ...]
    if happens(rng, "idle_alone"):
        held = ((float(rng.uniform(100.0, 180.0)), 0.0),)
        plan = "idle"
    else:
        speeds = [draw(rng, "held_rpm") for _ in range(int(rng.integers(1, 4)))]
        order = [0.0, *speeds, 0.0]
        if rng.random() < 0.4:
            order = [float(x) for x in rng.permutation(order)]
        share = rng.uniform(0.7, 1.3, len(order))
        ends = np.cumsum(180.0 * share / share.sum())
        held = tuple(zip(map(float, ends), order, strict=True))
        plan = "held"
    length = held[-1][0]
    return Script(plan, held, _load(rng, length), _purge(rng, length))


def _load(rng: np.random.Generator, length: float) -> tuple[float, float]:
    kind = rng.random()
    throughout, part = SHARES["loaded_throughout"][0], SHARES["loaded_in_part"][0]
    if kind < throughout:
        return -1e3, 1e3
    if kind < throughout + part:
        start = float(rng.uniform(0.1, 0.7)) * length
        return start, start + float(rng.uniform(0.2, 0.5)) * length
    return 1e4, 1e4


def _purge(rng: np.random.Generator, length: float) -> tuple[tuple[float, float], ...]:
    if not happens(rng, "purged"):
        return ()
    if rng.random() < 0.2:
        return ((-1e3, 1e3),)
    starts = np.sort(rng.uniform(0.05, 0.9, int(rng.integers(1, 3)))) * length
    return tuple((float(s), float(s + rng.uniform(20.0, 60.0))) for s in starts)
