"""Filling and plate laws: through the drawn levels, against a published area, and different."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bellmouth.practice import laws
from bellmouth.practice.cars import Cars
from bellmouth.practice.population import VARIANTS, draw


def cars_of(variant: str, n: int = 40, seed: int = 1) -> Cars:
    return Cars.join([c.car for c in draw(n, variant, seed, causes=["healthy"])])


# Circle less plate and shaft, integrated numerically (scipy.integrate.quad, per piece): bore 60,
# shaft 10, closed angle 6 degrees, and bore 48, shaft 8, closed 10. mm², angle from the section.
@pytest.mark.parametrize(
    ("bore", "shaft", "closed", "angle", "area"),
    [
        (60.0, 10.0, 6.0, 6.0, 0.0),
        (60.0, 10.0, 6.0, 7.0, 5.605891),
        (60.0, 10.0, 6.0, 16.0, 94.361738),
        (60.0, 10.0, 6.0, 90.0, 2230.222856),
        (48.0, 8.0, 10.0, 12.0, 12.213349),
    ],
)
def test_round_plate_opens_the_integrated_area(
    bore: float, shaft: float, closed: float, angle: float, area: float
) -> None:
    one = np.ones(1)
    got = laws.round_plate_mm2(one * (angle - closed), one * closed, one * bore, one * shaft)
    assert got[0] == pytest.approx(area, rel=1e-5, abs=1e-9)


@pytest.mark.parametrize("variant", VARIANTS)
def test_filling_passes_through_its_drawn_idle_level(variant: str) -> None:
    car = cars_of(variant)
    idle = laws.FILLING_LAWS[variant](car)(car.idle_kpa, car.idle_speed_rpm, car.idle_kpa * 0 + 100)
    assert idle == pytest.approx(car.filling_idle, rel=0.03)


@pytest.mark.parametrize("variant", VARIANTS)
def test_filling_rises_towards_its_drawn_level_under_load(variant: str) -> None:
    car = cars_of(variant)
    load = np.full(len(car), laws.LOAD_KPA)
    full = laws.FILLING_LAWS[variant](car)(load, np.full(len(car), laws.LOAD_RPM), load * 0 + 100)
    # Valve timing that moves dips at part load, and ram lifts: up to a fifth either way.
    assert np.all(np.abs(full / car.filling_load - 1.0) < 0.25)


@pytest.mark.parametrize("variant", VARIANTS)
@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_a_plate_never_closes_by_opening(variant: str, seed: int) -> None:
    car = cars_of(variant, 5, seed)
    area = laws.PLATE_LAWS[variant](car)
    steps = [area(np.full(len(car), x)) for x in np.linspace(0.0, 80.0, 60)]
    # Discharge may fall with opening, but by less than the plate opens.
    assert np.all(np.diff(np.array(steps), axis=0) >= -1e-6 * steps[-1])
    assert np.all(steps[0] <= 1e-9)


@pytest.mark.parametrize("variant", VARIANTS)
def test_area_near_closed_has_the_drawn_slope(variant: str) -> None:
    car = cars_of(variant)
    slope = laws.PLATE_LAWS[variant](car)(np.full(len(car), 2.0)) / 2.0
    assert np.all(np.abs(np.log(slope / car.slope_mm2_deg)) < 0.4)


def test_the_variants_are_structurally_different() -> None:
    """The same cars, given each variant's laws, breathe and open differently."""
    car = cars_of("A")
    n = len(car)
    part = [
        laws.FILLING_LAWS[v](car)(np.full(n, 62.0), np.full(n, 1900.0), np.full(n, 100.0))
        for v in VARIANTS
    ]
    wide = [laws.PLATE_LAWS[v](car)(np.full(n, 12.0)) for v in VARIANTS]
    for i in range(len(VARIANTS)):
        for j in range(i):
            assert np.median(np.abs(np.log(part[i] / part[j]))) > 0.01
            assert np.median(np.abs(np.log(wide[i] / wide[j]))) > 0.05


@pytest.mark.parametrize("variant", VARIANTS)
def test_a_deposit_fades_as_the_plate_opens(variant: str) -> None:
    fade = laws.FADES[variant]
    width = np.full(1, 5.0)
    shares = [float(fade(np.full(1, x), width)[0]) for x in (0.0, 1.0, 3.0, 8.0, 30.0)]
    assert shares[0] == 1.0
    assert shares == sorted(shares, reverse=True)
    assert shares[-1] < 0.06
