"""The practice controller's learning logic on a bench, and patterns to move it by."""

from collections.abc import Iterable
from dataclasses import dataclass, field

from bellmouth.practice.ignition import Key
from bellmouth.practice.learning_logic import Effects, Learned, LearningLogic
from bellmouth.practice.verdicts import Senses, Verdict

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
