"""Monitors of the live practice car: what has been tested since codes were cleared, and today."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from bellmouth.j1979.codes import MonitorState

__all__ = ["MONITORS", "Facts", "Readiness"]


@dataclass(frozen=True)
class Facts:
    """What the controller knows at an instant, as far as codes and monitors need it.

    ``trims_pct`` is short and long trim together of each bank; ``idle_error_rpm`` is speed over
    target with the pedal up and the car standing, None otherwise.
    """

    running: bool
    closed_loop: bool
    coolant_c: float
    started_at_c: float
    speed_rpm: float
    road_kmh: float
    pedal_pct: float
    fuel_level_pct: float
    trims_pct: tuple[float, ...]
    idle_error_rpm: float | None


def _warm(facts: Facts) -> bool:
    return facts.running and facts.coolant_c > 70.0


def _idling(facts: Facts) -> bool:
    return facts.running and facts.pedal_pct < 1.0 and facts.road_kmh < 2.0


#: Seconds that each monitor has to see its condition for; brand-free, common practice, no source.
MONITORS: Mapping[str, tuple[float, Callable[[Facts], bool]]] = {
    "misfire": (100.0, lambda f: f.running),
    "fuel_system": (60.0, lambda f: f.running and f.closed_loop),
    "comprehensive": (10.0, lambda f: f.running),
    "oxygen_sensor_heater": (40.0, lambda f: f.running and f.coolant_c > 50.0),
    "oxygen_sensor": (90.0, lambda f: _warm(f) and f.closed_loop and f.speed_rpm > 1400.0),
    "catalyst": (150.0, lambda f: _warm(f) and 35.0 < f.road_kmh < 115.0 and f.pedal_pct > 0.0),
    "evaporative": (
        120.0,
        lambda f: _idling(f) and f.started_at_c < 35.0 and 25.0 < f.fuel_level_pct < 85.0,
    ),
    "egr_or_vvt": (5.0, lambda f: _warm(f) and f.road_kmh > 25.0 and f.pedal_pct <= 0.0),
}


class Readiness:
    """Seconds seen by each monitor, since the clearing and in this trip."""

    def __init__(self, *, ready: bool) -> None:
        self._since = {name: seconds if ready else 0.0 for name, (seconds, _) in MONITORS.items()}
        self._trip = dict.fromkeys(MONITORS, 0.0)

    def watch(self, dt_s: float, facts: Facts) -> None:
        """Count these seconds for the monitors whose condition holds."""
        for name, (_, holds) in MONITORS.items():
            if holds(facts):
                self._since[name] += dt_s
                self._trip[name] += dt_s

    def begin_trip(self) -> None:
        """The engine was started: nothing has been tested this trip."""
        self._trip = dict.fromkeys(MONITORS, 0.0)

    def clear(self) -> None:
        """Codes were cleared, or the battery was off: nothing has been tested at all."""
        self._since = dict.fromkeys(MONITORS, 0.0)
        self._trip = dict.fromkeys(MONITORS, 0.0)

    def since_clear(self) -> dict[str, MonitorState]:
        """State by monitor since codes were cleared: parameter 01."""
        return _states(self._since)

    def this_trip(self) -> dict[str, MonitorState]:
        """State by monitor in this trip: parameter 41."""
        return _states(self._trip)

    def kept(self) -> dict[str, float]:
        """What outlives the ignition."""
        return dict(self._since)

    def restore(self, kept: Mapping[str, float]) -> None:
        """Take over what was kept."""
        self._since |= {name: float(kept[name]) for name in MONITORS if name in kept}


def _states(seen: Mapping[str, float]) -> dict[str, MonitorState]:
    return {
        name: "supported complete" if seen[name] >= seconds else "supported incomplete"
        for name, (seconds, _) in MONITORS.items()
    }
