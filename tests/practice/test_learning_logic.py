"""The practice controller's learning logic takes only when every window is met."""

import itertools
from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
import pytest

from bellmouth.practice.ignition import Key
from bellmouth.practice.learning_logic import BLINK_S, Effects, Learned, LearningLogic
from bellmouth.practice.verdicts import Senses, Verdict, windows

TICK_S = 0.02
Row = tuple[float, str, float]


def warm() -> Senses:
    return Senses(coolant_c=88.0, intake_c=30.0)


@dataclass
class Bench:
    """Learning logic on a bench: the key and pedal are moved, the engine is pretended."""

    learned: Learned = field(default_factory=Learned)
    done: list[str] = field(default_factory=list)
    tick_s: float = TICK_S

    def __post_init__(self) -> None:
        effects = Effects(
            learn_idle=lambda seconds: self.done.append(f"learn idle {seconds:g}"),
            reset=lambda: self.done.append("reset"),
            store=lambda: self.done.append("store"),
            closed_pct=lambda: 12.5,
            unlearn_idle=lambda: self.done.append("unlearn idle"),
        )
        self.logic = LearningLogic(self.learned, effects)
        self.senses = warm()
        self.lamps: list[tuple[float, str]] = []
        self.moved: list[float] = []
        self._started_s: float | None = None

    def go(self, rows: Iterable[Row], until_s: float) -> "Bench":
        """Set senses at their times: ``key``, ``pedal_pct``, ``load`` and so on."""
        todo = sorted(rows, key=lambda row: row[0])
        s = self.senses
        while s.now_s < until_s:
            s.now_s = round(s.now_s + self.tick_s, 6)
            while todo and todo[0][0] <= s.now_s + 1e-9:
                _, name, value = todo.pop(0)
                setattr(s, name, Key(int(value)) if name == "key" else value)
            self._engine()
            self.logic.tick(s)
            self._watch()
        return self

    def _engine(self) -> None:
        """Half a second of starter, then it runs until the key is off."""
        s = self.senses
        if s.key == Key.START and self._started_s is None:
            self._started_s = s.now_s
        if s.key < Key.ON:
            self._started_s = None
        s.cranking = self._started_s is not None and s.now_s < self._started_s + 0.5
        s.running = self._started_s is not None and not s.cranking
        s.voltage_v = 14.2 if s.running else 12.6 if s.voltage_v > 14.0 else s.voltage_v

    def _watch(self) -> None:
        lamp = self.logic.lamp or "-"
        if not self.lamps or self.lamps[-1][1] != lamp:
            self.lamps.append((self.senses.now_s, lamp))
        if self.logic.plate_pct(self.senses.now_s) is not None:
            self.moved.append(self.senses.now_s)

    def of(self, procedure: str) -> list[Verdict]:
        return [v for v in self.logic.verdicts if v.procedure == procedure]

    def took(self, procedure: str) -> bool:
        return any(v.met for v in self.of(procedure))


@dataclass(frozen=True)
class Pattern:
    """A go at the pedal pattern; times of the idle-air learning as the trade tells them."""

    first: float = 3.0
    presses: int = 5
    every: float = 0.8
    down: float = 0.4
    wait: float = 7.0
    hold: float = 21.0
    start: float | None = 1.5
    idle: float = 25.0
    full: float = 100.0

    def rows(self, begin_s: float = 12.0) -> tuple[list[Row], float]:
        rows: list[Row] = [(begin_s, "key", Key.ON)]
        at = begin_s + self.first
        up = at
        for _ in range(self.presses):
            up = at + self.down
            rows += [(at, "pedal_pct", self.full), (up, "pedal_pct", 0.0)]
            at += self.every
        held = up + self.wait
        let_go = held + self.hold
        rows += [(held, "pedal_pct", 100.0), (let_go, "pedal_pct", 0.0)]
        end = let_go
        if self.start is not None:
            end = let_go + self.start + self.idle
            rows += [(let_go + self.start, "key", Key.START), (end, "key", Key.OFF)]
        return rows, end

    def on(self, bench: Bench, *more: Row) -> Bench:
        rows, end = self.rows()
        return bench.go([*rows, *more], end + 12.0)


def test_idle_air_is_learned_when_all_is_done_in_time() -> None:
    bench = Pattern().on(Bench(Learned(idle=False)))
    assert bench.took("idle_air")
    assert bench.logic.learned.idle
    assert bench.done == ["learn idle 60", "store"]


