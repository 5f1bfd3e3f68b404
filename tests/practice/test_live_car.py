"""The live practice car: what it answers, when, and what it refuses."""

import tomllib
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest

from bellmouth.car.description import Car, Known
from bellmouth.car.reader import car_from_mapping
from bellmouth.errors import BellmouthError, CarError
from bellmouth.j1979 import parameters
from bellmouth.j1979.codes import decode_monitor_status
from bellmouth.j1979.messages import (
    Cleared,
    Data,
    Negative,
    Response,
    TroubleCodes,
    VehicleInformation,
    decode_response,
)
from bellmouth.practice.answering import Answering
from bellmouth.practice.ignition import Key
from bellmouth.practice.live import PracticeCar
from bellmouth.practice.live_case import car_toml, choose_case, truth_of
from bellmouth.practice.mechanic import Mechanic
from bellmouth.practice.scenario import run
from bellmouth.practice.services import UNRELIABLE_MASK, Manners
from tests.practice.conftest import plan_of


class Stand:
    """A practice car with a clock that is moved by hand."""

    def __init__(self, fault: str = "leak", size: float | None = 4.0, **options: object) -> None:
        self.now_s = 0.0
        options = {"seed": 1, **options}
        self.car = PracticeCar(fault, size, clock=lambda: self.now_s, **options)  # type: ignore[arg-type]

    def after(self, seconds: float) -> "Stand":
        self.now_s += seconds
        self.car.advance(self.now_s)
        return self

    def key(self, key: Key, wait_s: float = 0.5) -> "Stand":
        self.car.do("key", key)
        return self.after(wait_s)

    def replies(self, *payload: int, node: int = 0, functional: bool = True) -> list[Response]:
        answers = self.car.nodes[node].answer(bytes(payload), functional=functional)
        return [decode_response(reply.payload) for reply in answers]

    def one(self, *payload: int, node: int = 0, functional: bool = True) -> Response:
        (reply,) = self.replies(*payload, node=node, functional=functional)
        return reply

    def value(self, name: str, node: int = 0) -> float:
        row = parameters.by_name(name)
        reply = self.one(1, row.identifier, node=node)
        assert isinstance(reply, Data)
        value = reply.values()[name]
        assert value is not None
        return value


@pytest.fixture
def stand() -> Stand:
    """A leak, with the key on and the engine off."""
    return Stand().key(Key.ON)


@pytest.fixture(scope="module")
def idling() -> Iterator[Stand]:
    """The same car, idling for a while; tests only read from it."""
    stand = Stand(driver=Mechanic(key_on_s=1.0)).after(26.0)
    assert stand.car.seen().running
    yield stand
    stand.car.close()


def test_it_is_a_car_as_a_wire_sees_it(stand: Stand) -> None:
    car: Answering = stand.car
    assert [node.address for node in car.nodes] == [0x10, 0x18]
    assert car.awake


@pytest.mark.parametrize("key", [Key.OFF, Key.ACCESSORY])
def test_a_sleeping_car_answers_nothing(key: Key) -> None:
    stand = Stand().key(key)
    assert not stand.car.awake
    assert stand.replies(1, 0x0C) == stand.replies(3, node=1) == []


def test_the_key_off_silences_a_running_car(idling: Stand) -> None:
    stand = Stand(driver=None).key(Key.START, 2.0)
    assert stand.car.seen().running
    assert stand.car.controls.key == Key.ON
    stand.key(Key.OFF, 0.1)
    assert not stand.car.awake
    assert stand.key(Key.ON, 3.0).value("engine_speed") == 0.0


def test_with_the_engine_off_the_manifold_is_at_the_barometer(stand: Stand) -> None:
    assert stand.value("engine_speed") == 0.0
    assert stand.value("mass_air_flow") == 0.0
    level = stand.value("barometric_pressure")
    assert stand.value("intake_manifold_pressure") == pytest.approx(level, abs=2.5)
    assert 12.0 < stand.value("control_module_voltage") < 13.0


