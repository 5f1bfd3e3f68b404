"""Whether a recording can be asked at all, and the sentence that says why not."""

from collections.abc import Sequence
from itertools import combinations

import numpy as np

from bellmouth.car.description import Car
from bellmouth.errors import FindingError
from bellmouth.finding.observations import Observations, judgeable
from bellmouth.recording.grid import OFF_RPM
from bellmouth.recording.names import table
from bellmouth.recording.overlap import overlap_s
from bellmouth.recording.plateaus import SHORTEST_CORE
from bellmouth.recording.series import Recording
from bellmouth.recording.stand_ins import with_stand_ins
from bellmouth.recording.stretch import Stretch
from bellmouth.recording.stuck import METERS, PRESSURES, is_left_out, without_stuck

__all__ = [
    "refuse_dead",
    "refuse_foreign",
    "refuse_hopeless",
    "refuse_the_same",
    "share_samples",
    "unused_references",
    "usable",
]

# What tells an idle without a throttle: manifold over ambient pressure, and air a stroke over
# that of the swept volume. Throttled idles stand far below: common practice, no source.
_UNTHROTTLED = 0.82
_FULL_STROKE = 0.75
_IDLES_BELOW_REV_S = 22.0
_USUAL_AMBIENT_PA = 98e3
_AIR_KG_M3 = 1.15  # at that pressure and 25 degC


def refuse_hopeless(recording: Recording) -> None:
    """Refuse a recording that nothing steady can be found in.

    Raises
    ------
    FindingError
        If engine speed was not recorded, is impossible wherever it is not nothing, the engine is
        off throughout, or the recording is over before anything can hold still.
    """
    dropped = recording.dropped.get("engine_speed", 0)
    if "engine_speed" not in recording and not dropped:
        raise FindingError(
            f"{recording.source}: engine_speed was not recorded, and without it no operating point "
            "can be found. Record it, or say in a mapping file which column it is."
        )
    turning = "engine_speed" in recording and recording.series["engine_speed"].value.max() > OFF_RPM
    if dropped and not turning:
        if "engine_speed" not in recording:
            raise FindingError(
                f"{recording.source}: {dropped} samples of engine_speed are impossible, so that "
                "none is believed. Is the unit in its header right?"
            )
        raise FindingError(
            f"{recording.source}: {dropped} samples of engine_speed are impossible and were left "
            "out, and by the others the engine is off. Is the unit in its header right?"
        )
    if not turning:
        raise FindingError(
            f"{recording.source}: the engine is off throughout. Start it, let it warm up, and "
            "record a minute of idle."
        )
    seconds = max(float(series.time_s[-1]) for series in recording.series.values())
    if seconds < SHORTEST_CORE:
        raise FindingError(
            f"{recording.source}: is over after {seconds:.2g} s by its clock, too short to hold a "
            "steady stretch. Record a minute of warm idle; if it lasted longer, look at the unit "
            "of its time."
        )


def refuse_dead(recording: Recording, car: Car) -> None:
    """Refuse a recording whose car meters its air by a sensor that never moved.

    Raises
    ------
    FindingError
        If airflow, of a car that meters pressure manifold pressure, stood still while the engine's
        speed changed.
    """
    names = METERS if car.metering == "airflow" else PRESSURES
    if names[0] in with_stand_ins(without_stuck(recording)):
        return
    for series in filter(None, map(recording.get, names)):
        if not is_left_out(recording, series):
            continue
        raise FindingError(
            f"{recording.source}: {series.name} stayed at {series.value[0]:g} {series.unit} while "
            "engine speed changed: the sensor that this car meters its air by is stuck, and "
            "nothing else can be judged beside it. Look at the sensor, its plug and its wires, and "
            "record again."
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
            f"{source}: nothing held still while the engine ran, if it ran at all. Start it, let "
            "it warm up, and record a minute of idle."
        )
    if not judgeable(running):
        raise FindingError(
            f"{source}: the engine is cold throughout, and trims and idle say nothing yet. Warm it "
            "to 70 degC coolant and record again."
        )