def test_the_lamp_blinks_at_ten_seconds_and_stays_on_at_twenty() -> None:
    bench = Pattern().on(Bench())
    held = 12.0 + 3.0 + 4 * 0.8 + 0.4 + 7.0
    (_, dark), (blinks, blinking), (steady, on), (out, dark_again) = bench.lamps
    assert (dark, blinking, on, dark_again) == ("-", "blinking", "on", "-")
    assert blinks == pytest.approx(held + 10.0, abs=2 * TICK_S)
    assert steady == pytest.approx(held + 20.0, abs=2 * TICK_S)
    assert out == pytest.approx(held + 21.0 + 1.5 + 0.5 + 20.0, abs=3 * TICK_S)


def test_a_blinking_lamp_is_lit_half_of_the_time() -> None:
    bench = Bench()
    rows, _ = Pattern().rows()
    bench.go(rows, 12.0 + 3.0 + 3.6 + 7.0 + 10.1)
    lit = [bench.logic.lit(bench.senses.now_s + k * BLINK_S / 20) for k in range(40)]
    assert lit.count(True) == 20


@pytest.mark.parametrize(
    ("go", "step", "measured"),
    [
        (Pattern(first=2.4), "first press", 2.4),
        (Pattern(first=3.6), "first press", 3.6),
        (Pattern(every=1.2), "presses", 5.2),
        (Pattern(presses=4), "presses", None),
        (Pattern(presses=6), "wait", 0.4),
        (Pattern(wait=6.4), "wait", 6.4),
        (Pattern(wait=7.6), "wait", 7.6),
        (Pattern(hold=9.8, start=None), "hold", 9.8),
        (Pattern(hold=15.0, start=None), "hold", 15.0),
        (Pattern(hold=23.2), "release", 3.2),
        (Pattern(start=3.2), "start", 3.2),
        (Pattern(idle=19.0), "idle", 18.5),
    ],
)
def test_idle_air_names_the_step_that_was_missed(
    go: Pattern, step: str, measured: float | None
) -> None:
    verdicts = go.on(Bench()).of("idle_air")
    assert [v.met for v in verdicts] == [False]
    assert verdicts[0].step == step
    if measured is not None:
        assert verdicts[0].measured_s == pytest.approx(measured, abs=3 * TICK_S)
        assert verdicts[0].window is not None
        assert not verdicts[0].window.holds(measured)


@pytest.mark.parametrize(
    ("change", "step"),
    [
        ((20.0, "load", 0.5), "loads"),
        ((20.0, "coolant_c", 66.0), "coolant"),
        ((20.0, "coolant_c", 97.0), "coolant"),
        ((20.0, "voltage_v", 12.2), "voltage"),
        ((20.0, "road_kmh", 2.0), "speed"),
        ((20.0, "codes_stored", 1.0), "codes"),
    ],
)
def test_a_condition_lost_for_a_moment_keeps_the_lamp_blinking(change: Row, step: str) -> None:
    at_s, name, _ = change
    before = getattr(warm(), name)
    bench = Pattern().on(Bench(), change, (at_s + 0.2, name, before))
    assert [(v.met, v.step) for v in bench.of("idle_air")] == [(False, step)]
    assert "on" not in {lamp for _, lamp in bench.lamps}


@pytest.mark.parametrize(
    ("learned", "step"),
    [
        (Learned(pedal_released_pct=None), "released position"),
        (Learned(closed_position_pct=None), "closed position"),
    ],
)
def test_idle_air_wants_pedal_and_plate_learned_first(learned: Learned, step: str) -> None:
    assert [v.step for v in Pattern().on(Bench(learned)).of("idle_air")] == [step]


def test_a_short_key_off_before_is_not_enough() -> None:
    bench = Bench().go([(1.0, "key", Key.ON), (4.0, "key", Key.OFF)], 5.0)
    assert [v.step for v in Pattern().on(bench).of("idle_air")] == ["off before"]


def test_touching_the_pedal_while_it_idles_loses_it() -> None:
    _, end = Pattern().rows()
    touch = (end - 15.0, "pedal_pct", 8.0)
    bench = Pattern().on(Bench(), touch, (end - 14.9, "pedal_pct", 0.0))
    assert [(v.met, v.step) for v in bench.of("idle_air")] == [(False, "pedal touched")]
    assert bench.done == ["learn idle 60", "unlearn idle", "store"]


def test_an_idle_out_of_reach_is_not_learned() -> None:
    bench = Pattern().on(Bench(), (1.0, "idle_off_rpm", 250.0))
    assert [(v.met, v.step) for v in bench.of("idle_air")] == [(False, "idle out of reach")]


def test_shallow_presses_do_not_count() -> None:
    assert not Pattern(full=70.0).on(Bench()).took("idle_air")


