"""The practice controller's learning logic takes only when every window is met."""

import numpy as np
import pytest

from bellmouth.practice.ignition import Key
from bellmouth.practice.learning_logic import BLINK_S, Learned
from bellmouth.practice.verdicts import windows
from tests.practice.learning_bench import TICK_S, Bench, Pattern, Row, warm


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
