"""Trouble codes of the live practice car: pending, confirmed, permanent, lamp, freeze frame."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from bellmouth.j1979.codes import Ignition, MonitorStatus
from bellmouth.practice.readiness import Facts, Readiness

__all__ = ["TESTS", "Check", "Trouble"]

_TRIM_PCT = 20.0
_AVERAGE_S = 12.0
_IGNITION: Ignition = "spark"
_PASSES_TO_LAMP_OFF = 3  # trips; common practice, no source
_WARM_UP_C = (22.0, 70.0)  # a warm-up: risen by so much, to at least this


@dataclass(frozen=True)
class Check:
    """One test that the controller runs all the time: how far out, for how long, and its code.

    ``amount`` gives None while the test cannot be run.
    """

    code: str
    amount: Callable[[Facts], float | None]
    limit: float
    seconds: float


def _trim(bank: int, sign: float) -> Callable[[Facts], float | None]:
    def amount(facts: Facts) -> float | None:
        if not facts.closed_loop or len(facts.trims_pct) < bank:
            return None
        return sign * facts.trims_pct[bank - 1]

    return amount


def _idle(sign: float) -> Callable[[Facts], float | None]:
    def amount(facts: Facts) -> float | None:
        if facts.idle_error_rpm is None or facts.coolant_c < 70.0:
            return None
        return sign * facts.idle_error_rpm

    return amount


#: Limits and times differ from car to car; these are common practice, no source.
TESTS: tuple[Check, ...] = (
    Check("P0171", _trim(1, 1.0), _TRIM_PCT, 40.0),
    Check("P0172", _trim(1, -1.0), _TRIM_PCT, 40.0),
    Check("P0174", _trim(2, 1.0), _TRIM_PCT, 40.0),
    Check("P0175", _trim(2, -1.0), _TRIM_PCT, 40.0),
    Check("P0507", _idle(1.0), 200.0, 30.0),
    Check("P0506", _idle(-1.0), 100.0, 30.0),
)


@dataclass
class _Trip:
    """What this trip has shown so far, by code."""

    average: dict[str, float] = field(default_factory=dict)
    out_s: dict[str, float] = field(default_factory=dict)
    good_s: dict[str, float] = field(default_factory=dict)
    failed: set[str] = field(default_factory=set)
    started_at_c: float = 0.0
    warmed: bool = False


class Trouble:
    """Codes and counters of one controller; a code is confirmed by failing on a second trip.

    Attributes
    ----------
    pending, confirmed, permanent
        Codes, in the order in which they came.
    lamp_on
        Whether codes command the lamp on.
    freeze_frame
        Data bytes by identifier from when the first code was stored, with its code; empty where
        none was.
    """

    def __init__(self, *, ready: bool) -> None:
        self.pending: list[str] = []
        self.confirmed: list[str] = []
        self.permanent: list[str] = []
        self.freeze_code: str | None = None
        self.freeze_frame: dict[int, bytes] = {}
        self.lamp_on = False
        self.readiness = Readiness(ready=ready)
        self.warm_ups = 57 if ready else 0
        self.distance_km = 1893.0 if ready else 0.0
        self.since_clear_s = 1893.0 * 90.0 if ready else 0.0
        self.lamp_km = 0.0
        self.lamp_s = 0.0
        self._good_trips: dict[str, int] = {}
        self._trip = _Trip()

    def came_in_with(self, facts: Facts, frame: Callable[[], dict[int, bytes]]) -> None:
        """Store what a car that has been driven like this for days has stored already."""
        for test in TESTS:
            amount = test.amount(facts)
            if amount is not None and amount > test.limit:
                self.pending.append(test.code)
                self._confirm(test.code, frame)
        if self.lamp_on:
            self.lamp_km, self.lamp_s = 212.0, 212.0 * 90.0

    def begin_trip(self, coolant_c: float) -> None:
        """The engine was started."""
        self._end_trip()
        self._trip = _Trip(started_at_c=coolant_c)
        self.readiness.begin_trip()

    def _end_trip(self) -> None:
        """A trip that tested good forgets what is pending, and after some puts the lamp out."""
        trip = self._trip
        for test in TESTS:
            if test.code in trip.failed or trip.good_s.get(test.code, 0.0) < test.seconds:
                continue
            if test.code in self.pending:
                self.pending.remove(test.code)
            good = self._good_trips.get(test.code, 0) + 1
            self._good_trips[test.code] = good
            if test.code in self.permanent and test.code not in self.confirmed:
                self.permanent.remove(test.code)
        bad = [c for c in self.confirmed if self._good_trips.get(c, 0) < _PASSES_TO_LAMP_OFF]
        if self.lamp_on and not bad:
            self.lamp_on = False
            self.permanent = [c for c in self.permanent if c not in self.confirmed]

    def watch(self, dt_s: float, facts: Facts, frame: Callable[[], dict[int, bytes]]) -> None:
        """Move on by so much; ``frame`` gives the data to freeze if a code is stored now."""
        if not facts.running:
            return
        self.readiness.watch(dt_s, facts)
        self.since_clear_s += dt_s
        self.distance_km += facts.road_kmh * dt_s / 3600.0
        if self.lamp_on:
            self.lamp_s += dt_s
            self.lamp_km += facts.road_kmh * dt_s / 3600.0
        self._count_warm_up(facts)
        for test in TESTS:
            amount = test.amount(facts)
            if amount is not None:
                self._judge(test, amount, dt_s, frame)

    def _count_warm_up(self, facts: Facts) -> None:
        rise, least = _WARM_UP_C
        if not self._trip.warmed and facts.coolant_c >= max(self._trip.started_at_c + rise, least):
            self._trip.warmed = True
            self.warm_ups = min(self.warm_ups + 1, 255)

    def _judge(
        self, test: Check, amount: float, dt_s: float, frame: Callable[[], dict[int, bytes]]
    ) -> None:
        trip = self._trip
        before = trip.average.get(test.code, amount)
        mean = before + (amount - before) * min(dt_s / _AVERAGE_S, 1.0)
        trip.average[test.code] = mean
        if mean <= test.limit:
            trip.out_s[test.code] = 0.0
            trip.good_s[test.code] = trip.good_s.get(test.code, 0.0) + dt_s
            return
        trip.out_s[test.code] = trip.out_s.get(test.code, 0.0) + dt_s
        if trip.out_s[test.code] >= test.seconds and test.code not in trip.failed:
            self._fail(test.code, frame)

    def _fail(self, code: str, frame: Callable[[], dict[int, bytes]]) -> None:
        """First trip: pending. A second one in a row: confirmed, and the lamp comes on."""
        self._trip.failed.add(code)
        self._good_trips[code] = 0
        if code not in self.pending:
            self.pending.append(code)
        elif code not in self.confirmed or not self.lamp_on:
            self._confirm(code, frame)

    def _confirm(self, code: str, frame: Callable[[], dict[int, bytes]]) -> None:
        if code not in self.confirmed:
            self.confirmed.append(code)
        if code not in self.permanent:
            self.permanent.append(code)
        self.lamp_on = True
        if self.freeze_code is None:
            self.freeze_code, self.freeze_frame = code, frame()

    def clear(self) -> None:
        """Service 04: all is forgotten but the permanent codes, which only good tests remove."""
        self.pending, self.confirmed = [], []
        self.freeze_code, self.freeze_frame = None, {}
        self.lamp_on = False
        self.readiness.clear()
        self.warm_ups, self.distance_km, self.since_clear_s = 0, 0.0, 0.0
        self.lamp_km, self.lamp_s = 0.0, 0.0
        self._good_trips = {}
        self._trip = _Trip(started_at_c=self._trip.started_at_c, warmed=self._trip.warmed)

    def status(self, *, lamp: bool) -> MonitorStatus:
        """Parameter 01."""
        return MonitorStatus(lamp, len(self.confirmed), _IGNITION, self.readiness.since_clear())

    def status_this_trip(self) -> MonitorStatus:
        """Parameter 41."""
        return MonitorStatus(False, 0, _IGNITION, self.readiness.this_trip())

    def counters(self) -> Mapping[str, float]:
        """Parameters that count since the clearing or while the lamp is on."""
        return {
            "warm_ups_since_codes_cleared": self.warm_ups,
            "distance_since_codes_cleared": min(self.distance_km, 65535.0),
            "time_since_codes_cleared": min(self.since_clear_s / 60.0, 65535.0),
            "distance_with_lamp_on": min(self.lamp_km, 65535.0),
            "run_time_with_lamp_on": min(self.lamp_s / 60.0, 65535.0),
        }

    def kept(self) -> dict[str, Any]:
        """What outlives the ignition, as plain values."""
        return {
            "pending": self.pending, "confirmed": self.confirmed, "permanent": self.permanent,
            "lamp_on": self.lamp_on, "freeze_code": self.freeze_code,
            "freeze_frame": {f"{k:02X}": v.hex() for k, v in self.freeze_frame.items()},
            "readiness": self.readiness.kept(), "warm_ups": self.warm_ups,
            "distance_km": self.distance_km, "since_clear_s": self.since_clear_s,
            "lamp_km": self.lamp_km, "lamp_s": self.lamp_s, "good_trips": self._good_trips,
        }  # fmt: skip

    def restore(self, kept: Mapping[str, Any]) -> None:
        """Take over what was kept."""
        self.pending = list(kept["pending"])
        self.confirmed = list(kept["confirmed"])
        self.permanent = list(kept["permanent"])
        self.lamp_on, self.freeze_code = bool(kept["lamp_on"]), kept["freeze_code"]
        self.freeze_frame = {int(k, 16): bytes.fromhex(v) for k, v in kept["freeze_frame"].items()}
        self.readiness.restore(kept["readiness"])
        self.warm_ups = int(kept["warm_ups"])
        for name in ("distance_km", "since_clear_s", "lamp_km", "lamp_s"):
            setattr(self, name, float(kept[name]))
        self._good_trips = {k: int(v) for k, v in kept["good_trips"].items()}