def test_one_press_with_the_key_on_is_nobodys_attempt() -> None:
    rows = [(1.0, "key", 2.0), (2.0, "pedal_pct", 100.0), (3.0, "pedal_pct", 0.0)]
    bench = Bench().go([*rows, (6.0, "key", 0.0)], 8.0)
    assert bench.of("idle_air") == bench.of("memory_reset") == []


def reset_rows(
    hold: float = 11.0, wait: float = 10.0, again: float = 11.0, off: float = 12.0
) -> tuple[list[Row], float]:
    rows, let_go = Pattern(hold=hold, start=None).rows()
    press = let_go + wait
    gone = press + again + 2.0
    rows += [(press, "pedal_pct", 100.0), (press + again, "pedal_pct", 0.0), (gone, "key", 0.0)]
    return [*rows, (gone + off, "key", 2.0)], gone + off + 0.5


def test_the_memory_is_reset_when_all_is_done_in_time() -> None:
    rows, end = reset_rows()
    bench = Bench().go(rows, end)
    assert bench.took("memory_reset")
    assert "reset" in bench.done
    assert [(v.met, v.step) for v in bench.of("idle_air")] == [(False, "hold")]


@pytest.mark.parametrize(
    ("changed", "step", "measured"),
    [
        ({"hold": 9.5}, "hold", 9.5),
        ({"hold": 13.5}, "release", 3.5),
        ({"wait": 8.5}, "second wait", 8.5),
        ({"wait": 11.5}, "second wait", 11.5),
        ({"again": 9.5}, "second hold", 9.5),
        ({"off": 9.5}, "off", 9.5),
    ],
)
def test_the_memory_reset_names_the_step_that_was_missed(
    changed: dict[str, float], step: str, measured: float
) -> None:
    rows, end = reset_rows(**changed)
    bench = Bench().go(rows, end)
    (verdict,) = bench.of("memory_reset")
    assert (verdict.met, verdict.step) == (False, step)
    assert verdict.measured_s == pytest.approx(measured, abs=3 * TICK_S)
    assert "reset" not in bench.done


def cycles(*lengths: float) -> tuple[list[Row], float]:
    """Key on, off, on, off …: how long each lasts, beginning at 1 s."""
    edges = list(itertools.accumulate((1.0, *lengths)))
    keys = itertools.cycle((2.0, 0.0))
    return [(at, "key", key) for at, key in zip(edges, keys, strict=False)], edges[-1]


@pytest.mark.parametrize(
    ("lengths", "step"),
    [
        ((3.0, 11.0, 3.0, 11.0), None),
        ((2.0, 10.0, 2.0, 10.02), None),
        ((1.5, 11.0, 3.0, 11.0), "on"),
        ((3.0, 9.0, 3.0, 11.0), "off"),
        ((3.0, 11.0, 1.5, 11.0), "on"),
        ((3.0, 11.0, 3.0, 9.0), "off"),
    ],
)
def test_the_released_position_wants_key_on_and_off_twice(
    lengths: tuple[float, ...], step: str | None
) -> None:
    rows, end = cycles(*lengths)
    bench = Bench(Learned(pedal_released_pct=None)).go(rows, end + 0.5)
    assert bench.took("pedal_released") == (step is None)
    assert (bench.logic.learned.pedal_released_pct is not None) == (step is None)
    if step is not None:
        assert bench.of("pedal_released")[0].step == step


def test_a_foot_on_the_pedal_at_key_on_is_noticed() -> None:
    rows, end = cycles(3.0, 11.0, 3.0, 11.0)
    bench = Bench().go([(0.5, "pedal_pct", 12.0), *rows], end + 0.5)
    assert [v.step for v in bench.of("pedal_released")] == ["pedal touched"] * 2


def test_a_weak_supply_at_key_on_is_noticed() -> None:
    rows, end = cycles(3.0, 11.0, 3.0, 11.0)
    weak: list[Row] = [(2.0, "voltage_v", 12.2), (2.2, "voltage_v", 12.6)]
    bench = Bench().go([*rows, *weak], end + 0.5)
    assert [v.step for v in bench.of("pedal_released")] == ["voltage"]
    assert [(v.met, v.step) for v in bench.of("closed_position")] == [
        (False, "voltage"),
        (True, "off"),
    ]


@pytest.mark.parametrize(("off", "took"), [(10.1, True), (9.9, False)])
def test_the_closed_position_is_learned_after_key_off(off: float, took: bool) -> None:
    rows, end = cycles(3.0, off, 1.0)
    bench = Bench(Learned(closed_position_pct=None)).go(rows, end)
    assert bench.took("closed_position") == took
    assert bench.logic.learned.closed_position_pct == (12.5 if took else None)
    gone = 1.0 + 3.0
    assert bench.moved[0] == pytest.approx(gone + 1.5, abs=2 * TICK_S)
    assert bench.moved[-1] == pytest.approx(gone + 6.5, abs=2 * TICK_S)


