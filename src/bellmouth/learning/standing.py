"""Conditions that must stand, watched while an attempt runs."""

import math
from collections.abc import Mapping

from bellmouth.learning.evidence import RUNS_RPM, SETTLES_S, SUPPLY, TURNS_RPM
from bellmouth.learning.follow import Lost
from bellmouth.learning.procedure import Condition, Procedure
from bellmouth.learning.reasons import reason

__all__ = ["Standing"]


class Standing:
    """Takes readings one by one and says when a condition has been broken for too long."""

    def __init__(self, procedure: Procedure) -> None:
        # One that stands for a part of the steps only is the judge's to say.
        self._conditions = [
            one for one in procedure.conditions if one.signal and not (one.first or one.last)
        ]
        self._broken: dict[str, float] = {}
        self._values: dict[str, float] = {}
        self._engine = ""  # stopped, running, or between
        self._changed_s = self._speed_s = -math.inf

    @property
    def values(self) -> Mapping[str, float]:
        """The latest reading of each parameter."""
        return self._values

    def signals(self) -> frozenset[str]:
        """Parameters that the procedure's conditions need."""
        return frozenset(one.signal for one in self._conditions)

    def read(self, name: str, value: float, at_s: float) -> Lost | None:
        """One reading in its own unit; what is lost by it, or None. [s]"""
        self._values[name] = value
        if name == "engine_speed":
            self._see_engine(value, at_s)
        for condition in self._conditions:
            if condition.when == "throughout" and condition.signal == name:
                lost = self._judge(condition, value, at_s)
                if lost is not None:
                    return lost
        return None

    def _see_engine(self, speed: float, at_s: float) -> None:
        """While the starter turns, and a little after, the supply sags and says nothing."""
        state = "stopped" if speed < TURNS_RPM else "running" if speed >= RUNS_RPM else "between"
        if self._engine not in ("", state):
            self._changed_s = at_s
        self._engine, self._speed_s = state, at_s

    def _judge(self, condition: Condition, value: float, at_s: float) -> Lost | None:
        if not self._applies(condition, at_s) or condition.least <= value <= condition.most:
            self._broken.pop(condition.name, None)
            return None
        since_s = self._broken.setdefault(condition.name, at_s)
        if at_s - since_s < condition.shortest_s:
            return None
        if self._asks_engine(condition) and self._engine and self._speed_s < since_s:
            # Somebody may have turned the starter meanwhile.
            return None
        reading = f"{value:.1f} {condition.unit}".strip()
        why = reason("broken", condition=condition.say, reading=reading, mend=condition.mend)
        return Lost(condition.name, why, None, at_s)

    def _applies(self, condition: Condition, at_s: float) -> bool:
        if not self._asks_engine(condition):
            return True
        settled = self._engine != "between" and at_s - self._changed_s >= SETTLES_S
        if not condition.engine:
            return settled
        return settled and self._engine == condition.engine

    @staticmethod
    def _asks_engine(condition: Condition) -> bool:
        return bool(condition.engine) or condition.signal == SUPPLY

    def unmet(self) -> tuple[tuple[Condition, float | None], ...]:
        """Conditions that do not stand now, with their reading; None where there is none yet."""
        found: list[tuple[Condition, float | None]] = []
        for condition in self._conditions:
            if condition.engine == "running":
                continue
            value = self._values.get(condition.signal)
            if value is None or not condition.least <= value <= condition.most:
                found.append((condition, value))
        return tuple(found)
