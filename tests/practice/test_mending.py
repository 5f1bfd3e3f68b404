"""Work on the practice car heals what it should, and the controller still has to learn."""

import numpy as np
import pytest

from bellmouth.car.description import Car, Known
from bellmouth.practice.ignition import Key
from bellmouth.practice.live import PracticeCar
from bellmouth.practice.live_case import choose_case
from bellmouth.practice.mending import idle_works, mended


@pytest.mark.parametrize(
    ("cause", "work", "left"),
    [
        ("leak", "reseal", "healthy"),
        ("leak", "renew_gasket", "healthy"),
        ("deposit", "clean_plate", "healthy"),
        ("meter_low", "clean_meter", "healthy"),
        ("leak+meter_low", "reseal", "meter_low"),
        ("leak+deposit", "clean_plate", "leak"),
        ("leak", "clean_meter", "leak"),
        ("fuel_low", "clean_plate", "fuel_low"),
        ("fuel_low", "mend_fuel", "healthy"),
        ("fuel_high", "mend_fuel", "healthy"),
        ("leak+fuel_low", "mend_fuel", "leak"),
        ("learned_stale", "relearn", "learned_stale"),
    ],
)
def test_a_work_heals_its_causes_and_no_others(cause: str, work: str, left: str) -> None:
    case = choose_case(cause, None, 3, "A", None, 90.0)
    after = mended(case, [work])
    assert after.cause == left
    assert set(after.sizes) == {part for part in left.split("+") if part != "healthy"}
    if left == "healthy":
        assert after.fault.leak_mm2[0] == after.fault.deposit_mm2[0] == 0.0
        assert after.fault.meter_log[0] == after.fault.fuel_log[0] == 0.0
    for name in ("car", "weather"):
        assert getattr(after, name) is getattr(case, name)


@pytest.mark.parametrize(
    ("cause", "works", "idle"),
    [
        ("leak", ["reseal", "renew_gasket"], ()),
        ("leak", ["clean_meter", "reseal", "clean_meter"], ("clean_meter",)),
        ("leak+deposit", ["clean_plate"], ()),
        ("healthy", ["clean_plate"], ("clean_plate",)),
    ],
)
def test_works_that_heal_nothing_are_known(
    cause: str, works: list[str], idle: tuple[str, ...]
) -> None:
    assert idle_works(cause, works) == idle


def test_where_there_is_no_meter_none_is_cleaned() -> None:
    owner = Car(displacement_l=Known(1.6), metering="pressure")
    case = choose_case("meter_low", None, 3, "A", owner, 90.0)
    assert mended(case, ["clean_meter"]).cause == "meter_low"
    assert idle_works("meter_low", ["clean_meter"], metered=False) == ("clean_meter",)


def idle(car: PracticeCar, seconds: float) -> tuple[float, float]:
    """Engine speed [rpm] and total trim [%] so many seconds after the start, over two seconds."""
    car.do("key", Key.START, car.time_s)
    car.advance(car.time_s + seconds)
    speeds, trims = [], []
    for _ in range(20):
        car.advance(car.time_s + 0.1)
        values = car._body.values
        values.refresh()
        speeds.append(values.value("engine_speed"))
        trims.append(values.total_trim_pct()[0])
    return float(np.mean(speeds)), float(np.mean(trims))


def stopped(car: PracticeCar) -> None:
    car.do("key", Key.OFF, car.time_s)
    car.advance(car.time_s + 3.0)
    car.do("key", Key.ON, car.time_s)
    car.advance(car.time_s + 0.5)


def test_a_resealed_leak_is_gone_from_the_trims() -> None:
    car = PracticeCar("leak", 2.0, seed=5, clock=lambda: 0.0)
    car.do("key", Key.ON, 0.0)
    _, before = idle(car, 14.0)
    stopped(car)
    car.mend(["reseal"])
    assert car.truth.cause == "healthy"
    car._body.engine.forget_trims()
    _, after = idle(car, 14.0)
    assert before > 4.0
    assert abs(after) < 0.5 * before


def test_after_cleaning_a_deposit_the_idle_is_too_high_until_it_is_learned() -> None:
    car = PracticeCar("deposit", 15.0, seed=5, clock=lambda: 0.0)
    car.do("key", Key.ON, 0.0)
    before, _ = idle(car, 10.0)
    learned = float(car._body.engine.run.idle.learned[0])
    stopped(car)
    car.mend(["clean_plate"])
    assert float(car._body.engine.run.idle.learned[0]) == learned
    cleaned, _ = idle(car, 10.0)
    assert cleaned > before + 40.0
    car._body.engine.learn_idle(20.0)
    car.advance(car.time_s + 14.0)
    assert car._body.engine.speed_rpm < before + 40.0


@pytest.mark.parametrize("variant", ["A", "B", "C", "D", "E"])
def test_feedback_takes_back_the_same_share_however_learning_counts(variant: str) -> None:
    car = PracticeCar("deposit", None, seed=3, variant=variant, clock=lambda: 0.0)
    car.mend(["clean_plate"])
    idle = car._body.engine.run.idle
    surplus_deg = idle.remembered_deg() - idle.car.idle_opening_deg
    assert idle.down_deg == pytest.approx(0.4 * surplus_deg)


@pytest.mark.parametrize(("variant", "seed"), [("C", 3), ("E", 8)])
def test_the_highest_idle_comes_within_reach_while_it_is_learned(variant: str, seed: int) -> None:
    car = PracticeCar("deposit", None, seed=seed, variant=variant, clock=lambda: 0.0)
    car.mend(["clean_plate"])
    car.do("key", Key.ON, 0.0)
    car.advance(1.0)
    car._body.engine.learn_idle(60.0)
    idle(car, 22.0)
    assert abs(car._body.engine.idle_error_rpm) < 100.0


def test_what_its_owner_wrote_is_not_changed_by_work() -> None:
    car = PracticeCar("deposit", None, seed=3, clock=lambda: 0.0)
    before = car.toml()
    car.mend(["clean_plate"])
    assert car.toml() == before
