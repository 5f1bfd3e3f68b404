"""A car that is asked again and again, and what the coach is told of it."""

import threading
import time
from collections.abc import Sequence

import numpy as np
import pytest

from bellmouth.bus.client import Client
from bellmouth.bus.link import Woken
from bellmouth.bus.reports import Controller, Sample
from bellmouth.errors import BusError
from bellmouth.j1979.parameters import by_name
from bellmouth.learning.ignition import WAKE_S, read_bus, read_key
from bellmouth.learning.samples import Samples
from bellmouth.learning.turns import Turns
from bellmouth.learning.watching import CarObserver
from bellmouth.practice.ignition import Key
from bellmouth.practice.light_car import LightCar
from tests.learning.fake_clock import FakeClock
from tests.learning.test_live import Told

NAMES = (
    "accelerator_pedal_position_d",
    "engine_speed",
    "monitor_status",
    "control_module_voltage",
    "engine_coolant_temperature",
)
_EACH_S = 0.08


class Asked(Client):
    """A client whose car goes on by a bit with every question."""

    def __init__(
        self, names: Sequence[str] = NAMES, fails_after: int = 10_000, most: int = 6
    ) -> None:
        self.car = LightCar()
        self._takes = most
        self.asked: list[tuple[int, ...]] = []
        self.left = fails_after
        self._names_known = names

    @property
    def controllers(self) -> tuple[Controller, ...]:
        known = frozenset(by_name(name).identifier for name in self._names_known)
        return (Controller(0x10, None, known),)

    @property
    def most_parameters(self) -> int:
        return self._takes

    @property
    def woken(self) -> Woken | None:
        return None

    def read(
        self,
        identifiers: Sequence[int],
        controller: int | None = None,  # noqa: ARG002
        *,
        then: Sequence[int] = (),  # noqa: ARG002
    ) -> Sample:
        self.asked.append(tuple(identifiers))
        self.left -= 1
        if self.left < 0:
            raise BusError("The adapter is gone.")
        self.car.advance(self.car.time_s + _EACH_S)
        values = self.car.poll().values
        if values is None:
            return Sample(self.car.time_s, 0.01, None, {})
        asked = {
            name: value for name, value in values.items() if by_name(name).identifier in identifiers
        }
        return Sample(self.car.time_s, 0.01, 0x10, asked)


def _watch(client: Asked, until_s: float) -> tuple[Told, CarObserver]:
    told, observer, clock = Told(), CarObserver(client), FakeClock()
    clock.now_s = lambda: client.car.time_s  # type: ignore[method-assign]
    waiting = threading.Event()
    with observer.watching(told, clock):
        give_up_s = time.monotonic() + 60.0
        while client.car.time_s < until_s and observer.failure is None:
            assert time.monotonic() < give_up_s
            waiting.wait(0.005)
    return told, observer


def test_actions_are_told_as_they_come() -> None:
    client = Asked()
    for at_s, control, value in [
        (3.0, "key", Key.ON), (5.0, "pedal_pct", 100.0), (6.0, "pedal_pct", 0.0),
        (8.0, "key", Key.START), (11.0, "key", Key.OFF),
    ]:  # fmt: skip
        client.car.do(control, value, at_s)
    told, observer = _watch(client, 14.0)
    assert [action for action, _ in told.actions] == [
        "key_off", "key_on", "press", "release", "engine_start", "engine_runs", "key_off",
    ]  # fmt: skip
    on = told.actions[1][1]
    assert on.low_s <= 3.0 <= on.high_s
    recording = observer.samples.recording("live")
    assert recording is not None
    assert set(recording.series) == set(NAMES)
    assert observer.samples.latest_s < 11.1


def test_it_says_what_it_can_see() -> None:
    assert CarObserver(Asked()).watched == {"key", "pedal", "engine"}
    assert CarObserver(Asked(("engine_speed",))).watched == {"key", "engine"}


def test_a_car_that_shows_nothing_cannot_be_followed() -> None:
    with pytest.raises(BusError, match="reports neither pedal nor engine speed"):
        CarObserver(Asked(("vehicle_speed",)))


def test_an_adapter_that_goes_away_is_not_forgotten() -> None:
    client = Asked(fails_after=20)
    _, observer = _watch(client, 100.0)
    assert str(observer.failure) == "The adapter is gone."


def test_a_look_before_the_start_shows_what_must_stand() -> None:
    client = Asked()
    client.car.do("key", Key.ON)
    assert CarObserver(client).look()["engine_coolant_temperature"] == pytest.approx(85.0)


