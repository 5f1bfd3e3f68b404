"""What the mechanic should do next, and whether a stretch is steady and enough.

A stretch is steady when the recording itself holds it as one (``recording.stretches``), and
enough when longer would hardly tell more: fewer than ``LEAST_BITS`` in another ``MORE_S`` seconds
(:mod:`bellmouth.bus.expected`), not when a timer has run down.
"""

import functools
import tomllib
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from importlib import resources
from typing import Any

from bellmouth.bus.expected import View, gain_bits, view
from bellmouth.bus.points import splitting_point
from bellmouth.car.description import Car
from bellmouth.recording.series import Recording
from bellmouth.recording.state import STABLE_C_S, is_unplugged
from bellmouth.recording.steady import stretches
from bellmouth.recording.stretch import Stretch

__all__ = ["RUNNING_RPM", "Advice", "Guide", "Step", "asked_rpm", "course", "extras"]

# A stretch is enough when so many more seconds are expected to tell fewer bits than this.
MORE_S = 10.0
LEAST_BITS = 0.025
# Trims take about 7 s to settle (recording.steady); as long again, and they can be told. [s]
LEAST_S = 15.0
# Nobody holds a pedal for ever: an engine that stays restless is taken as it is. [s]
LONGEST_S = 90.0
# A held speed may be off by this share: what counts is that it is held.
SPEED_BAND = 0.12
# Key on, engine off: the sensors' coding is the limit, so a few readings are all there is to get.
OFF_S, OFF_READINGS = 4.0, 4
# A mechanic who leaves the engine running has passed the key-on reading over. [s]
PASSED_OVER_S = 30.0
# A further point that nobody goes to within so long is not waited for. [s]
PATIENCE_S = 45.0
# A stretch that goes on is found a few seconds late. [s]
LATE_S = 4.0
WARM_C = 70.0
# Without a coolant reading, an engine counts as warm after this long. [s]
BLIND_WARM_S = 60.0
RUNNING_RPM = 300.0
# Before an idle was seen the lowest speed passes for one; a pedal held this high does not.
FASTEST_IDLE_RPM = 1300.0


@dataclass(frozen=True)
class Step:
    """One thing to do; ``kind`` is what is awaited: off, warm, idle, idle_after (a held speed)
    or held."""

    name: str
    kind: str
    do: str
    why: str
    caution: str = ""
    speed_rpm: float | None = None


@dataclass(frozen=True)
class Advice:
    """What to do now and how far it has got.

    Attributes
    ----------
    step, number, of
        The step, which it is and of how many; ``step`` is None once all is recorded.
    hint
        What the car does now and what is still wanted, in a few words.
    share
        How much of the step is done, 0 to 1.
    steady
        Whether the operating point holds still.
    bits
        What another ``MORE_S`` seconds are expected to tell; NaN where that is not known yet.
    passed
        Names of the steps that are done, or were passed over, and why.
    """

    step: Step | None
    number: int
    of: int
    hint: str
    share: float = 0.0
    steady: bool = False
    bits: float = float("nan")
    passed: Mapping[str, str] = field(default_factory=dict)


@functools.cache
def _table() -> Mapping[str, list[dict[str, Any]]]:
    text = resources.files(__package__ or "").joinpath("guide.toml").read_text("utf-8")
    return tomllib.loads(text)


def course() -> tuple[Step, ...]:
    """The steps that every capture goes through."""
    return tuple(Step(**row) for row in _table()["step"])


def extras() -> tuple[Step, ...]:
    """Further points, asked for where they would split the causes still in play."""
    return tuple(Step(**row) for row in _table()["extra"])


def asked_rpm() -> tuple[int, ...]:
    """Every speed that a capture may ask to be held, rising. [rpm]"""
    asked = {step.speed_rpm for step in (*course(), *extras()) if step.speed_rpm}
    return tuple(sorted(round(rpm) for rpm in asked))


