"""Simulated attempts at learning procedures, with the truth from exact times.

Independent of the judge: a person with jitter acts, a car answers with its lamp, a poller samples
pedal, speed, supply and coolant. The truth is taken from the exact moments by the windows written
here, never from samples. Windows are those of the packs; the moment of a press is where the pedal
crosses this car's own threshold, which nobody tells the judge.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from bellmouth.recording.series import Floats, Recording, Series

__all__ = ["Simulated", "simulate"]

_PRESSES = 5
_LAMP_BLINKS_S, _LAMP_STEADY_S = 10.0, 20.0


@dataclass(frozen=True)
class Simulated:
    """One attempt: what the judge gets, and the truth.

    ``margins_s`` holds the exact distance to the nearer edge of every window, by name;
    ``spoiled`` says what else was wrong (a count, a shallow press, a blip), empty where nothing.
    """

    procedure: str
    recording: Recording
    marks: dict[str, object]
    rate_hz: float
    jitter_s: float
    margins_s: dict[str, float]
    spoiled: str

    @property
    def met(self) -> bool:
        """Whether every window was met and nothing spoiled it."""
        return not self.spoiled and min(self.margins_s.values()) >= 0.0


@dataclass
class _Pedal:
    """Movements of the pedal: begin, end and depth, as shares of the travel."""

    moves: list[tuple[float, float, float]] = field(default_factory=list)
    ramp_s: float = 0.1
    threshold: float = 0.5

    def share(self, time: Floats) -> Floats:
        """How far down at each time, 0 to 1."""
        down = np.zeros(time.size)
        for begin, end, depth in self.moves:
            # ``begin`` and ``end`` are the crossings of the threshold, not where the foot moves.
            rise = begin - self.threshold * self.ramp_s
            fall = end + self.threshold * self.ramp_s
            up = np.clip((time - rise) / self.ramp_s, 0.0, 1.0)
            away = np.clip((fall - time) / self.ramp_s, 0.0, 1.0)
            down = np.maximum(down, np.minimum(up, away) * depth)
        return down


class _Go:
    """One attempt in the making: what happened when, and what it should have been."""

    def __init__(self, rng: np.random.Generator, jitter_s: float, *, normal: bool) -> None:
        self.rng, self.jitter_s, self.normal = rng, jitter_s, normal
        ramp, threshold = float(rng.uniform(0.06, 0.14)), float(rng.uniform(0.3, 0.75))
        self.pedal = _Pedal(ramp_s=ramp, threshold=threshold)
        self.on: list[tuple[float, float]] = []
        self.margins: dict[str, float] = {}
        self.spoiled = ""
        self.marks: dict[str, object] = {}
        self.start_s = float("inf")
        self.done_s = float("inf")
        self.end_s = 0.0

    def wait(self, aim_s: float) -> float:
        """A wait of about so long, as this person makes it. [s]"""
        off = self.rng.normal() if self.normal else self.rng.uniform(-1.0, 1.0)
        return max(0.05, float(aim_s + self.jitter_s * off))

    def window(self, name: str, took_s: float, least_s: float, most_s: float = 1e9) -> None:
        """Note the truth of one window."""
        self.margins[name] = min(took_s - least_s, most_s - took_s)

    def press(self, at_s: float, lasts_s: float, depth: float = 1.0) -> float:
        """One movement of the pedal; when it ends. [s]"""
        self.pedal.moves.append((at_s, at_s + lasts_s, depth))
        return at_s + lasts_s

    def mark(self, event: str, at_s: float) -> None:
        """A person marks what they saw, a little late. [s]"""
        self.marks[event] = at_s + float(self.rng.uniform(0.0, 0.25))


def _pattern(go: _Go, now_s: float) -> float:
    """Key on at ``now_s``, the presses and the wait after them; when the hold begins. [s]"""
    rng = go.rng
    waited = go.wait(3.0)
    go.window("key_on", waited, 2.5, 3.5)
    at = first = now_s + waited
    count = _PRESSES + int(rng.choice([0, -1, 1], p=[0.88, 0.06, 0.06]))
    shallow = int(rng.integers(count)) if rng.random() < 0.05 else -1
    period = 0.85 + float(rng.uniform(-0.15, 0.1))
    end = at
    for number in range(count):
        depth = float(rng.uniform(0.35, 0.6)) if number == shallow else 1.0
        down = float(np.clip(rng.normal(0.42, 0.04), 0.32, 0.55))
        end = go.press(at, down, depth)
        at = max(end + 0.2, at + period + float(rng.normal(0.0, 0.15 * go.jitter_s)))
    go.window("five_presses", end - first, 0.0, 5.0)
    if count - (shallow >= 0) != _PRESSES:
        go.spoiled = "count"
    waited = go.wait(7.0)
    if rng.random() < 0.04:
        go.press(end + waited * float(rng.uniform(0.3, 0.7)), 0.4)
        go.spoiled = "press in the wait"
    go.window("wait", waited, 6.5, 7.5)
    return end + waited


def _idle_air(go: _Go) -> str:
    """Idle air learning by pedal pattern."""
    rng = go.rng
    off = go.wait(11.0)
    go.window("key_off", off, 10.0)
    key_on = 4.0 + off
    hold = _pattern(go, key_on)
    slips = rng.random() < 0.08
    steady = hold + _LAMP_STEADY_S
    go.mark("lamp_blinks", hold + _LAMP_BLINKS_S)
    if slips:
        release = hold + _LAMP_BLINKS_S + abs(go.wait(1.0))
        go.spoiled = "let go at the first blink"
    else:
        release = max(steady + go.wait(1.0), hold + _LAMP_BLINKS_S + 0.5)
        go.window("let_go", release - steady, 0.0, 3.0)
    if release > steady:
        go.mark("lamp_steady", steady)
    go.press(hold, release - hold)
    started = go.wait(2.0)
    go.window("start", started, 0.0, 3.0)
    go.start_s = release + started
    idle = go.wait(22.0)
    running = go.start_s + 0.8
    go.window("idle", idle, 20.0)
    go.on = [(0.0, 4.0), (key_on, running + idle)]
    go.end_s = running + idle
    if rng.random() < 0.3:
        # The attempt is followed by key off and on, so that its end is on record.
        go.on.append((go.end_s + 5.0, go.end_s + 8.0))
        go.end_s += 8.0
    return "idle-air-learning-by-pedal"


def _memory_reset(go: _Go) -> str:
    """Memory reset by pedal pattern; a slip holds on until the lamp is steady."""
    rng = go.rng
    key_on = 4.0 + float(rng.uniform(5.0, 15.0))
    hold = _pattern(go, key_on)
    blinks = hold + _LAMP_BLINKS_S
    go.mark("lamp_blinks", blinks)
    reaction = go.wait(1.0)
    if rng.random() < 0.08:
        reaction = _LAMP_STEADY_S - _LAMP_BLINKS_S + go.wait(1.0)
        go.mark("lamp_steady", hold + _LAMP_STEADY_S)
    go.window("let_go", reaction, 0.0, 3.0)
    release = go.press(hold, blinks + reaction - hold)
    waited = go.wait(10.0)
    go.window("wait_again", waited, 9.0, 11.0)
    again = go.wait(11.0)
    go.window("second_hold", again, 10.0)
    release = go.press(release + waited, again)
    key_off = release + go.wait(2.0)
    off = go.wait(12.0)
    go.window("key_off", off, 10.0)
    go.on = [(0.0, 4.0), (key_on, key_off), (key_off + off, key_off + off + 4.0)]
    go.end_s = key_off + off + 4.0
    return "pedal-pattern-memory-reset"


def _released(go: _Go) -> str:
    """Pedal released position: two key cycles."""
    rng = go.rng
    at = 3.0 + float(rng.uniform(0.0, 10.0))
    first = at
    for turn in range(2):
        on, off = go.wait(3.0), go.wait(11.5)
        if rng.random() < 0.06:
            off = go.wait(4.0)
        go.window(f"on {turn}", on, 2.0)
        go.window(f"off {turn}", off, 10.0)
        go.on.append((at, at + on))
        if rng.random() < 0.04 and on > 1.5:
            go.press(at + 0.4 * on, 0.4)
            go.spoiled = "pedal pressed"
        at += on + off
    go.done_s = at
    go.on.append((at, at + 20.0))
    if first > 8.0:
        go.on.insert(0, (0.0, 1.5))
        go.on = [one for one in go.on if one[1] > one[0]]
    go.end_s = at + 20.0
    # A full press long afterwards shows where the floor is.
    go.press(at + 17.0, 1.5)
    return "pedal-released-position"


_KINDS: tuple[tuple[float, Callable[[_Go], str]], ...] = (
    (0.5, _idle_air),
    (0.3, _memory_reset),
    (0.2, _released),
)


def simulate(
    rng: np.random.Generator, rate_hz: float | None = None, *, normal: bool = False
) -> Simulated:
    """One simulated attempt.

    Parameters
    ----------
    rng
        Where chance comes from.
    rate_hz
        Samples of the pedal a second; None draws 3 to 25.
    normal
        Whether the jitter of 0 to 0.6 s is the standard deviation of a normal error, else every
        action is off by up to it, evenly.
    """
    jitter = float(rng.uniform(0.0, 0.6))
    go = _Go(rng, jitter, normal=normal)
    kind = _KINDS[int(rng.choice(len(_KINDS), p=[share for share, _ in _KINDS]))][1]
    name = kind(go)
    rate = float(np.exp(rng.uniform(np.log(3.0), np.log(25.0)))) if rate_hz is None else rate_hz
    blip = _blip(go) if rng.random() < 0.08 else None
    recording = _polled(go, rate, blip)
    return Simulated(name, recording, go.marks, rate, jitter, go.margins, go.spoiled)


def _blip(go: _Go) -> tuple[float, float] | None:
    """A dip of the supply while the key is on and the engine stands; from when to when. [s]"""
    rng = go.rng
    long = [
        (on, min(off, go.start_s))
        for on, off in go.on
        if min(off, go.start_s) - on > 6.0 and on < go.done_s
    ]
    if not long:
        return None
    on, off = max(long, key=lambda one: one[1] - one[0])
    begin = float(rng.uniform(on + 1.0, off - 4.0))
    if not go.spoiled:
        go.spoiled = "blip"
    return begin, begin + float(rng.uniform(1.1, 3.0))


def _polled(go: _Go, rate_hz: float, blip: tuple[float, float] | None) -> Recording:
    """What a poller sees: all in one row, or one parameter after another."""
    rng = go.rng
    step = 1.0 / rate_hz
    rows = int(go.end_s / step)
    tick = (np.arange(rows) + rng.uniform(-0.15, 0.15, rows)) * step
    together = rng.random() < 0.6
    lost = float(rng.choice([0.0, rng.uniform(0.0, 0.004)]))
    series = {}
    for place, (name, unit, value) in enumerate(_columns(go, blip)):
        time = tick if together else tick + place * step / 4.0
        awake = np.zeros(time.size, dtype=bool)
        for on, off in go.on:
            awake |= (time >= on) & (time < off)
        time = time[awake & (time >= 0.0) & (rng.random(time.size) >= lost)]
        series[name] = Series(name, unit, time, value(time))
    return Recording(series, "simulated")


def _columns(
    go: _Go, blip: tuple[float, float] | None
) -> list[tuple[str, str, Callable[[Floats], Floats]]]:
    rng = go.rng
    rest, full = float(rng.uniform(12, 18)), float(rng.uniform(70, 92))
    quantum = 100.0 / 255.0
    stop_s = next((off for on, off in go.on if on <= go.start_s < off), float("inf"))

    def pedal(time: Floats) -> Floats:
        noisy = rest + (full - rest) * go.pedal.share(time) + rng.normal(0.0, 0.15, time.size)
        return np.asarray(np.rint(noisy / quantum) * quantum)

    def speed(time: Floats) -> Floats:
        runs = 720.0 + rng.normal(0.0, 8.0, time.size)
        since = time - go.start_s
        found = np.where(since < 0.0, 0.0, np.where(since < 0.8, 210.0, runs))
        found = np.where(time < stop_s, found, 0.0)
        return np.asarray(np.rint(4.0 * found) / 4.0)

    def supply(time: Floats) -> Floats:
        since = time - go.start_s
        found = np.where(since < 0.0, 12.7, np.where(since < 0.8, 10.2, 14.1))
        found = np.where(time < stop_s, found, 12.6)
        if blip is not None:
            found = np.where((time >= blip[0]) & (time < blip[1]), 11.8, found)
        return np.asarray(found + rng.normal(0.0, 0.02, time.size))

    return [
        ("accelerator_pedal_position_d", "%", pedal),
        ("engine_speed", "rpm", speed),
        ("control_module_voltage", "V", supply),
        ("engine_coolant_temperature", "degC", lambda time: np.full(time.size, 84.0)),
    ]
