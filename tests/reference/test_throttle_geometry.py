"""The plate's open area: own derivation, integrated numerically by two routes (X).

The geometry is that of Heywood sec. 7.6.1 after Harrington and Bolt, SAE 700082 (M). The closed
form as remembered from there does not equal the area; the last test shows by how much.
"""

import itertools
import math

import numpy as np
import pytest
from scipy.integrate import quad

from bellmouth.physics import throttle
from tests.reference.reading import numbers


@pytest.mark.parametrize("row", numbers("throttle_area"))
def test_rows(row: dict[str, float]) -> None:
    area = throttle.open_area_m2(
        row["angle_deg"], row["closed_angle_deg"], row["bore_mm"] * 1e-3, row["shaft_mm"] * 1e-3
    )
    assert float(area) * 1e6 == pytest.approx(row["open_area_mm2"], abs=6e-7)


def integrated_area(plate: float, closed: float, bore: float, shaft: float) -> float:
    """Half chord of the bore less the plate's or the shaft's, strip by strip along the shaft."""
    radius = bore / 2.0
    narrowing = math.cos(math.radians(plate)) / math.cos(math.radians(closed))

    def gap(along: float) -> float:
        chord = math.sqrt(max(radius**2 - along**2, 0.0))
        return chord - min(max(narrowing * chord, shaft / 2.0), chord)

    # Where plate and shaft, and shaft and bore, change places.
    kinks = [
        math.sqrt(max(radius**2 - (shaft / 2.0 / scale) ** 2, 0.0)) for scale in (narrowing, 1)
    ]
    edges = sorted({0.0, *kinks, radius})
    pieces = (quad(gap, a, b, epsabs=1e-14)[0] for a, b in itertools.pairwise(edges))
    return 4.0 * float(sum(pieces))


def random_bodies(count: int) -> list[tuple[float, float, float, float]]:
    draw = np.random.default_rng(1976)
    bodies = []
    for _ in range(count):
        bore, closed = draw.uniform(0.03, 0.09), draw.uniform(0.0, 15.0)
        bodies.append((draw.uniform(closed, 89.9), closed, bore, bore * draw.uniform(0.05, 0.3)))
    return bodies


@pytest.mark.parametrize("body", random_bodies(25))
def test_integral_at_random_bodies(body: tuple[float, float, float, float]) -> None:
    assert float(throttle.open_area_m2(*body)) == pytest.approx(integrated_area(*body), abs=1e-12)


def test_random_points_fall_into_the_opening_as_often_as_its_area_says() -> None:
    plate, closed, bore, shaft = 35.0, 6.0, 0.060, 0.010
    draw = np.random.default_rng(700_082)
    along, across = draw.uniform(-bore / 2, bore / 2, (2, 400_000))
    squeezed = across * math.cos(math.radians(closed)) / math.cos(math.radians(plate))
    in_bore = along**2 + across**2 < (bore / 2) ** 2
    in_plate = along**2 + squeezed**2 < (bore / 2) ** 2
    hits = in_bore & ~in_plate & (np.abs(across) > shaft / 2)
    share = float(throttle.open_area_m2(plate, closed, bore, shaft)) / bore**2
    spread = math.sqrt(share * (1.0 - share) / along.size)
    assert hits.mean() == pytest.approx(share, abs=4.0 * spread)


def test_the_remembered_handbook_form_is_not_this_area() -> None:
    closed, a = math.cos(math.radians(6.0)), 10.0 / 60.0
    plate = math.cos(math.radians(80.0))
    k = plate / closed
    remembered = (
        1.0
        - k
        + (2.0 / math.pi)
        * (
            a / plate * math.sqrt(plate**2 - (a * closed) ** 2)
            - k * math.asin(a / k)
            - a * math.sqrt(1.0 - a**2)
            + math.asin(a)
        )
    )
    area = remembered * math.pi / 4.0 * 0.060**2
    ours = float(throttle.open_area_m2(80.0, 6.0, 0.060, 0.010))
    assert integrated_area(80.0, 6.0, 0.060, 0.010) == pytest.approx(ours, abs=1e-12)
    assert area < 0.94 * ours