class Guide:
    """Looks at a recording as it grows, and says what to do next.

    Steps are asked for in their order, and taken in whatever order they come.

    Parameters
    ----------
    reported
        Parameters that the car reports.
    car, complaint
        For the finding that the recording is made for.
    """

    def __init__(self, reported: Collection[str], car: Car, complaint: str | None = None) -> None:
        self._car, self._complaint = car, complaint
        self._open = [step for step in course() if _can(step, reported)]
        self._extras = [step for step in extras() if _can(step, reported)]
        self._then_s = 0.0
        self._spent: dict[str, float] = {}
        self._told: dict[str, tuple[float, float]] = {}
        self._viewed = False
        self.passed: dict[str, str] = {}
        self.view: View | None = None

    @property
    def done(self) -> bool:
        """Whether nothing more is worth recording."""
        return not self._open

    @property
    def standing(self) -> bool:
        """Whether the engine is wanted standing now."""
        return bool(self._open) and self._open[0].kind == "off"

    def slept(self, seconds: float) -> None:
        """The computer slept for so long: nobody waited for anything. [s]"""
        self._then_s += seconds

    def look(self, recording: Recording, now_s: float) -> Advice:
        """Judge what was recorded until now; steps that are enough are done. [s]"""
        found = stretches(recording)
        here = _Here(recording, found, now_s, now_s - self._then_s)
        self._then_s, self._viewed = now_s, False
        judged: list[Advice] = []
        for step in tuple(self._open):
            advice = self._judge(step, here)
            if advice.share < 1.0:
                judged.append(advice)
                continue
            self.passed[step.name] = advice.hint
            self._open.remove(step)
            if not self._open:
                self._extend(found)
        if not self._open:
            done = len(self.passed)
            return Advice(None, done, done, "All is recorded.", 1.0, passed=dict(self.passed))
        first = judged[0] if judged else self._advice(self._open[0], "", 0.0)
        return next((advice for advice in judged if advice.steady), first)

    def _advice(self, step: Step, hint: str, share: float, **more: Any) -> Advice:
        share = min(max(share, 0.0), 1.0)
        number = len(self.passed) + 1
        of = len(self.passed) + len(self._open)
        return Advice(step, number, of, hint, share, passed=dict(self.passed), **more)

    def _judge(self, step: Step, here: "_Here") -> Advice:
        if step.kind == "off":
            return self._off(step, here)
        if step.kind == "warm":
            return self._warm(step, here)
        if self._open[0].kind == "warm":
            return self._advice(step, "once it is warm", 0.0)
        return self._point(step, here)

    def _spend(self, step: Step, seconds: float) -> float:
        """Time that went by while a step was wanted and the car was, or was not, there. [s]"""
        self._spent[step.name] = self._spent.get(step.name, 0.0) + seconds
        return self._spent[step.name]

    def _off(self, step: Step, here: "_Here") -> Advice:
        off = [stretch for stretch in here.found if stretch.kind == "engine off"]
        longest = max(off, key=lambda stretch: stretch.seconds, default=None)
        if longest is not None:
            reading = longest.readings.get("intake_manifold_pressure")
            share = min(longest.seconds / OFF_S, (reading.samples if reading else 0) / OFF_READINGS)
            if share >= 1.0 or not here.running:
                hint = f"engine off for {longest.seconds:.0f} s"
                return self._advice(step, hint, share, steady=not here.running)
        if here.speed is None:
            return self._advice(step, "waiting for the car to answer", 0.0)
        if not here.running:
            return self._advice(step, "leave it so for a few seconds", 0.0, steady=True)
        if self._spend(step, here.seconds) >= PASSED_OVER_S:
            return self._advice(step, "passed over, the engine was running", 1.0)
        return self._advice(step, "the engine runs: switch off, then the ignition on only", 0.0)

    def _warm(self, step: Step, here: "_Here") -> Advice:
        if not here.running:
            return self._advice(step, "waiting for the engine to run", 0.0)
        coolant = here.recording.get("engine_coolant_temperature")
        if coolant is None or is_unplugged(here.recording):
            share = self._spend(step, here.seconds) / BLIND_WARM_S
            left = max(BLIND_WARM_S * (1.0 - share), 0.0)
            return self._advice(step, f"no coolant reading; {left:.0f} s more", share)
        degrees = float(coolant.value[-1])
        begun = min(float(coolant.value[0]), WARM_C - 1.0)
        share = (degrees - begun) / (WARM_C - begun)
        if any(here.is_now(one) and _rests_warm(one) for one in here.found):
            share = 1.0
        return self._advice(
            step, f"coolant {degrees:.0f} degC ({WARM_C:.0f} degC is enough)", share
        )

    def _point(self, step: Step, here: "_Here") -> Advice:
        """An operating point: there, steady, and enough."""
        which = here.match(step)
        if which is None:
            return self._away(step, here)
        stretch = here.found[which]
        now = here.is_now(stretch)
        if not now and stretch.seconds < LEAST_S:
            return self._away(step, here)
        if stretch.seconds > LONGEST_S and self._seen(here) is None:  # nor will more of it tell
            return self._advice(step, f"steady for {stretch.seconds:.0f} s", 1.0, steady=now)
        if stretch.seconds < LEAST_S or self._seen(here) is None:
            share = 0.9 * min(stretch.seconds / LEAST_S, 1.0)
            return self._advice(step, f"steady for {stretch.seconds:.0f} s", share, steady=now)
        bits = self._bits(step, here, which)
        enough = bits < LEAST_BITS or stretch.seconds > LONGEST_S
        hint = f"steady for {stretch.seconds:.0f} s; {MORE_S:.0f} s more would tell {bits:.2f} bit"
        return self._advice(step, hint, 1.0 if enough else 0.95, steady=now, bits=bits)

    def _seen(self, here: "_Here") -> View | None:
        """What the recording says now, worked out once a look."""
        if not self._viewed:
            self.view = view(here.found, self._car, self._complaint) or self.view
            self._viewed = True
        return self.view

    def _bits(self, step: Step, here: "_Here", which: int) -> float:
        """What more of a stretch would tell; not asked again of one that has not grown. [bits]"""
        seconds = here.found[which].seconds
        before = self._told.get(step.name)
        if before is not None and before[0] == seconds:
            return before[1]
        bits = gain_bits(here.found, which, MORE_S, self._car, self._complaint, now=self.view)
        self._told[step.name] = (seconds, bits)
        return bits

    def _away(self, step: Step, here: "_Here") -> Advice:
        """Not there, or there and not still."""
        if not here.running or here.speed is None:
            return self._advice(step, "waiting for the engine to run", 0.0)
        wanted = step.speed_rpm
        off = wanted is not None and abs(here.speed - wanted) > SPEED_BAND * wanted
        if wanted is not None and off:
            more = "a little more pedal" if here.speed < wanted else "a little less pedal"
            hint = f"now {here.speed:,.0f} rpm: {more}"
        elif wanted is None:
            hint = f"now {here.speed:,.0f} rpm: foot off the pedal, let it settle"
        else:
            hint = f"now {here.speed:,.0f} rpm: hold it still"
        patience = PATIENCE_S if step in extras() else LONGEST_S
        waits = step is self._open[0] and (step in extras() or not off)
        if waits and self._spend(step, here.seconds) > patience:
            return self._advice(step, f"passed over, not steady within {patience:.0f} s", 1.0)
        return self._advice(step, hint, 0.0)

    def _extend(self, found: Sequence[Stretch]) -> None:
        """One more point, where one is expected to split the causes still in play."""
        best = splitting_point(found, self._extras, self._car, self.view)
        if best is not None:
            self._extras.remove(best)
            self._open.append(best)


