"""Each fault pushes the signals the way the trade knows it to: the same cars with and without."""

from dataclasses import replace

import numpy as np
import pytest

from bellmouth.practice.columns import Floats
from bellmouth.practice.faults import Faults
from bellmouth.practice.population import Case, draw
from bellmouth.practice.scenario import SimulatedCase, run
from tests.practice.conftest import on_course

KINDS = ("healthy", "leak", "meter_low", "fuel_low", "deposit", "stale", "pressure_high")


def _with(case: Case, kind: str) -> Case:
    air = float(case.car.idle_airflow_g_s[0])
    change: dict[str, float] = {
        "healthy": {},
        "leak": {"leak_mm2": 0.18 * air / 0.2362},
        "meter_low": {"meter_log": float(np.log(0.88))},
        "fuel_low": {"fuel_log": float(np.log(0.88))},
        "deposit": {"deposit_mm2": 2.0 * float(case.car.slope_mm2_deg[0])},
        "stale": {"stale_g_s": 0.7 * air, "stale_closable": 0.2},
        "pressure_high": {"pressure_log": float(np.log(1.15))},
    }[kind]
    fault: Faults = replace(case.fault, **{k: np.array([v]) for k, v in change.items()})
    return replace(case, fault=fault)


@pytest.fixture(scope="module")
def paired() -> dict[str, list[SimulatedCase]]:
    """The same ten cars of variant A (two of them pressure-metered at least) with each fault."""
    cars = on_course(draw(10, "A", 21, causes=["healthy"]))
    cars = [replace(c, car=replace(c.car, total_limit=np.array([0.4]))) for c in cars]
    runs = run([_with(c, kind) for kind in KINDS for c in cars])
    return {kind: runs[i * 10 : i * 10 + 10] for i, kind in enumerate(KINDS)}


def level(sim: SimulatedCase, name: str, begin_s: float = 7.0, end_s: float = 16.0) -> float:
    keep = (sim.time_s > begin_s) & (sim.time_s < end_s)
    return float(np.mean(sim.true[name][keep]))


def trim(sim: SimulatedCase, begin_s: float = 7.0, end_s: float = 16.0) -> float:
    """Total trim, mean of both banks (a leak may be nearer one of them)."""
    parts = ("short_1", "long_1", "short_2", "long_2")
    return 0.5 * sum(level(sim, name, begin_s, end_s) for name in parts)


def change(
    paired: dict[str, list[SimulatedCase]], kind: str, name: str, *, metered: str = ""
) -> Floats:
    """Change of a level against the same car when healthy."""
    got = []
    for good, bad in zip(paired["healthy"], paired[kind], strict=True):
        if metered and bad.car.metering != metered:
            continue
        got.append(level(bad, name) - level(good, name))
    return np.array(got)


def trims(
    paired: dict[str, list[SimulatedCase]], kind: str, metered: str, begin_s: float, end_s: float
) -> Floats:
    return np.array([
        trim(bad, begin_s, end_s) - trim(good, begin_s, end_s)
        for good, bad in zip(paired["healthy"], paired[kind], strict=True)
        if bad.car.metering == metered
    ])  # fmt: skip


def test_both_kinds_of_metering_are_tried(paired: dict[str, list[SimulatedCase]]) -> None:
    kinds = [s.car.metering for s in paired["healthy"]]
    assert kinds.count("airflow") >= 2
    assert kinds.count("pressure") >= 2


def test_a_leak_past_a_meter_is_trimmed_at_idle_and_fades_with_flow(
    paired: dict[str, list[SimulatedCase]],
) -> None:
    idle = trims(paired, "leak", "airflow", 7.0, 16.0)
    fast = trims(paired, "leak", "airflow", 25.0, 30.0)
    share = np.array([
        level(s, "leak_g_s") / level(s, "cylinder_g_s")
        for s in paired["leak"] if s.car.metering == "airflow"
    ])  # fmt: skip
    # Of a correction that was about one before: true over metered air, less one.
    assert np.all(np.abs(idle - share / (1.0 - share)) < 0.03)
    assert np.all(fast < 0.65 * idle)


def test_a_leak_on_a_pressure_metered_car_is_fuelled_and_the_plate_closes(
    paired: dict[str, list[SimulatedCase]],
) -> None:
    assert np.all(np.abs(trims(paired, "leak", "pressure", 7.0, 16.0)) < 0.02)
    closed = change(paired, "leak", "opening_deg", metered="pressure")
    faster = change(paired, "leak", "speed_rpm", metered="pressure")
    assert np.all((closed < -0.02) | (faster > 20.0))


@pytest.mark.parametrize("kind", ["meter_low", "fuel_low"])
def test_scale_errors_are_trimmed_alike_everywhere(
    paired: dict[str, list[SimulatedCase]], kind: str
) -> None:
    for metered in ("airflow", "pressure"):
        idle = trims(paired, kind, metered, 7.0, 16.0)
        fast = trims(paired, kind, metered, 25.0, 30.0)
        # 1 / 0.88 - 1 is 13.6 % of a correction that was one before.
        assert np.all(np.abs(idle - 0.136) < 0.03)
        assert np.all(np.abs(fast - idle) < 0.04)


def test_a_meter_that_reads_low_reads_low(paired: dict[str, list[SimulatedCase]]) -> None:
    for good, bad in zip(paired["healthy"], paired["meter_low"], strict=True):
        if bad.car.metering == "airflow":
            ratio = level(bad, "meter_g_s") / level(bad, "cylinder_g_s")
            before = level(good, "meter_g_s") / level(good, "cylinder_g_s")
            assert ratio / before == pytest.approx(0.88, abs=0.01)


def test_a_deposit_opens_the_plate_and_leaves_the_trims(
    paired: dict[str, list[SimulatedCase]],
) -> None:
    assert np.all(change(paired, "deposit", "opening_deg") > 0.2)
    assert np.all(np.abs(change(paired, "deposit", "speed_rpm")) < 25.0)
    for metered in ("airflow", "pressure"):
        assert np.all(np.abs(trims(paired, "deposit", metered, 7.0, 16.0)) < 0.02)


def test_stale_learning_idles_high_with_ordinary_trims(
    paired: dict[str, list[SimulatedCase]],
) -> None:
    assert np.all(change(paired, "stale", "speed_rpm") > 40.0)
    assert np.all(change(paired, "stale", "opening_deg") > 0.0)
    for metered in ("airflow", "pressure"):
        assert np.all(np.abs(trims(paired, "stale", metered, 7.0, 16.0)) < 0.03)


def test_a_false_pressure_sensor_leaves_the_engine_of_a_metered_car_alone(
    paired: dict[str, list[SimulatedCase]],
) -> None:
    for good, bad in zip(paired["healthy"], paired["pressure_high"], strict=True):
        if bad.car.metering == "airflow":
            assert level(bad, "true_kpa") == pytest.approx(level(good, "true_kpa"), rel=0.01)
            offset = float(bad.case.car.pressure_offset_kpa[0])
            gain = (level(bad, "sensed_kpa") - offset) / (level(good, "sensed_kpa") - offset)
            assert gain == pytest.approx(1.15, abs=0.01)