@pytest.mark.parametrize(
    ("before", "on", "store", "step"),
    [
        (31.0, 35.0, 16.0, None),
        (29.0, 35.0, 16.0, "off before"),
        (31.0, 19.0, 16.0, "on"),
        (31.0, 27.0, 16.0, "cycle"),
        (31.0, 35.0, 14.0, "store"),
    ],
)
def test_adaptation_with_the_key_left_on(
    before: float, on: float, store: float, step: str | None
) -> None:
    rows, end = cycles(3.0, before, on, store)
    bench = Bench().go([*rows, (end, "key", 2.0)], end + 0.5)
    verdicts = bench.of("key_on_adaptation")
    assert [(v.met, v.step) for v in verdicts] == [(step is None, step or "store")]


def test_a_pedal_touched_ends_the_adaptation() -> None:
    rows, end = cycles(3.0, 31.0, 35.0, 16.0)
    touch: list[Row] = [(45.0, "pedal_pct", 9.0), (45.3, "pedal_pct", 0.0)]
    bench = Bench().go([*rows, *touch], end + 0.5)
    assert [v.step for v in bench.of("key_on_adaptation")] == ["pedal touched"]
    assert [at for at in bench.moved if 40.0 < at < 68.0] == []


def relearn_rows(wait: float = 20.0, idle: float = 305.0, off: float = 11.0) -> list[Row]:
    started = 1.0 + wait
    gone = started + 0.5 + idle
    return [(1.0, "key", 2.0), (started, "key", 3.0), (gone, "key", 0.0), (gone + off, "key", 2.0)]


@pytest.mark.parametrize(
    ("changed", "more", "step"),
    [
        ({}, (), None),
        ({"wait": 9.0}, (), "on"),
        ({"wait": 61.0}, (), "on"),
        ({"idle": 299.0}, (), "idle"),
        ({"off": 9.0}, (), "store"),
        ({}, ((100.0, "pedal_pct", 10.0), (100.2, "pedal_pct", 0.0)), "pedal touched"),
        ({}, ((100.0, "load", 1.0), (100.2, "load", 0.0)), "loads"),
    ],
)
def test_idle_relearned_by_idling(
    changed: dict[str, float], more: tuple[Row, ...], step: str | None
) -> None:
    rows = relearn_rows(**changed)
    bench = Bench(Learned(idle=False), tick_s=0.1).go([*rows, *more], rows[-1][0] + 0.5)
    verdicts = bench.of("idle_relearn")
    assert [(v.met, v.step) for v in verdicts] == [(step is None, step or "store")]
    assert bench.logic.learned.idle == (step is None)


def test_nothing_is_relearned_by_idling_unless_it_was_forgotten() -> None:
    rows = relearn_rows()
    assert Bench(tick_s=0.1).go(rows, rows[-1][0]).of("idle_relearn") == []


def test_a_battery_taken_off_too_soon_loses_what_was_being_written() -> None:
    rows, _ = cycles(3.0, 30.0)
    bench = Bench().go(rows, 8.0)
    bench.logic.power_lost(bench.senses)
    bench.go([], 20.0)
    assert [(v.met, v.step) for v in bench.of("closed_position")] == [(False, "off")]
    assert bench.logic.learned == Learned(None, None, idle=False)
    assert bench.done == []


def test_fifty_jittered_goes_take_exactly_where_every_window_was_met() -> None:
    """Windows checked here from the actions alone; goes within a tick of an edge are left out."""
    rng = np.random.default_rng(5)
    w, took, edgy = windows(), 0, 0
    for _ in range(50):
        go = Pattern(
            first=3.0 + rng.normal(0, 0.3), every=0.8 + rng.normal(0, 0.12),
            wait=7.0 + rng.normal(0, 0.3), hold=21.5 + rng.normal(0, 1.2),
            start=max(1.5 + rng.normal(0, 0.8), 0.1),
        )  # fmt: skip
        assert go.start is not None
        times = {
            "pattern.first_press": go.first,
            "pattern.presses": 4 * go.every + go.down,
            "pattern.wait": go.wait,
            "pattern.steady": go.hold,
            "idle_air.release": max(go.hold - 20.0, 0.0),
            "idle_air.start": go.start,
        }
        ends = [(t, e) for name, t in times.items() for e in (w[name].least, w[name].most)]
        if any(abs(t - e) < 2.5 * TICK_S for t, e in ends if e > 0):
            edgy += 1
            continue
        met = all(w[name].holds(t) for name, t in times.items())
        assert go.on(Bench()).took("idle_air") == met, times
        took += met
    assert 5 < took < 40
    assert edgy < 20
