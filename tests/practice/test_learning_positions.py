"""Positions, adaptation and idling: learned only when every window is met."""

import itertools

import pytest

from bellmouth.practice.learning_logic import Learned
from tests.practice.learning_bench import TICK_S, Bench, Row


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
