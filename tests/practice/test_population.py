"""The population is as wide as it promises, and the same seed draws the same cars."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bellmouth.practice.cars import Cars, learnable_deg
from bellmouth.practice.faults import CAUSES, PAIRS, SIZE_UNITS, Weather
from bellmouth.practice.laws import FADES, PLATE_LAWS
from bellmouth.practice.population import SINGLE_CAUSES, VARIANTS, Case, draw, healthy_again


@pytest.fixture(scope="module", params=VARIANTS)
def population(request: pytest.FixtureRequest) -> list[Case]:
    return draw(1500, str(request.param), 4)


# What cars are drawn from at least; each end must be approached by a fifteenth of the width.
RANGES = {
    "closed_reading_pct": (0.4, 22.0),
    "rest_above_idle_deg": (0.0, 4.5),
    "discharge": (0.65, 0.98),
    "plate_shape": (-0.35, 0.35),
    "slope_mm2_deg": (1.0, 8.0),
    "filling_idle": (0.42, 0.80),
    "filling_load": (0.56, 0.95),
    "heating_k": (4.0, 38.0),
    "specified_rpm": (600.0, 850.0),
    "meter_log_gain": (-0.015, 0.015),
    "meter_bend": (-0.008, 0.008),
    "pressure_gain": (0.994, 1.006),
    "pressure_offset_kpa": (-0.3, 0.3),
}


@pytest.mark.parametrize("name", RANGES)
def test_cars_fill_their_range(population: list[Case], name: str) -> None:
    low, high = RANGES[name]
    values = getattr(Cars.join([c.car for c in population]), name)
    edge = (high - low) / 15.0
    assert low - 1e-9 <= values.min() < low + edge
    assert high - edge < values.max() <= high + 1e-9


def test_air_and_bypass_per_litre_fill_their_ranges(population: list[Case]) -> None:
    car = Cars.join([c.car for c in population])
    air, bypass = car.idle_airflow_g_s / car.displacement_l, car.bypass_mm2 / car.displacement_l
    assert 0.6 - 1e-9 <= air.min() < 0.68
    assert 1.8 < air.max() <= 1.9 + 1e-9
    assert 0.4 - 1e-9 <= bypass.min() < 0.45
    assert 3.0 < bypass.max() <= 3.3 + 1e-9


def test_weather_fills_its_range(population: list[Case]) -> None:
    weather = Weather.join([c.weather for c in population])
    assert 88.0 <= weather.barometric_kpa.min() < 89.5
    assert 101.9 < weather.barometric_kpa.max() <= 102.3
    assert weather.ambient_c.min() < -5.0
    assert weather.ambient_c.max() > 48.0
    assert weather.ethanol_pct.max() > 78.0


def test_shares_are_those_promised(population: list[Case]) -> None:
    n = len(population)

    def near(count: int, share: float) -> bool:
        return bool(abs(count / n - share) < 4.0 * np.sqrt(share * (1 - share) / n))

    assert near(sum(c.plan.kind == "idle" for c in population), 0.3)
    assert near(sum(bool(c.plan.purge.any()) for c in population), 0.4)
    running = [c.plan.load[c.plan.key > 0] for c in population]
    assert near(sum(bool(r.all()) for r in running), 0.2)
    assert near(sum(bool(r.any() and not r.all()) for r in running), 0.4)
    off = [abs(c.car.specified_rpm[0] - c.car.idle_speed_rpm[0]) for c in population]
    assert near(sum(o > 1.0 for o in off), 0.15)
    assert max(off) > 60.0
    for reported in ("airflow+pressure", "airflow", "pressure"):
        assert near(sum(c.reported == reported for c in population), 1 / 3)
    for cause in SINGLE_CAUSES:
        assert abs(sum(c.cause == cause for c in population) - n / 8) <= 1


def test_fault_sizes_run_from_worth_acting_on_to_the_worst(population: list[Case]) -> None:
    sizes: dict[str, list[float]] = {}
    for case in population:
        for cause, size in case.sizes.items():
            sizes.setdefault(cause, []).append(size)
    for low, high in (("meter_low", "meter_high"), ("fuel_low", "fuel_high")):
        assert 0.89 < max(sizes[low]) <= 1 / 1.1 + 1e-9
        assert min(sizes[low]) < 0.70
        assert 1.1 - 1e-9 <= min(sizes[high]) < 1.12
        assert max(sizes[high]) > 1.4
    surplus = [
        c.sizes["learned_stale"] / c.car.idle_airflow_g_s[0]
        for c in population if c.cause == "learned_stale"
    ]  # fmt: skip
    assert min(surplus) < 0.13
    assert max(surplus) > 1.1
    shares = [
        c.fault.leak_mm2[0] * 0.2362 / c.car.idle_airflow_g_s[0]
        for c in population if c.cause == "leak" and c.reported == "pressure"
    ]  # fmt: skip
    assert min(shares) < 0.10
    assert max(shares) > 0.6


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10**6), variant=st.sampled_from(VARIANTS))
def test_the_same_seed_draws_the_same_cases(seed: int, variant: str) -> None:
    once, again = draw(4, variant, seed), draw(4, variant, seed)
    for a, b in zip(once, again, strict=True):
        assert a.sizes == b.sizes
        assert a.reports == b.reports
        assert a.car.row(0) == b.car.row(0)
        assert a.weather.row(0) == b.weather.row(0)
        assert np.array_equal(a.plan.held_rpm, b.plan.held_rpm)


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10**6), cause=st.sampled_from([*CAUSES, *PAIRS]))
def test_every_cause_has_its_sizes_and_the_sensors_it_is_about(seed: int, cause: str) -> None:
    case = draw(1, "B", seed, causes=[cause])[0]
    assert set(case.sizes) == set(cause.split("+")) - {"healthy"}
    assert all(name in SIZE_UNITS and size > 0 for name, size in case.sizes.items())
    if cause.startswith("pressure_"):
        assert case.reported == "airflow+pressure"
    if cause.startswith("boost_"):
        assert "boost_pressure" in case.reports


def test_the_same_car_when_good_differs_in_weather_alone() -> None:
    case = draw(1, "A", 5, causes=["leak"])[0]
    good = healthy_again(case, 1)
    assert good.cause == "healthy"
    assert good.sizes == {}
    assert good.car is case.car
    assert good.reports == case.reports
    assert good.fault.leak_mm2[0] == 0.0
    assert good.weather.barometric_kpa[0] != case.weather.barometric_kpa[0]
    blends = [float(c.weather.ethanol_pct[0]) for c in (case, good)]
    assert abs(blends[0] - blends[1]) < 10.0


def test_unknown_variants_and_plans_are_named() -> None:
    with pytest.raises(ValueError, match=r'^practice variant "F": use one of A, B, C, D, E\.$'):
        draw(1, "F", 1)
    with pytest.raises(
        ValueError, match=r'^recording plan "race": use one of idle, held, drive\.$'
    ):
        draw(1, "A", 1, plans=["race"])


@pytest.mark.parametrize("variant", VARIANTS)
def test_deposits_are_worth_a_degree_to_what_learning_makes_up_for(variant: str) -> None:
    cases = draw(200, variant, 8, causes=["deposit"])
    car = Cars.join([c.car for c in cases])
    plate, lost = PLATE_LAWS[variant](car), np.array([c.sizes["deposit"] for c in cases])
    clean = plate(car.idle_opening_deg)
    low, high = car.idle_opening_deg, car.idle_opening_deg + 20.0
    for _ in range(40):
        middle = 0.5 * (low + high)
        passes = plate(middle) - lost * FADES[variant](middle, car.fade_deg) > clean
        low, high = np.where(passes, low, middle), np.where(passes, middle, high)
    worth = low - car.idle_opening_deg
    assert 0.99 < worth.min() < 1.15
    assert np.median(worth) > 1.7
    assert 4.5 < worth.max() < 14.0
    assert np.all(worth < learnable_deg(car) + 1e-6)
