"""Recordings of attempts made from exact times, for the tests of the judge."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace

import numpy as np

from bellmouth.recording.series import Floats, Recording, Series

__all__ = ["Attempt", "idle_air", "joined", "recorded"]

_UNITS = {
    "accelerator_pedal_position_d": "%",
    "engine_speed": "rpm",
    "control_module_voltage": "V",
    "vehicle_speed": "km/h",
    "engine_coolant_temperature": "degC",
    "monitor_status": "bits",
}


@dataclass(frozen=True)
class Attempt:
    """What happened when. [s]

    ``on`` holds the stretches with the key on, ``presses`` when the pedal went down and up (and
    how far, 1 is the floor), ``engine`` when it ran; ``supply`` and ``speed`` are exceptions from
    12.6 V (14.1 V running) and standing still: from, to, value.
    """

    on: tuple[tuple[float, float], ...]
    presses: tuple[tuple[float, float, float], ...] = ()
    engine: tuple[tuple[float, float], ...] = ()
    supply: tuple[tuple[float, float, float], ...] = ()
    speed: tuple[tuple[float, float, float], ...] = ()
    marks: dict[str, object] = field(default_factory=dict)

    def later(self, by_s: float) -> "Attempt":
        """The same, later by so much; marks too."""
        return Attempt(
            tuple((a + by_s, b + by_s) for a, b in self.on),
            tuple((a + by_s, b + by_s, depth) for a, b, depth in self.presses),
            tuple((a + by_s, b + by_s) for a, b in self.engine),
            tuple((a + by_s, b + by_s, value) for a, b, value in self.supply),
            tuple((a + by_s, b + by_s, value) for a, b, value in self.speed),
            {name: at + by_s for name, at in self.marks.items() if isinstance(at, float)},
        )


def joined(first: Attempt, then: Attempt) -> Attempt:
    """Two attempts in one recording, with the marks of the second."""
    return Attempt(
        first.on + then.on,
        first.presses + then.presses,
        first.engine + then.engine,
        first.supply + then.supply,
        first.speed + then.speed,
        then.marks,
    )


def idle_air(
    *,
    off_s: float = 11.5,
    first_s: float = 3.0,
    presses: int = 5,
    period_s: float = 0.85,
    wait_s: float = 7.0,
    steady_s: float = 20.0,
    release_s: float = 1.0,
    start_s: float = 2.0,
    idle_s: float = 25.0,
    depth: float = 1.0,
) -> Attempt:
    """Idle air learning by pedal, every wait settable; the lamp blinks 10 s into the hold."""
    key_on = 4.0 + off_s
    first = key_on + first_s
    down = [
        (first + n * period_s, first + n * period_s + 0.4, depth if n == 1 else 1.0)
        for n in range(presses)
    ]
    hold = down[-1][1] + wait_s
    release = hold + steady_s + release_s
    start = release + start_s
    end = start + idle_s
    return Attempt(
        on=((0.0, 4.0), (key_on, end)),
        presses=(*down, (hold, release, 1.0)),
        engine=((start, end),),
        marks={"lamp_blinks": hold + 10.0, "lamp_steady": hold + steady_s},
    )


def recorded(
    attempt: Attempt,
    rate_hz: float = 20.0,
    *,
    together: bool = True,
    without: Iterable[str] = (),
    lamp: Callable[[Floats], Floats] | None = None,
    begins_s: float = 0.0,
) -> Recording:
    """The attempt as a poller sees it: nothing at all while the key is off."""
    end = max(off for _, off in attempt.on)
    tick = np.arange(int(end * rate_hz)) / rate_hz + 0.0137
    columns: dict[str, Callable[[Floats], Floats]] = {
        "accelerator_pedal_position_d": lambda time: _pedal(attempt, time),
        "engine_speed": lambda time: _speed(attempt, time),
        "control_module_voltage": lambda time: _supply(attempt, time),
        "vehicle_speed": lambda time: _exceptions(np.zeros(time.size), time, attempt.speed),
        "engine_coolant_temperature": lambda time: np.full(time.size, 85.0),
    }
    if lamp is not None:
        columns["monitor_status"] = lamp
    series = {}
    kept = [name for name in columns if name not in set(without)]
    for place, name in enumerate(kept):
        time = tick if together else tick + place / rate_hz / len(kept)
        awake = np.zeros(time.size, dtype=bool)
        for on, off in attempt.on:
            awake |= (time >= on) & (time < off)
        time = time[awake]
        series[name] = Series(name, _UNITS[name], time - begins_s, columns[name](time))
    return replace(Recording(series, "made"), begins_s=begins_s)


def _pedal(attempt: Attempt, time: Floats) -> Floats:
    share = np.zeros(time.size)
    for begin, end, depth in attempt.presses:
        share[(time >= begin) & (time < end)] = depth
    return np.asarray(15.0 + 65.0 * share)


def _speed(attempt: Attempt, time: Floats) -> Floats:
    speed = np.zeros(time.size)
    for begin, end in attempt.engine:
        speed[(time >= begin) & (time < end)] = 750.0
        speed[(time >= begin) & (time < begin + 0.6)] = 200.0
    return speed


def _supply(attempt: Attempt, time: Floats) -> Floats:
    supply = np.full(time.size, 12.6)
    for begin, end in attempt.engine:
        supply[(time >= begin) & (time < end)] = 14.1
        supply[(time >= begin) & (time < begin + 0.6)] = 10.1
    return _exceptions(supply, time, attempt.supply)


def _exceptions(
    value: Floats, time: Floats, exceptions: Iterable[tuple[float, float, float]]
) -> Floats:
    for begin, end, other in exceptions:
        value[(time >= begin) & (time < end)] = other
    return value
