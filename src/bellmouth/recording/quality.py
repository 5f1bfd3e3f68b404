"""Is a recording good enough, and for what? Rate, gaps, resolution, range, and what is missing."""

import functools
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from importlib import resources

import numpy as np
from numpy.typing import NDArray

from bellmouth.j1979.codes import CLOSED_LOOP
from bellmouth.recording.grid import OFF_RPM
from bellmouth.recording.plateaus import SHORTEST_CORE
from bellmouth.recording.quantum import quantum
from bellmouth.recording.series import Floats, Recording, Series
from bellmouth.recording.stalled import stood_still
from bellmouth.recording.stand_ins import with_stand_ins
from bellmouth.recording.state import UNPLUGGED_C, is_unplugged
from bellmouth.recording.steady import stretches
from bellmouth.recording.stretch import BANKS, Kind, Stretch
from bellmouth.recording.stuck import METERS, PRESSURES, is_left_out, is_stuck, without_stuck

__all__ = [
    "Missing", "ParameterQuality", "Piece", "Quality", "assess", "dead_sensors", "impossible",
    "is_air_temperature",
]  # fmt: skip

# Slower than this in all, a stretch of ten seconds holds too few samples of each parameter.
SLOWEST_PER_S = 3.0
_FLOW, _MANIFOLD = "mass_air_flow", "intake_manifold_pressure"
# Without a sample of anything for this long, the recording has a hole. [s]
HOLE_S = 5.0
# A sensor whose wires touch reads more degC than an intake breathes: common practice, no source.
_SHORTED_C = 120.0
_MANY = 0.1  # of the samples; single ones are noise on the line


@dataclass(frozen=True)
class ParameterQuality:
    """How well one parameter was recorded.

    ``samples_per_s`` [1/s]; ``longest_gap_s`` between its samples [s]; ``quantum``, ``least``
    and ``most`` in its unit; ``dropped`` counts impossible samples left out; ``stuck``: never
    moved although it should have.
    """

    name: str
    unit: str
    samples: int
    samples_per_s: float
    longest_gap_s: float
    quantum: float
    least: float
    most: float
    dropped: int
    stuck: bool


@dataclass(frozen=True)
class Piece:
    """A steady stretch in short. [s], [rpm]"""

    kind: Kind
    start_s: float
    end_s: float
    engine_speed_rpm: float | None
    warm: bool | None
    closed_loop: bool | None


@dataclass(frozen=True)
class Missing:
    """Something not recorded, the causes that suffer, and how."""

    what: str
    causes: tuple[str, ...]
    why: str


@dataclass(frozen=True)
class Quality:
    """What a recording is good for. ``warnings`` are whole sentences, the gravest first;
    ``notes`` what the reader mended; ``usable`` whether a finding can be asked of it at all."""

    source: str
    usable: bool
    seconds: float
    samples_per_s: float
    parameters: tuple[ParameterQuality, ...]
    stretches: tuple[Piece, ...]
    missing: tuple[Missing, ...]
    warnings: tuple[str, ...]
    notes: tuple[str, ...]
    unmapped: tuple[str, ...]


def assess(recording: Recording) -> Quality:
    """Judge a recording, parameter by parameter and as a whole."""
    found = stretches(recording)
    seconds = max(float(series.time_s[-1]) for series in recording.series.values())
    parameters = tuple(_parameter(recording, series) for series in recording.series.values())
    told = with_stand_ins(without_stuck(recording))
    missing = tuple(need for need, names in _needs() if not any(n in told for n in names))
    reasons = _unusable(recording, found)
    warnings = (
        *reasons,
        *impossible(recording),
        *_holes(recording),
        *_slow(recording),
        *dead_sensors(recording),
        *stood_still(recording),
        *_coverage(recording, found),
    )
    return Quality(
        source=recording.source,
        usable=not reasons,
        seconds=seconds,
        samples_per_s=recording.samples_per_s,
        parameters=parameters,
        stretches=tuple(_piece(stretch) for stretch in found),
        missing=missing,
        warnings=warnings,
        notes=recording.notes,
        unmapped=recording.unmapped,
    )


