"""The judge, which sees only polled signals, against the practice controller's own verdict.

Never *met* for a go that the controller refused, never *missed* for one that it took.
"""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
import pytest

from bellmouth.learning import judge
from bellmouth.learning.judgement import Judgement
from bellmouth.practice.ignition import Key
from bellmouth.practice.learning_logic import Effects, Learned, LearningLogic
from bellmouth.practice.verdicts import Senses
from bellmouth.recording.series import Recording, Series

TICK_S = 0.02
Row = tuple[float, str, float]


@dataclass
class Bench:
    """The controller's logic, moved tick by tick, and what a poller read of it meanwhile."""

    rows: Iterable[Row]
    until_s: float
    rate_hz: float
    read: list[tuple[float, float, float, float]] = field(default_factory=list)
    lamps: list[tuple[float, str]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.logic = LearningLogic(
            Learned(),
            Effects(
                learn_idle=lambda _: None,
                reset=lambda: None,
                store=lambda: None,
                closed_pct=lambda: 12.5,
            ),
        )
        self._go()

    def _go(self) -> None:
        todo = sorted(self.rows)
        s = Senses(coolant_c=88.0, intake_c=30.0)
        started, poll_s = None, 0.0
        while s.now_s < self.until_s:
            s.now_s = round(s.now_s + TICK_S, 6)
            while todo and todo[0][0] <= s.now_s + 1e-9:
                _, name, value = todo.pop(0)
                setattr(s, name, Key(int(value)) if name == "key" else value)
            if s.key == Key.START and started is None:
                started = s.now_s
            if s.key < Key.ON:
                started = None
            s.cranking = started is not None and s.now_s < started + 0.5
            s.running = started is not None and not s.cranking
            s.voltage_v = 14.2 if s.running else 10.4 if s.cranking else 12.6
            self.logic.tick(s)
            lamp = self.logic.lamp or "-"
            if not self.lamps or self.lamps[-1][1] != lamp:
                self.lamps.append((s.now_s, lamp))
            if s.now_s >= poll_s:
                poll_s += 1.0 / self.rate_hz
                if s.key >= Key.ON:
                    speed = 740.0 if s.running else 210.0 if s.cranking else 0.0
                    self.read.append((s.now_s, 15.0 + 0.65 * s.pedal_pct, speed, s.voltage_v))

    def recording(self) -> Recording:
        columns = np.array(self.read).T
        names = (
            ("accelerator_pedal_position_d", "%"),
            ("engine_speed", "rpm"),
            ("control_module_voltage", "V"),
        )
        return Recording(
            {
                name: Series(name, unit, columns[0], column)
                for (name, unit), column in zip(names, columns[1:], strict=True)
            },
            "practice car",
        )

    def marks(self, rng: np.random.Generator) -> dict[str, object]:
        """What somebody who watches the lamp marks, a little late."""
        names = {"blinking": "lamp_blinks", "on": "lamp_steady"}
        found: dict[str, object] = {}
        for at, lamp in self.lamps:
            if lamp in names and names[lamp] not in found:
                found[names[lamp]] = at + float(rng.uniform(0.0, 0.25))
        return found or {"lamp_blinks": None, "lamp_steady": None}


def _pattern(rng: np.random.Generator, off_s: float, *, reset: bool) -> tuple[list[Row], float]:
    jitter = float(rng.uniform(0.0, 0.6))

    def about(seconds: float) -> float:
        return max(0.1, seconds + float(rng.uniform(-jitter, jitter)))

    on = 3.0 + off_s
    rows: list[Row] = [(0.1, "key", Key.ON), (3.0, "key", Key.OFF), (on, "key", Key.ON)]
    at = on + about(3.0)
    up = at
    for _ in range(int(rng.choice([5, 5, 5, 5, 5, 5, 5, 4, 6]))):
        up = at + float(rng.uniform(0.3, 0.45))
        rows += [(at, "pedal_pct", 100.0), (up, "pedal_pct", 0.0)]
        at += float(rng.uniform(0.75, 1.05))
    hold = up + about(7.0)
    early = rng.random() < 0.1
    let_go = hold + (10.0 if reset or early else 20.0) + about(1.0)
    rows += [(hold, "pedal_pct", 100.0), (let_go, "pedal_pct", 0.0)]
    if reset:
        again = let_go + about(10.0)
        end = again + about(10.7)
        rows += [(again, "pedal_pct", 100.0), (end, "pedal_pct", 0.0)]
        off = end + 2.0
        back = off + about(10.7)
        rows += [(off, "key", Key.OFF), (back, "key", Key.ON)]
        return rows, back + 3.0
    start = let_go + about(2.0)
    rows.append((start, "key", Key.START))
    end = start + 0.5 + about(20.8)
    if rng.random() < 0.15:
        touched = start + float(rng.uniform(3.0, 18.0))
        rows += [(touched, "pedal_pct", 12.0), (touched + 0.6, "pedal_pct", 0.0)]
    rows += [(end, "key", Key.OFF), (end + 4.0, "key", Key.ON)]
    return rows, end + 6.0


def _pair(seed: int, *, reset: bool) -> tuple[bool, Judgement]:
    rng = np.random.default_rng(seed)
    rows, until = _pattern(rng, float(rng.uniform(9.5, 13.0)), reset=reset)
    bench = Bench(rows, until, float(rng.choice([8.0, 10.0, 20.0])))
    kind = "memory_reset" if reset else "idle_air"
    took = any(one.met for one in bench.logic.verdicts if one.procedure == kind)
    return took, judge(bench.recording(), "P1" if reset else "P4", bench.marks(rng))


@pytest.mark.parametrize("reset", [False, True])
def test_the_judge_never_contradicts_the_controller(reset: bool) -> None:
    counts: Counter[tuple[bool, str]] = Counter()
    for seed in range(16):
        took, judged = _pair(seed, reset=reset)
        counts[took, judged.judgement] += 1
        lines = [
            (line.step, line.margin, line.why)
            for line in judged.steps
            if line.judgement == "missed"
        ]
        assert (took, judged.judgement) != (False, "met"), seed
        assert (took, judged.judgement) != (True, "missed"), (seed, lines)
    assert counts[True, "met"] >= 2
    assert counts[False, "missed"] >= 2