def test_the_pedal_moves_the_plate_with_the_engine_off(stand: Stand) -> None:
    names = ("accelerator_pedal_position_d", "accelerator_pedal_position_e")
    up = [stand.value(name) for name in names]
    plate, command = stand.value("throttle_position"), stand.value("commanded_throttle_actuator")
    stand.car.do("pedal_pct", 100.0)
    stand.after(0.5)
    down = [stand.value(name) for name in names]
    assert down[0] - up[0] == pytest.approx(2.0 * (down[1] - up[1]), abs=1.0)
    assert stand.value("relative_accelerator_pedal_position") == 100.0
    assert stand.value("throttle_position") > plate + 50.0
    assert stand.value("commanded_throttle_actuator") > command + 30.0


def test_an_idling_leak_shows_in_the_trims(idling: Stand) -> None:
    reply = idling.one(1, 0x0C, 0x0B, 0x10, 0x06, 0x07, 0x03)
    assert isinstance(reply, Data)
    assert [one for one, _ in reply.replies] == [0x0C, 0x0B, 0x10, 0x06, 0x07, 0x03]
    values = reply.values()
    short, long = values["short_term_fuel_trim_bank_1"], values["long_term_fuel_trim_bank_1"]
    assert short is not None
    assert long is not None
    assert short + long > 15.0
    assert values["fuel_system_status"] == 2
    assert 13.5 < idling.value("control_module_voltage") < 14.6


def test_every_parameter_it_claims_is_answered_in_full(idling: Stand) -> None:
    wanted: list[int] = []
    for mask in range(0x00, 0x100, 0x20):
        masks = idling.replies(1, mask)
        if not masks:
            break
        assert isinstance(masks[0], Data)
        wanted += parameters.supported(mask, masks[0].replies[0][1])
    asked = [one for one in wanted if one % 0x20]
    assert len(asked) > 30
    for one in asked:
        reply = idling.one(1, one)
        assert isinstance(reply, Data)
        assert reply.values().keys() >= {row.name for row in parameters.by_identifier(one)[:1]}


def test_the_gearbox_has_its_own_idea_of_engine_speed(idling: Stand) -> None:
    ours, its = idling.value("engine_speed"), idling.value("engine_speed", node=1)
    assert its == pytest.approx(ours, abs=15.0)
    assert idling.one(3, node=1) == TroubleCodes(3, ())  # type: ignore[arg-type]


def test_what_it_has_not_got_is_refused_physically_and_met_with_silence_functionally(
    stand: Stand,
) -> None:
    for payload, code in (((1, 0x5C), 0x12), ((0x22, 1, 2), 0x11), ((9, 0x55), 0x12), ((1,), 0x13)):
        assert stand.replies(*payload) == []
        assert stand.one(*payload, functional=False) == Negative(payload[0], code)


def test_a_request_for_some_it_has_is_answered_in_part(stand: Stand) -> None:
    reply = stand.one(1, 0x5C, 0x0C)
    assert isinstance(reply, Data)
    assert [one for one, _ in reply.replies] == [0x0C]


def test_a_mask_that_claims_too_much() -> None:
    stand = Stand(manners=Manners(claims_too_much=UNRELIABLE_MASK)).key(Key.ON)
    for one in UNRELIABLE_MASK:
        reply = stand.one(1, one & 0xE0)
        assert isinstance(reply, Data)
        assert one in parameters.supported(one & 0xE0, reply.replies[0][1])
        assert stand.one(1, one, functional=False) == Negative(1, 0x12)


def test_a_slow_controller_asks_to_wait_first() -> None:
    stand = Stand(manners=Manners(latency_s=0.02, jitter_s=0.0, pending_first=True)).key(Key.ON)
    first, second = stand.car.nodes[0].answer(bytes((9, 2)), functional=True)
    assert first.payload == bytes((0x7F, 0x09, 0x78))
    assert first.after_s == pytest.approx(0.02)
    assert second.after_s > first.after_s
    assert isinstance(decode_response(second.payload), VehicleInformation)


def test_latency_is_as_told() -> None:
    stand = Stand(manners=Manners(latency_s=0.05, jitter_s=0.01)).key(Key.ON)
    after = [stand.car.nodes[0].answer(b"\x01\x0c", functional=True)[0].after_s for _ in range(50)]
    assert 0.05 <= min(after) <= max(after) <= 0.06