def impossible(recording: Recording) -> list[str]:
    """A sentence for each parameter of which much was dropped as out of range: that is more often
    a wrong unit than a broken sensor. One left out altogether is among the notes."""
    return [
        f"{name}: {dropped} impossible samples were left out. Is the unit in its header right?"
        for name, dropped in recording.dropped.items()
        if name in recording and dropped > 0.2 * (dropped + recording.series[name].value.size)
    ]


def _parameter(recording: Recording, series: Series) -> ParameterQuality:
    time = series.time_s
    seconds = float(time[-1] - time[0])
    return ParameterQuality(
        name=series.name,
        unit=series.unit,
        samples=time.size,
        samples_per_s=(time.size - 1) / seconds if seconds > 0 else 0.0,
        longest_gap_s=float(np.diff(time).max()) if time.size > 1 else 0.0,
        quantum=quantum(series),
        least=float(series.value.min()),
        most=float(series.value.max()),
        dropped=recording.dropped.get(series.name, 0),
        stuck=is_stuck(recording, series),
    )


def _piece(stretch: Stretch) -> Piece:
    rpm = stretch.readings.get("engine_speed")
    return Piece(
        stretch.kind,
        stretch.start_s,
        stretch.end_s,
        None if rpm is None else rpm.value,
        stretch.warm,
        stretch.closed_loop,
    )


def _unusable(recording: Recording, found: tuple[Stretch, ...]) -> list[str]:
    """Reasons why no finding can be asked of it."""
    speed = recording.get("engine_speed")
    if speed is None:
        return ["Engine speed was not recorded: no operating point can be found."]
    if speed.value.max() < OFF_RPM:
        return ["The engine was off throughout: record it idling, warm, for at least a minute."]
    seconds = max(float(series.time_s[-1]) for series in recording.series.values())
    if seconds < SHORTEST_CORE:
        return [f"It lasts {seconds:.2g} s by its clock: if it was longer, look at its unit."]
    running = [stretch for stretch in found if stretch.kind != "engine off"]
    if not running:
        return ["Nothing held still for long enough: record at least half a minute of warm idle."]
    if all(stretch.warm is False for stretch in running):
        return ["The engine was cold throughout: record it again at working temperature."]
    return _airless(recording)


def _airless(recording: Recording) -> list[str]:
    """Why nothing in it tells how much air the engine breathes, whichever way the car meters it."""
    told = with_stand_ins(without_stuck(recording))
    if any(name in told and not is_stuck(told, told.series[name]) for name in (_FLOW, _MANIFOLD)):
        return []
    if any(name in recording for name in (*METERS, *PRESSURES)):
        return [
            "What should tell how much air the engine breathes is stuck: no finding can be made of "
            "it. Look at the sensor, its plug and its wires, and record again."
        ]
    return [
        "Neither airflow nor manifold pressure was recorded: nothing tells how much air the engine "
        "breathes, and no finding can be made of it."
    ]


def _holes(recording: Recording) -> list[str]:
    """Times at which nothing at all was recorded."""
    time = np.unique(np.concatenate([series.time_s for series in recording.series.values()]))
    gaps = np.diff(time)
    holes = np.flatnonzero(gaps > HOLE_S)
    if not holes.size:
        return []
    longest = int(gaps.argmax())
    times = "once" if holes.size == 1 else f"{holes.size} times"
    return [
        f"Nothing was recorded for more than {HOLE_S:g} s {times}; the longest hole is "
        f"{gaps[longest]:.0f} s, from {time[longest]:.0f} s on."
    ]


def _slow(recording: Recording) -> list[str]:
    if recording.samples_per_s >= SLOWEST_PER_S:
        return []
    return [
        f"Only {recording.samples_per_s:.1f} samples a second in all: record fewer parameters, "
        "or use a faster adapter."
    ]


