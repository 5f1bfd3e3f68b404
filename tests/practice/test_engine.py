"""The engine's dynamics: mass is kept, and where nothing changes the closed forms hold."""

import numpy as np
import pytest

from bellmouth.physics.orifice import mass_flow_kg_s
from bellmouth.practice.columns import Floats
from bellmouth.practice.engine import Engine
from bellmouth.practice.scenario import SimulatedCase

R = 0.28705


def steady(sim: SimulatedCase, begin_s: float, end_s: float) -> dict[str, Floats]:
    keep = (sim.time_s > begin_s) & (sim.time_s < end_s)
    return {k: v[keep] for k, v in sim.true.items()}


def engine_of(sim: SimulatedCase) -> Engine:
    return Engine(sim.case.car, sim.case.fault, sim.case.weather, sim.variant)


@pytest.mark.parametrize("variant", ["A", "B", "C", "E"])
def test_what_enters_the_manifold_leaves_it(
    healthy_by_variant: dict[str, list[SimulatedCase]], variant: str
) -> None:
    for sim in healthy_by_variant[variant]:
        true = sim.true
        step = sim.time_s[1] - sim.time_s[0]
        entered = np.sum(true["throttle_g_s"] + true["leak_g_s"] + true["purge_g_s"]) * step
        left = np.sum(true["cylinder_g_s"]) * step
        litres = float(sim.case.car.manifold_l[0])
        held = litres / R * (true["true_kpa"] / true["charge_k"])
        assert entered - left == pytest.approx(held[-1] - held[0], abs=0.01 * entered)


@pytest.mark.parametrize("variant", ["A", "B", "C", "E"])
@pytest.mark.parametrize(("begin_s", "end_s"), [(6.0, 16.0), (26.0, 30.0), (39.0, 42.0)])
def test_steady_flow_past_the_plate_is_the_orifice_equation(
    healthy_by_variant: dict[str, list[SimulatedCase]], variant: str, begin_s: float, end_s: float
) -> None:
    for sim in healthy_by_variant[variant]:
        true = steady(sim, begin_s, end_s)
        opening = np.array([np.mean(true["opening_deg"])])
        engine = engine_of(sim)
        engine.boost_kpa = np.array([np.mean(true["boost_kpa"])])
        engine.pressure_kpa = np.array([np.mean(true["true_kpa"])])
        area = engine.area_mm2(opening)[0] * 1e-6
        intake_k = np.mean(true["intake_c"]) - sim.case.car.intake_offset_k[0] + 273.15
        upstream, manifold = np.mean(true["boost_kpa"]) * 1e3, np.mean(true["true_kpa"]) * 1e3
        flow = 1e3 * float(mass_flow_kg_s(area, upstream, manifold, intake_k))
        assert np.mean(true["throttle_g_s"]) == pytest.approx(flow, rel=0.02)


@pytest.mark.parametrize("variant", ["A", "B", "C", "E"])
def test_steady_idle_is_where_both_routes_meet(
    healthy_by_variant: dict[str, list[SimulatedCase]], variant: str
) -> None:
    """Throttle flow equals speed-density flow at the manifold state that the steps settled at."""
    for sim in healthy_by_variant[variant]:
        true = steady(sim, 6.0, 16.0)
        engine = engine_of(sim)
        engine.speed_rpm = np.array([np.mean(true["speed_rpm"])])
        pressure, charge = np.array([np.mean(true["true_kpa"])]), np.array([true["charge_k"][-1]])
        drawn = float(engine.cylinder_g_s(pressure, charge)[0])
        assert np.mean(true["throttle_g_s"]) == pytest.approx(drawn, rel=0.02)


@pytest.mark.parametrize("variant", ["A", "B", "C", "E"])
def test_healthy_cars_idle_near_the_air_and_speed_they_were_drawn_with(
    healthy_by_variant: dict[str, list[SimulatedCase]], variant: str
) -> None:
    speeds, airs = [], []
    for sim in healthy_by_variant[variant]:
        true = steady(sim, 8.0, 16.0)
        speeds.append(np.mean(true["speed_rpm"]) - sim.case.car.idle_speed_rpm[0])
        airs.append(np.mean(true["cylinder_g_s"]) / sim.case.car.idle_airflow_g_s[0])
    assert np.max(np.abs(speeds)) < 40.0
    assert np.median(airs) == pytest.approx(1.0, abs=0.06)


@pytest.mark.parametrize("variant", ["A", "B", "C", "E"])
def test_held_speeds_need_realistic_air(
    healthy_by_variant: dict[str, list[SimulatedCase]], variant: str
) -> None:
    """Without load the manifold stays about as deep as at idle, and air grows with speed."""
    for sim in healthy_by_variant[variant]:
        idle, fast = steady(sim, 8.0, 16.0), steady(sim, 25.0, 30.0)
        assert np.mean(fast["speed_rpm"]) == pytest.approx(2500.0, abs=450.0)
        ratio = np.mean(fast["cylinder_g_s"]) / np.mean(idle["cylinder_g_s"])
        assert 1.5 < ratio < 7.0
        assert 0.6 < np.mean(fast["true_kpa"]) / np.mean(idle["true_kpa"]) < 1.6