@dataclass(frozen=True)
class _Here:
    """The recording as it is now, and the seconds since it was last looked at."""

    recording: Recording
    found: Sequence[Stretch]
    now_s: float
    seconds: float

    @property
    def speed(self) -> float | None:
        """The last engine speed; None where it is old or was never read. [rpm]"""
        series = self.recording.get("engine_speed")
        if series is None or self.now_s - float(series.time_s[-1]) > LATE_S:
            return None
        return float(series.value[-1])

    @property
    def running(self) -> bool:
        """Whether the engine runs now."""
        return self.speed is not None and self.speed >= RUNNING_RPM

    def is_now(self, stretch: Stretch) -> bool:
        """Whether the car is still in a stretch."""
        return stretch.end_s >= self.now_s - LATE_S

    def match(self, step: Step) -> int | None:
        """The stretch that is what a step wants: the one going on, else the longest."""
        fitting = [number for number, one in enumerate(self.found) if self._fits(step, one)]
        now = [number for number in fitting if self.is_now(self.found[number])]
        return max(now or fitting, key=lambda number: self.found[number].seconds, default=None)

    def _fits(self, step: Step, stretch: Stretch) -> bool:
        if stretch.warm is False or stretch.kind == "engine off":
            return False
        wanted, speed = step.speed_rpm, stretch.value("engine_speed")
        if wanted is not None:
            return _raised(stretch) and abs(speed - wanted) <= SPEED_BAND * wanted
        if stretch.kind != "idle" or speed > FASTEST_IDLE_RPM:
            return False
        if step.kind == "idle_after":
            return any(_raised(one) and one.end_s <= stretch.start_s for one in self.found)
        return step.kind == "idle"


def _rests_warm(stretch: Stretch) -> bool:
    """Whether an engine that is warm enough for a finding gets no warmer, as where the thermostat
    never closes."""
    coolant = stretch.readings.get("engine_coolant_temperature")
    long = stretch.seconds >= 2 * LEAST_S
    return bool(stretch.warm and long and coolant and abs(coolant.drift_per_s) < STABLE_C_S)


def _raised(stretch: Stretch) -> bool:
    """Whether a speed is held; over an idle of 935 rpm one of 1,500 takes so little pedal that the
    foot seems to be off it."""
    return stretch.kind == "held" or stretch.value("engine_speed") > FASTEST_IDLE_RPM


def _can(step: Step, reported: Collection[str]) -> bool:
    """Whether the car reports what the step is for."""
    pressures = ("intake_manifold_pressure", "intake_manifold_pressure_a_extended")
    return step.kind != "off" or any(name in reported for name in pressures)
