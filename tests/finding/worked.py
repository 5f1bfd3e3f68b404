"""Made-up recordings of one car before and after work, from levels that the test states."""

from dataclasses import replace

import numpy as np

from bellmouth.recording.series import Recording, Series

SECONDS = 190.0
#: Warm idle and 2,500 rpm of a healthy two-litre engine, scatter, unit.
LEVELS = {
    "engine_speed": (700.0, 2500.0, 2.0, "rpm"),
    "mass_air_flow": (2.35, 7.9, 0.02, "g/s"),
    "intake_manifold_pressure": (34.0, 31.0, 0.1, "kPa"),
    "throttle_position": (13.0, 19.0, 0.02, "%"),
    "short_term_fuel_trim_bank_1": (0.5, 0.5, 0.5, "%"),
    "long_term_fuel_trim_bank_1": (1.0, 1.0, 0.0, "%"),
    "engine_coolant_temperature": (88.0, 89.0, 0.0, "degC"),
    "intake_air_temperature": (30.0, 30.0, 0.0, "degC"),
    "barometric_pressure": (100.0, 100.0, 0.0, "kPa"),
    "fuel_system_status": (2.0, 2.0, 0.0, "code"),
}


def recording(
    source: str, seed: int, *, held: bool = True, **changed: tuple[float, float]
) -> Recording:
    """A warm idle, 2,500 rpm (unless not ``held``) and idle again; a keyword gives a parameter
    its two levels."""
    rng = np.random.default_rng(seed)
    series = {}
    for place, (name, (idle, fast, noise, unit)) in enumerate(LEVELS.items()):
        low, high = changed.get(name, (idle, fast))
        time_s = np.arange(place * 0.05, SECONDS, 0.5)
        up = (time_s > 80) & (time_s < 130) & held
        value = np.where(up, high, low) + rng.normal(0, noise, len(time_s))
        series[name] = Series(name, unit, time_s, value)
    return Recording(series, source, samples_per_s=20.0)


def healthy(source: str = "after.csv", seed: int = 5) -> Recording:
    """The car when nothing is wrong."""
    return recording(source, seed)


def meter_reads_low(source: str = "before.csv", seed: int = 6) -> Recording:
    """Its meter reads 12 % low: the trims make up 1 / 0.88 everywhere."""
    ratio = 0.88
    trim = 100.0 * (1.015 / ratio - 1.0)
    return recording(
        source, seed,
        mass_air_flow=(2.35 * ratio, 7.9 * ratio),
        short_term_fuel_trim_bank_1=(0.5, 0.5),
        long_term_fuel_trim_bank_1=(trim - 0.5, trim - 0.5),
    )  # fmt: skip


def leaks(source: str = "leak.csv", seed: int = 7) -> Recording:
    """A leak of 0.5 g/s, all the air after the meter: fading as airflow rises."""
    at = [100.0 * (1.015 * (flow + 0.5) / flow - 1.0) for flow in (2.35, 7.9)]
    return recording(
        source, seed,
        # Filling itself rises with pressure, so pressure rises less than airflow does.
        intake_manifold_pressure=(34.0 * (2.85 / 2.35) ** 0.83, 31.0 * (8.4 / 7.9) ** 0.83),
        short_term_fuel_trim_bank_1=(0.5, 0.5),
        long_term_fuel_trim_bank_1=(at[0] - 0.5, at[1] - 0.5),
    )  # fmt: skip


def with_key_on(
    made: Recording, manifold_kpa: float, *, rest_pct: float = 16.0, seconds: float = 20.0
) -> Recording:
    """The recording with the key on and the engine off before it, the plate on its spring."""
    off = {
        "engine_speed": 0.0, "mass_air_flow": 0.0, "intake_manifold_pressure": manifold_kpa,
        "throttle_position": rest_pct, "fuel_system_status": 0.0,
        "short_term_fuel_trim_bank_1": 0.0,
    }  # fmt: skip
    series = {}
    for name, one in made.series.items():
        before_s = np.arange(0.1, seconds, 0.5)
        there = np.full(len(before_s), off.get(name, one.value[0]))
        series[name] = replace(
            one,
            time_s=np.concatenate([before_s, one.time_s + seconds]),
            value=np.concatenate([there, one.value]),
        )
    return replace(made, series=series)


def with_second_bank(
    made: Recording, factor: float = 1.0, *, status: float | None = None
) -> Recording:
    """The recording of an engine with two banks: the second one's trims stand at ``factor`` times
    the first one's; ``status`` is its fuel system's."""
    series = dict(made.series)
    for term in ("short", "long"):
        one = series[f"{term}_term_fuel_trim_bank_1"]
        name = f"{term}_term_fuel_trim_bank_2"
        series[name] = replace(one, name=name, time_s=one.time_s + 0.01, value=one.value * factor)
    if status is not None:
        one = series["fuel_system_status"]
        name = "fuel_system_status_bank_2"
        series[name] = replace(one, name=name, value=np.full(len(one.time_s), status))
    return replace(made, series=series)
