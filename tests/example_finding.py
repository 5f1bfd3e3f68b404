"""A finding made by hand, with everything in it that a face may have to show."""

import numpy as np

from bellmouth.car.description import Car, Known
from bellmouth.finding.result import (
    CauseProbability,
    Evidence,
    Finding,
    NextCheck,
    Picture,
    PicturePoint,
    Size,
)
from bellmouth.recording.series import Recording, Series

__all__ = ["example_car", "example_finding", "example_recording"]

_LEAK = Size(2.1, 1.8, 2.5, "mm")
_METER = Size(0.88, 0.85, 0.91, "ratio")


def _point(kind: str, start_s: float, speed: float, flow: float, pressure: float) -> PicturePoint:
    leak_trim = 100 * 0.6 / (flow - 0.6)
    return PicturePoint(
        kind=kind,
        start_s=start_s,
        end_s=start_s + 40.0,
        engine_speed_rpm=speed,
        airflow_meter_g_s=flow - 0.6,
        airflow_speed_density_g_s=(flow * 1.03, flow * 0.92, flow * 1.15),
        airflow_throttle_g_s=(flow * 0.9, flow * 0.7, flow * 1.2),
        true_airflow_g_s=flow,
        manifold_pressure_kpa=pressure,
        throttle_pct=12.0 + flow / 4,
        total_trim_pct=(leak_trim + 0.4, 0.6),
        total_trim_by_cause_pct={"leak": leak_trim, "meter_low": 13.6, "healthy": 0.0},
    )


def example_finding() -> Finding:
    """A leak, most likely; a low meter not ruled out."""
    flows = np.linspace(2.0, 16.0, 30)
    curves = {
        "leak": tuple((float(f), float(100 * 0.6 / (f - 0.6))) for f in flows),
        "meter_low": tuple((float(f), 13.6) for f in flows),
        "healthy": tuple((float(f), 0.0) for f in flows),
    }
    return Finding(
        causes=(
            CauseProbability("leak", 0.81, {"leak": _LEAK}, ("leak+meter_low",)),
            CauseProbability("leak+meter_low", 0.11, {"leak": _LEAK, "meter_low": _METER}),
            CauseProbability("meter_low", 0.05, {"meter_low": _METER}),
            CauseProbability("healthy", 0.02, {}),
            CauseProbability("unexplained", 0.01, {}),
        ),
        prior={"healthy": 0.4, "leak": 0.3, "meter_low": 0.2, "unexplained": 0.1},
        present={"leak": 0.92, "meter_low": 0.16},
        next_checks=(
            NextCheck(
                check="smoke",
                bits=0.61,
                minutes=20.0,
                why="It shows a leak where there is one; a meter fault shows none.",
                how="Engine off and cold: fill the intake with smoke and look at every joint.",
                outcomes=("none", "seen"),
                caution="Low pressure only; open air.",
            ),
            NextCheck(
                "pinch",
                0.3,
                10.0,
                "Trim falls when the leak is shut.",
                "Pinch.",
                ("no_change", "changed"),
            ),
        ),
        evidence=(
            Evidence("Trim falls from +43 % at idle to +5 % at 2500 rpm.", 9.2, ("total trim",)),
            Evidence("The manifold pressure agrees with speed-density.", 1.1, ()),
        ),
        excluded=("From 0 s to 31 s: the engine was cold.",),
        warnings=("Barometric pressure is not reported: 97.5 kPa was assumed.",),
        misfit=1.1,
        complaint="high idle",
        picture=Picture(
            points=(
                _point("idle", 31.0, 705.0, 2.6, 36.0),
                _point("held", 80.0, 1500.0, 5.8, 33.0),
                _point("held", 130.0, 2500.0, 13.0, 38.0),
            ),
            trim_curves=curves,
        ),
    )


def example_recording() -> Recording:
    """Three minutes of engine speed."""
    time_s = np.arange(0.0, 180.0, 1.0)
    speed = Series("engine_speed", "rpm", time_s, 700.0 + 5.0 * np.sin(time_s))
    return Recording(
        series={"engine_speed": speed},
        source="example.csv",
        notes=("2 rows with a time seen before were left out.",),
        unmapped=("Cabin temperature",),
        samples_per_s=1.0,
    )


def example_car() -> Car:
    """A two-litre car with an airflow meter."""
    return Car(
        displacement_l=Known(2.0),
        metering="airflow",
        cylinders=4,
        idle_rpm=Known(700.0, 20.0),
        complaint="high idle",
        name="the blue one",
        source="car.toml",
    )