def test_it_says_who_it_is(stand: Stand) -> None:
    items = stand.one(9, 0)
    assert isinstance(items, VehicleInformation)
    assert parameters.supported(0, items.data) == (2, 4, 6, 10)
    number, name = stand.one(9, 2), stand.one(9, 0x0A, node=1)
    assert isinstance(number, VehicleInformation)
    assert isinstance(name, VehicleInformation)
    assert number.text.startswith("00PBELLM")
    assert len(number.text) == 17
    assert name.text == "TCM-TransmisCtrl"


@pytest.fixture(scope="module")
def lean() -> Stand:
    """A leak large enough to have set a code; tests leave it as it is."""
    return Stand().key(Key.ON)


def test_a_large_leak_comes_in_with_its_code_and_freeze_frame(lean: Stand) -> None:
    for service in (3, 7, 0x0A):
        reply = lean.one(service)
        assert isinstance(reply, TroubleCodes)
        assert "P0171" in reply.codes
    assert lean.one(2, 0x02, 0) == Data(2, ((0x02, b"\x01\x71"),))  # type: ignore[arg-type]
    frozen = lean.one(2, 0x0C, 0)
    assert isinstance(frozen, Data)
    speed = frozen.values()["engine_speed"]
    assert speed is not None
    assert 500 < speed < 1000
    status = lean.one(1, 1)
    assert isinstance(status, Data)
    decoded = decode_monitor_status(status.replies[0][1])
    assert decoded.lamp_on
    assert decoded.code_count >= 1
    assert decoded.ready
    assert lean.car.lamp == "on"


def test_an_idle_that_was_still_coming_down_leaves_no_code() -> None:
    # With its mixture at the limit this one comes down slowly, and then idles on its mark.
    stand = Stand("leak", 5.0, variant="E", seed=1)
    reply = stand.key(Key.ON).one(3)
    assert isinstance(reply, TroubleCodes)
    assert "P0171" in reply.codes
    assert "P0507" not in reply.codes


def test_clearing_forgets_codes_and_readiness_but_not_the_permanent_code() -> None:
    stand = Stand().key(Key.ON)
    assert stand.one(4) == Cleared()
    assert stand.one(3) == TroubleCodes(3, ())  # type: ignore[arg-type]
    permanent = stand.one(0x0A)
    assert isinstance(permanent, TroubleCodes)
    assert "P0171" in permanent.codes
    status = stand.one(1, 1)
    assert isinstance(status, Data)
    assert not decode_monitor_status(status.replies[0][1]).ready
    assert stand.value("long_term_fuel_trim_bank_1") == 0.0
    assert stand.value("warm_ups_since_codes_cleared") == 0
    assert stand.replies(2, 0x0C, 0) == []


def test_clearing_is_refused_while_the_engine_runs(idling: Stand) -> None:
    assert idling.one(4) == idling.one(4, node=1) == Negative(4, 0x22)


def test_the_same_arguments_give_the_same_answers() -> None:
    def answers() -> list[bytes]:
        stand = Stand(driver=Mechanic(key_on_s=1.0))
        payloads = []
        for _ in range(12):
            stand.after(0.7)
            payloads += [
                r.payload for r in stand.car.nodes[0].answer(b"\x01\x0c\x10\x11", functional=True)
            ]
        return payloads

    assert answers() == answers()


def test_a_car_file_is_taken_over() -> None:
    owner = Car(Known(1.33), "pressure", banks=1, cylinders=4, idle_rpm=Known(750.0))
    case = choose_case("healthy", None, 3, "B", owner, 90.0)
    written = car_from_mapping(tomllib.loads(car_toml(case, "none")))
    assert written.displacement_l.value == pytest.approx(1.33)
    assert written.metering == "pressure"
    assert (written.banks, written.cylinders) == (1, 4)
    assert written.idle_rpm == Known(750.0)
    (sim,) = run([replace(case, plan=plan_of((0.0, 20.0)))], keep_true=True)
    assert float(np.mean(sim.true["speed_rpm"])) == pytest.approx(750.0, abs=40.0)


def test_truth_is_as_asked() -> None:
    pair = truth_of(choose_case("leak+deposit", None, 3, "A", None, 90.0))
    assert pair.units == {"leak": "mm", "deposit": "mm2"}
    for sizes in (2.0, [2.0, 5.0], {"leak": 2.0}):
        truth = truth_of(choose_case("leak+deposit", sizes, 3, "A", None, 90.0))
        assert truth.sizes["leak"] == pytest.approx(2.0)
    low = truth_of(choose_case("meter_low", 0.8, 3, "A", None, 90.0))
    assert low.sizes == {"meter_low": pytest.approx(0.8)}


