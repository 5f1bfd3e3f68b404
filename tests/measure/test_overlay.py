"""Overlays change what they say they change, and by how much, on a recording of our own."""

import numpy as np
import pytest

from bellmouth.physics import orifice
from bellmouth.recording.series import Recording, Series
from measure import overlay

_TIME = np.linspace(0.0, 100.0, 401)


def _series(name: str, unit: str, value: np.ndarray | float) -> Series:
    return Series(name, unit, _TIME, np.broadcast_to(np.asarray(value, dtype=float), _TIME.shape))


@pytest.fixture
def engine() -> Recording:
    """A plate that opens slowly: 6 mm2 and 4 mm2 a per cent, choked for most of the way."""
    plate = np.linspace(1.0, 6.0, len(_TIME))
    area = 6.0 + 4.0 * plate
    manifold = np.linspace(25.0, 60.0, len(_TIME))
    flow = 1e3 * orifice.mass_flow_kg_s(area * 1e-6, 98e3, manifold * 1e3, 293.15)
    speed = flow / manifold * 1e4
    return Recording(
        {
            "mass_air_flow": _series("mass_air_flow", "g/s", flow),
            "intake_manifold_pressure": _series("intake_manifold_pressure", "kPa", manifold),
            "boost_pressure": _series("boost_pressure", "kPa", 98.0),
            "barometric_pressure": _series("barometric_pressure", "kPa", 98.0),
            "ambient_air_temperature": _series("ambient_air_temperature", "degC", 20.0),
            "throttle_position": _series("throttle_position", "%", plate),
            "engine_speed": _series("engine_speed", "rpm", speed),
            "long_term_fuel_trim_bank_1": _series("long_term_fuel_trim_bank_1", "%", 0.0),
        },
        "our own",
    )


def test_scaled_scales_one_parameter_and_no_other(engine: Recording) -> None:
    laid = overlay.scaled(engine, "mass_air_flow", 0.9)
    ratio = laid.series["mass_air_flow"].value / engine.series["mass_air_flow"].value
    assert ratio == pytest.approx(0.9)
    changed = [n for n in engine.series if laid.series[n] is not engine.series[n]]
    assert changed == ["mass_air_flow"]


def test_short_fuel_is_made_up_by_the_trim_in_its_own_steps(engine: Recording) -> None:
    trim = overlay.fuel(engine, 0.9).series["long_term_fuel_trim_bank_1"].value
    assert trim == pytest.approx(100 / 9, abs=0.78125 / 2)
    assert trim / 0.78125 == pytest.approx(np.round(trim / 0.78125))


def test_a_leak_with_the_plate_closing_takes_a_choked_orifice_from_the_meter(
    engine: Recording,
) -> None:
    laid = overlay.leak_plate_closes(engine, 2.0)
    missed = engine.series["mass_air_flow"].value - laid.series["mass_air_flow"].value
    # Choked air through a hole of 2 mm at 98 kPa and 20 degC, discharge coefficient 0.8.
    choked = 0.8 * np.pi / 4 * 4e-6 * 98e3 / np.sqrt(287.05 * 293.15) * 0.684731 * 1e3
    low = engine.series["intake_manifold_pressure"].value < 50
    assert missed[low] == pytest.approx(choked, rel=1e-3)
    # The plate gives up the hole's 2.5 mm2: 0.63 % at 4 mm2 a per cent.
    closed = engine.series["throttle_position"].value - laid.series["throttle_position"].value
    assert np.median(closed[low]) == pytest.approx(2.513 / 4.0, rel=0.15)
    pressure = "intake_manifold_pressure"
    assert laid.series[pressure] is engine.series[pressure]


def test_a_leak_with_the_plate_still_raises_the_pressure_and_not_the_choked_meter(
    engine: Recording,
) -> None:
    laid = overlay.leak_pressure_rises(engine, 2.0)
    low = engine.series["intake_manifold_pressure"].value < 40
    rise = laid.series["intake_manifold_pressure"].value / 1.0
    before = engine.series["intake_manifold_pressure"].value
    assert (rise[low] > before[low]).all()
    meter = laid.series["mass_air_flow"].value[low]
    assert meter == pytest.approx(engine.series["mass_air_flow"].value[low], rel=1e-6)


def test_no_hole_changes_nothing(engine: Recording) -> None:
    for lay in (overlay.leak_plate_closes, overlay.leak_pressure_rises):
        laid = lay(engine, 1e-6)
        for name, one in engine.series.items():
            assert laid.series[name].value == pytest.approx(one.value, abs=1e-3)


def test_between_keeps_the_part_and_starts_its_clock(engine: Recording) -> None:
    part = overlay.between(engine, 0.25, 0.5).series["engine_speed"]
    assert part.time_s[0] == pytest.approx(0.0)
    assert part.time_s[-1] < 25.0
    assert part.value[0] == engine.series["engine_speed"].value[100]