def test_where_a_request_holds_one_parameter_most_questions_are_the_pedal_s() -> None:
    client = Asked(most=1)
    client.car.do("key", Key.ON, 0.5)
    _, observer = _watch(client, 12.0)
    assert {len(one) for one in client.asked} == {1}
    recording = observer.samples.recording("live")
    assert recording is not None
    assert "monitor_status" not in recording
    series = {name: np.diff(one.time_s) for name, one in recording.series.items()}
    # No two other questions follow each other, and none comes where none is due.
    assert series["accelerator_pedal_position_d"].max() == pytest.approx(2 * _EACH_S)
    assert np.median(series["accelerator_pedal_position_d"]) == pytest.approx(_EACH_S)
    # As often as conditions want them that stand throughout.
    assert series["control_module_voltage"].max() < 1.0


def test_engine_speed_is_asked_for_most_while_somebody_may_start() -> None:
    """After a long hold, and once the pedal has rested for longer than any wait between presses."""
    turns, pedal = Turns("pedal", ("engine_speed",)), [0.0] * 400
    pedal[50:120] = [65.0] * 70  # down from 5 to 12 s
    asked: list[float] = []
    for tenth, value in enumerate(pedal):
        name = turns.next(0.1 * tenth)
        if name == "engine_speed":
            asked.append(0.1 * tenth)
        turns.read(name, value if name == "pedal" else 0.0, 0.1 * tenth)

    def most(begin_s: float, end_s: float) -> float:
        return float(max(np.diff([at for at in asked if begin_s <= at <= end_s])))

    assert most(0.0, 12.0) == pytest.approx(1.8, abs=0.25)
    assert most(12.4, 18.0) < 0.35
    assert sum(18.1 < at < 20.3 for at in asked) <= 2
    assert most(22.5, 40.0) < 0.35
    turns.read("engine_speed", 700.0, 40.0)
    assert [turns.next(40.1 + 0.1 * tenth) for tenth in range(8)].count("engine_speed") == 0


@pytest.mark.parametrize("each_s", [0.112, 0.1165, 0.12])
def test_the_supply_is_read_within_a_second_while_somebody_may_start(each_s: float) -> None:
    """The vehicle's speed must not take the turn that was the supply's last in time."""
    names = ("engine_speed", "control_module_voltage", "vehicle_speed")
    for hold in range(50, 90):  # the wait for the start begins anywhere in their round
        turns, asked = Turns("pedal", names), {name: [0.0] for name in (*names, "pedal")}
        for count in range(260):
            name = turns.next(each_s * count)
            asked[name].append(each_s * count)
            down = 40 <= count < 40 + hold
            turns.read(name, 65.0 if name == "pedal" and down else 0.0, each_s * count)
        assert max(np.diff(asked["control_module_voltage"])) < 1.0, hold
        assert max(np.diff(asked["vehicle_speed"])) < 2.0, hold


def test_turns_without_a_pedal_go_round() -> None:
    turns = Turns(None, ("engine_speed", "control_module_voltage"))
    assert {turns.next(0.1 * tenth) for tenth in range(30)} == {
        "engine_speed", "control_module_voltage",
    }  # fmt: skip


def test_when_a_car_woke_goes_on_record() -> None:
    samples = Samples(100.0)
    for at_s in (100.1, 100.2, 100.3):
        samples.add("engine_speed", 0.0, at_s)
    samples.woke(100.4, 100.6)  # one answer lost is no silence
    samples.add("engine_speed", 0.0, 100.6)
    samples.woke(103.0, 103.4)
    samples.add("engine_speed", 0.0, 103.7)
    samples.add("engine_speed", 0.0, 103.8)
    recording = samples.recording("live")
    assert recording is not None
    assert list(recording.woken[0]) == pytest.approx([3.0, 3.4])
    assert len(recording.woken) == 1
    keys, _ = read_key(recording, read_bus(recording))
    (on,) = [item.at for item in keys if item.kind == "key_on" and item.at.low_s > 0.0]
    assert (on.low_s, on.high_s) == pytest.approx((3.0 - WAKE_S, 3.4))


class Waking(Asked):
    """A car that is woken before it answers, as on a K line."""

    @property
    def woken(self) -> Woken | None:
        return Woken(2.93, 2.955)


def test_who_wakes_the_car_knows_when_it_woke() -> None:
    client = Waking(most=1)
    client.car.do("key", Key.ON, 2.95)
    told, observer = _watch(client, 5.0)
    (on,) = [moment for action, moment in told.actions if action == "key_on"]
    assert (on.low_s, on.high_s) == pytest.approx((2.93 - WAKE_S, 2.955))
    recording = observer.samples.recording("live")
    assert recording is not None
    assert len(recording.woken) == 1