def unused_references(
    references: Sequence[tuple[Recording, Sequence[Stretch]]],
) -> tuple[str, ...]:
    """A sentence for each reference that nothing could be taken from."""
    return tuple(
        f"reference {one.source}: no warm running engine in it"
        for one, stretches in references
        if not judgeable(stretches)
    )


def refuse_foreign(observations: Observations, stretches: Sequence[Stretch], source: str) -> None:
    """Refuse readings that contradict the car's metering, and engines without a throttle.

    ``stretches`` are those of the judged recording.

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
        _refuse_nothing(stretches, "mass_air_flow", source)
        raise FindingError(
            f'{source}: the car is metered by "airflow" but no mass_air_flow was recorded. Record '
            'it, or set metering = "pressure" in the car file if the car has no airflow meter.'
        )
    if not o.airflow_metered and not pressure.any():
        _refuse_nothing(stretches, "intake_manifold_pressure", source)
        raise FindingError(
            f'{source}: the car is metered by "pressure" but no intake_manifold_pressure was '
            'recorded. Record it, or set metering = "airflow" in the car file.'
        )
    low_speed = o.judged & (o.speed_rev_s < _IDLES_BELOW_REV_S) & (o.idle | ~o.held)
    if not low_speed.any():
        return
    ambient = np.where(np.isfinite(o.ambient_pa), o.ambient_pa, _USUAL_AMBIENT_PA)
    ratio = (o.manifold_pa / ambient)[low_speed & pressure].min(initial=np.inf)
    stroke = o.metered_kg_s / (o.displacement_m3 * o.speed_rev_s / 2.0 * _AIR_KG_M3)
    fill = stroke[low_speed & airflow].min(initial=np.inf)
    if np.isfinite(ratio) and ratio > _UNTHROTTLED:
        raise FindingError(
            f"{source}: the engine idles unthrottled (intake_manifold_pressure is {ratio:.0%} of "
            "ambient), as a diesel does. Bellmouth judges throttled petrol engines only; if this "
            "is one, look at that sensor and at the unit of its column."
        )
    if not np.isfinite(ratio) and np.isfinite(fill) and fill > _FULL_STROKE:
        raise FindingError(
            f"{source}: the engine idles unthrottled (it breathes {fill:.0%} of ambient), as a "
            "diesel does. Bellmouth judges throttled petrol engines only; check metering and "
            "displacement_l in the car file if this is one."
        )


def _refuse_nothing(stretches: Sequence[Stretch], name: str, source: str) -> None:
    """Refuse a reading that is there, but of which a running engine would show more."""
    shown = [
        stretch.readings[name].value
        for stretch in stretches
        if name in stretch.readings and stretch.kind != "engine off"
    ]
    if shown:
        unit = table()[name].unit
        raise FindingError(
            f"{source}: {name} reads {max(shown):.2g} {unit} at most with the engine running, "
            "less than any engine breathes. Is its unit right, and the sensor alive?"
        )


def share_samples(one: Recording, other: Recording) -> bool:
    """Whether two recordings are one, or are cut from one and overlap."""
    return one.same_samples(other) or overlap_s(one, other) > 0.0


def refuse_the_same(recordings: Sequence[Recording], instead: str) -> None:
    """Refuse recordings of which one would vouch for itself, or be counted twice.

    ``instead`` ends the sentence with what to give.

    Raises
    ------
    FindingError
        If two of them hold the same samples, or are cut from one and overlap.
    """
    for one, other in combinations(recordings, 2):
        if one.same_samples(other):
            raise FindingError(f"{other.source}: is the same recording as {one.source}. {instead}")
        shared = overlap_s(one, other)
        if shared > 0.0:
            raise FindingError(
                f"{other.source}: holds the same {shared:.0f} s of samples as {one.source}; the "
                f"two are cut from one and overlap. {instead}"
            )