def dead_sensors(recording: Recording) -> list[str]:
    """A sentence for each parameter that never moved although it should have, and for temperatures
    that only a sensor without its plug shows."""
    found = []
    for name, series in recording.series.items():
        level = f"{series.value.min():g} {series.unit}"
        if is_left_out(recording, series):
            found.append(
                f"{name} stayed at {level} while engine speed changed: stuck, and left out."
            )
        elif is_stuck(recording, series):
            found.append(f"{name} stayed at {level} while engine speed changed: stuck.")
    if is_unplugged(recording):
        coolant = recording.series["engine_coolant_temperature"]
        found.append(
            f"{coolant.name} reads {coolant.value.min():.0f} degC, as it does where its sensor is "
            "unplugged, and is not believed: whether the engine was warm nobody tells. Look at its "
            "plug."
        )
    air = recording.get("intake_air_temperature")
    if air is not None:
        beyond = air.value[~is_air_temperature(air.value)]
        if beyond.size > _MANY * air.value.size:
            found.append(
                f"{air.name} reads {beyond[0]:.0f} degC, as it does where its sensor is "
                "unplugged or shorted, and is not believed. Look at its plug; the car file may say "
                "ambient_air_temperature_c meanwhile."
            )
    return found


def is_air_temperature(value_c: Floats) -> NDArray[np.bool_]:
    """Where a reading can be the temperature of air that an engine breathes. [degC]"""
    return np.asarray((value_c > UNPLUGGED_C) & (value_c < _SHORTED_C))


def _coverage(recording: Recording, found: tuple[Stretch, ...]) -> list[str]:
    """Operating points that were not recorded."""
    kinds = {stretch.kind for stretch in found}
    warnings = []
    if not kinds & {"idle"} and kinds - {"engine off"}:
        warnings.append("No idle was found: deposits, stale learning and leaks show there most.")
    if "idle" in kinds and not kinds & {"held", "drive"}:
        warnings.append(
            "Idle alone was recorded: a leak and a meter or fuel error are told apart by how trim "
            "changes with airflow. Record 1500 and 2500 rpm as well, half a minute each."
        )
    if found and all(stretch.closed_loop is False for stretch in found):
        warnings.append(
            "In every stretch that held still the engine ran in open loop for more than a fifth of "
            "the time: trims say nothing. Record a minute more of it in closed loop."
            if _ever_closed(recording)
            else "The engine ran in open loop throughout: trims say nothing."
        )
    warnings.extend(
        f"Bank {bank} ran in open loop throughout: its trims say nothing."
        for bank in BANKS
        if _open_throughout(found, bank)
    )
    # A key-on stretch tells by the manifold sensor, where it was read.
    told = any(s.kind == "engine off" and _MANIFOLD in s.readings for s in found)
    if not told and "barometric_pressure" not in recording:
        warnings.append(
            "Neither barometric pressure nor the key-on, engine-off pressure was recorded: "
            "record the first seconds with the key on before starting."
        )
    return warnings


def _ever_closed(recording: Recording) -> bool:
    """Whether the controller ever says that it corrects the mixture."""
    status = recording.get("fuel_system_status")
    return status is not None and bool(np.isin(status.value, CLOSED_LOOP).any())


def _open_throughout(found: Sequence[Stretch], bank: int) -> bool:
    """Whether a bank never ran in closed loop, though the other did."""
    running = [stretch for stretch in found if stretch.kind != "engine off"]
    whole = all(stretch.closed_loop is False for stretch in running)
    return bool(running) and not whole and all(bank in one.open_banks for one in running)


@functools.cache
def _needs() -> tuple[tuple[Missing, tuple[str, ...]], ...]:
    text = resources.files(__package__).joinpath("needs.toml").read_text("utf-8")
    return tuple(
        (Missing(need["what"], tuple(need["causes"]), need["why"]), tuple(need["any"]))
        for need in tomllib.loads(text)["need"]
    )