@pytest.mark.parametrize(
    ("fault", "size", "said"),
    [
        ("leek", None, '"leek" is no cause; use one of healthy, leak'),
        ("leak", 90.0, "A leak of 90 mm is impossible; it lies between 0.2 and 25 mm."),
        ("meter_low", 1.2, "A meter_low of 1.2 ratio is impossible; it lies between 0.3 and 1"),
        ("healthy", 2.0, '"healthy" has 0 sizes, not 1.'),
    ],
)
def test_a_fault_that_cannot_be(fault: str, size: float | None, said: str) -> None:
    with pytest.raises(CarError) as caught:
        PracticeCar(fault, size)
    assert str(caught.value).startswith(said)


def test_only_a_mechanic_takes_requests(stand: Stand) -> None:
    with pytest.raises(BellmouthError, match="Nobody in this practice car takes requests"):
        stand.car.ask(1500.0)


def test_a_mechanic_holds_the_speed_that_is_asked() -> None:
    stand = Stand(driver=Mechanic(key_on_s=1.0)).after(8.0)
    stand.car.ask(1800.0)
    stand.after(12.0)
    assert stand.value("engine_speed") == pytest.approx(1800.0, rel=0.05)
    assert stand.value("relative_accelerator_pedal_position") > 0.0


def test_the_gearbox_has_codes_of_its_own() -> None:
    stand = Stand(gearbox_codes=("P0741",)).key(Key.ON)
    assert stand.one(3, node=1) == TroubleCodes(3, ("P0741",))  # type: ignore[arg-type]
    assert stand.one(4, node=1) == Cleared()
    assert stand.one(3, node=1) == TroubleCodes(3, ())  # type: ignore[arg-type]
    assert len(Stand(gearbox=False).car.nodes) == 1


def test_a_battery_taken_off_forgets(stand: Stand) -> None:
    stand.car.take_battery_off()
    assert not stand.key(Key.ON).car.awake
    stand.car.put_battery_on()
    stand.key(Key.ON)
    assert not stand.car.learned.idle
    assert stand.value("long_term_fuel_trim_bank_1") == 0.0


def test_stale_learning_is_learned_anew() -> None:
    """Idle after cleaning is high until the pedal pattern has taken, and stays right after."""
    stand = Stand("learned_stale", None, seed=2).key(Key.START, 13.0)
    high = stand.value("engine_speed") - stand.car._body.engine.run.target[0]
    assert high > 60.0
    stand.key(Key.OFF, 12.0)
    begin = stand.now_s
    stand.car.do("key", Key.ON)
    for n in range(5):
        stand.car.do("pedal_pct", 100.0, begin + 3.0 + 0.8 * n)
        stand.car.do("pedal_pct", 0.0, begin + 3.4 + 0.8 * n)
    held = begin + 3.0 + 3.2 + 0.4 + 7.0
    stand.car.do("pedal_pct", 100.0, held)
    stand.car.do("pedal_pct", 0.0, held + 21.0)
    stand.car.do("key", Key.START, held + 22.5)
    stand.after(held + 45.0 - begin)
    assert any(v.met and v.procedure == "idle_air" for v in stand.car.verdicts)
    stand.key(Key.OFF, 12.0).key(Key.START, 18.0)
    assert abs(stand.value("engine_speed") - stand.car._body.engine.run.target[0]) < 0.4 * high


def test_the_car_keeps_up_in_a_thread() -> None:
    # The start is far away: however late this thread looks, the key is on and no further.
    car = PracticeCar("leak", 4.0, seed=1, driver=Mechanic(key_on_s=900.0), speed=4.0)
    with car.keep_up(every_s=0.01):
        while car.time_s < 1.2:
            assert car.now_s() < 600.0
    assert car.controls.key == Key.ON


def test_a_car_that_meters_by_pressure_has_no_second_sensor_to_be_off() -> None:
    """To leave out banks, as was advised, helps nobody there."""
    owner = Car(Known(3.0), "pressure", banks=2)
    with pytest.raises(CarError, match='has "meter_low" instead'):
        choose_case("pressure_low", None, 1, "A", owner, 90.0)
