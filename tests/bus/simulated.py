"""A client of a simulated car on a clock of its own: an hour of capture takes seconds."""

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from bellmouth.bus.capture import Progress
from bellmouth.bus.link import Losses, Woken
from bellmouth.bus.reports import Codes, Controller, Identity, Sample, Silence
from bellmouth.errors import BusError
from bellmouth.j1979 import parameters

__all__ = ["SimulatedClient", "obeying"]

# Speed [rpm], manifold pressure [kPa], airflow [g/s], throttle [%], quick trim [%]: a car with a
# leak, at each of the guide's steps.
LEVELS = {
    "key_on": (0.0, 99.0, 0.0, 17.5, 0.0),
    "warm_up": (900.0, 36.0, 3.1, 15.2, 7.0),
    "idle": (700.0, 34.3, 2.61, 14.9, 8.0),
    "hold_1500": (1500.0, 29.4, 5.02, 18.1, 3.0),
    "hold_2000": (2000.0, 29.7, 6.9, 20.2, 1.8),
    "hold_2500": (2500.0, 30.2, 8.83, 22.3, 1.0),
    "idle_again": (702.0, 34.3, 2.61, 14.9, 8.0),
    "idle_loaded": (710.0, 41.0, 3.6, 16.3, 5.5),
    "hold_3500": (3500.0, 32.0, 13.4, 26.0, 0.5),
}
NAMES = (
    "engine_speed",
    "intake_manifold_pressure",
    "mass_air_flow",
    "throttle_position",
    "short_term_fuel_trim_bank_1",
)
LAG_S = (0.3, 0.3, 0.3, 0.3, 2.5)
NOISE = (4.0, 0.4, 0.03, 0.06, 0.8)


class SimulatedClient:
    """Reads a car whose driver sets ``step``; ``now`` is the clock, in seconds."""

    def __init__(self, *, latency_s: float = 0.05, seed: int = 1, most: int = 6) -> None:
        self.now = 100.0
        self.step = "key_on"
        self.latency_s = latency_s
        self.most = most
        self.most_parameters = 6  # what the link holds, whatever the controller takes
        self.requests: list[tuple[int, ...]] = []
        self.losses = Losses()
        self.silence: Silence | None = None
        self.woken: Woken | None = None
        self.notes: tuple[str, ...] = ()
        self.description = "simulated"
        self.off = False
        self.gone_until = -1.0
        self.forgets: set[int] = set()
        self.source = 0x10
        self._rng = np.random.default_rng(seed)
        self._state = np.array(LEVELS["key_on"])
        self._then = self.now
        self._coolant = 60.0
        known = [parameters.by_name(name).identifier for name in (*NAMES, *self._slow())]
        supported = frozenset({*known, 0x00, 0x20})
        self.controllers: Sequence[Controller] = (
            Controller(0x10, "ENGINE", supported),
            Controller(0x18, "GEARBOX", frozenset({0x0D})),
        )

    def clock(self) -> float:
        """The car's time. [s]"""
        return self.now

    def wait(self, seconds: float) -> None:
        """Let time pass."""
        self.now += seconds

    def _slow(self) -> dict[str, float]:
        return {
            "engine_coolant_temperature": self._coolant,
            "intake_air_temperature": 25.0,
            "barometric_pressure": 99.0,
            "long_term_fuel_trim_bank_1": 4.0,
            "fuel_system_status": 2.0,
            "vehicle_speed": 0.0,
        }

    def _move(self) -> None:
        seconds = self.now - self._then
        self._then = self.now
        share = 1.0 - np.exp(-seconds / np.array(LAG_S))
        goal = np.array(LEVELS[self.step])
        self._state = self._state + (goal - self._state) * share
        if self.step == "key_on":
            self._state[0] = 0.0
        else:
            self._coolant = min(self._coolant + 0.5 * seconds, 90.0)

    def read(
        self,
        identifiers: Sequence[int],
        controller: int | None = None,  # noqa: ARG002
        *,
        then: Sequence[int] = (),  # noqa: ARG002
    ) -> Sample:
        """As the client does."""
        self.requests.append(tuple(identifiers))
        sent = self.now
        if self.now < self.gone_until:
            raise BusError("The adapter is gone. Plug it in again.")
        parts = -(-len(identifiers) // self.most)
        self.now += self.latency_s * parts
        self._move()
        if self.off:
            self.silence = self.silence or Silence(sent - 0.02, self.now)
            self.losses.unanswered += 1
            return Sample(self.now, 0.5 * (self.now - sent), None, {}, tuple(identifiers))
        self.silence = None
        noise = self._rng.normal(size=len(NAMES)) * np.array(NOISE) * (self._state[0] > 0)
        values = dict(zip(NAMES, (self._state + noise).tolist(), strict=True)) | self._slow()
        found: dict[str, float | None] = {}
        for one in identifiers:
            for row in parameters.by_identifier(one):
                if one not in self.forgets:
                    found[row.name] = float(parameters.quantise(row.name, values.get(row.name, 0)))
        missing = tuple(one for one in identifiers if one in self.forgets)
        middle, half = 0.5 * (sent + self.now), 0.5 * (self.now - sent)
        return Sample(middle, half, self.source, found, missing)

    def watch_adapter(self, told: Callable[[bool], None] | None) -> None:
        """Nobody is told."""

    def codes(self) -> Codes:
        """One code."""
        return Codes(confirmed={0x10: ("P0171",)})

    def freeze_frames(self) -> tuple[Any, ...]:
        """None."""
        return ()

    def monitors(self) -> dict[int, Any]:
        """Cannot be asked."""
        raise BusError("The car did not answer.")

    def identity(self, *, mask_vin: bool = True) -> tuple[Identity, ...]:
        """The engine's."""
        number = "WVW***********17" if mask_vin else "WVWZZZ1JZ3W000017"
        return (Identity(0x10, number, ("CAL-1",), ("1234ABCD",), "ENGINE"),)


def obeying(client: SimulatedClient, seen: list[Progress] | None = None) -> Callable[..., None]:
    """A driver who does what the guide says, a second or two later."""

    def progress(now: Progress) -> None:
        if seen is not None:
            seen.append(now)
        if now.advice is not None and now.advice.step is not None:
            client.step = now.advice.step.name

    return progress
