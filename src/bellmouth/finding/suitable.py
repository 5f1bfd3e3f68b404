"""Whether a recording can be asked at all, and the sentence that says why not."""

from collections.abc import Sequence

import numpy as np

from bellmouth.errors import FindingError
from bellmouth.finding.observations import Observations, judgeable
from bellmouth.recording.series import Recording
from bellmouth.recording.stretch import Stretch

__all__ = ["refuse_foreign", "refuse_without_speed", "usable"]

_UNTHROTTLED = 0.82
_FULL_STROKE = 0.75
_AIR_KG_M3 = 1.15


def refuse_without_speed(recording: Recording) -> None:
    """Refuse a recording that nothing steady can be found in.

    Raises
    ------
    FindingError
        If engine speed was not recorded.
    """
    if "engine_speed" not in recording:
        raise FindingError(
            f"{recording.source}: engine_speed was not recorded, and without it no operating point "
            "can be found. Record it, or map its column."
        )


def usable(stretches: Sequence[Stretch], source: str) -> None:
    """Refuse a recording without a warm running engine.

    Raises
    ------
    FindingError
        If no stretch has the engine running, or none is warm.
    """
    running = [stretch for stretch in stretches if stretch.kind != "engine off"]
    if not stretches:
        raise FindingError(
            f"{source}: no steady stretch of 8 s or more. Record a minute of warm idle, then hold "
            "1,500 and 2,500 rpm for 20 s each."
        )
    if not running:
        raise FindingError(
            f"{source}: the engine is off throughout. Start it, let it warm up, and record again."
        )
    if not judgeable(running):
        raise FindingError(
            f"{source}: the engine is cold throughout, and trims and idle say nothing yet. Warm it "
            "to 70 degC coolant and record again."
        )


def refuse_foreign(observations: Observations, source: str) -> None:
    """Refuse readings that contradict the car's metering, and engines without a throttle.

    Raises
    ------
    FindingError
        If nothing that the metering needs was recorded, or idle is unthrottled (a diesel).
    """
    o = observations
    # A reference cannot stand in for what the judged recording lacks.
    airflow = np.isfinite(o.metered_kg_s) & o.judged
    pressure = np.isfinite(o.manifold_pa) & o.judged
    if o.airflow_metered and not airflow.any():
        raise FindingError(
            f'{source}: the car is metered by "airflow" but no mass_air_flow was recorded. Record '
            'it, or set metering = "pressure" in the car file if the car has no airflow meter.'
        )
    if not o.airflow_metered and not pressure.any():
        raise FindingError(
            f'{source}: the car is metered by "pressure" but no intake_manifold_pressure was '
            'recorded. Record it, or set metering = "airflow" in the car file.'
        )
    low_speed = o.judged & (o.speed_rev_s < 22.0) & (o.idle | ~o.held)
    if not low_speed.any():
        return
    ambient = np.where(np.isfinite(o.ambient_pa), o.ambient_pa, 98e3)
    ratio = (o.manifold_pa / ambient)[low_speed & pressure].min(initial=np.inf)
    stroke = o.metered_kg_s / (o.displacement_m3 * o.speed_rev_s / 2.0 * _AIR_KG_M3)
    fill = stroke[low_speed & airflow].min(initial=np.inf)
    seen = ratio if np.isfinite(ratio) else fill
    limit = _UNTHROTTLED if np.isfinite(ratio) else _FULL_STROKE
    if np.isfinite(seen) and seen > limit:
        raise FindingError(
            f"{source}: the engine idles unthrottled (it breathes {seen:.0%} of ambient), as a "
            "diesel does. Bellmouth judges throttled petrol engines only; check metering and "
            "displacement_l in the car file if this is one."
        )
