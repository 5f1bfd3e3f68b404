"""Why: what the readings say for the top cause, what was left out, and what to be wary of."""

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from bellmouth.car.description import Car, Complaint
from bellmouth.finding.causes import CAUSES, called
from bellmouth.finding.lowest_idle import fallen_rpm
from bellmouth.finding.observations import LEAST_KPA, Observations, judgeable
from bellmouth.finding.result import Evidence
from bellmouth.finding.telling import telling
from bellmouth.finding.trims_said import trims_said
from bellmouth.finding.two_banks import apart_at_one_flow, apart_evidence, apart_said
from bellmouth.recording.quality import impossible
from bellmouth.recording.series import Recording
from bellmouth.recording.stand_ins import with_stand_ins
from bellmouth.recording.state import is_unplugged
from bellmouth.recording.stretch import Stretch
from bellmouth.recording.stuck import without_stuck
from bellmouth.recording.trims import BANKS

if TYPE_CHECKING:
    from bellmouth.finding.case import Case

__all__ = [
    "confusions",
    "elsewhere",
    "evidence_of",
    "excluded_of",
    "low_idle",
    "moved_zero",
    "taken_for_computed",
    "warnings_of",
]

_SAME_FIT_NATS = 2.0
_TOLD_APART = 0.02  # a cause this unlikely is told from any other
_FELL_RPM = 20.0  # less is not worth a sentence; our choice
_MISFIT = 3.0
_WORTH_A_BORE = 0.2  # of a deposit: from there the owner is asked to tell it
_LIKELY = 0.3
_FAINT_NATS = 0.1
_SOUND = 0.75  # healthy, from there: a complaint has its reason elsewhere
_SYMPTOMS = (
    "rough idle", "low idle", "high idle", "hunting idle", "stalls", "sticking plate",
    "lamp or lean code",
)  # fmt: skip
# From here an idle is no longer one of those that stand a little off: one car in seven does, by up
# to 70 rpm (see priors.toml).
_LOW_RPM, _LOW_SDS = 75.0, 3.0
_LED_TO = 0.15  # a cause this likely has the readings named that led to it
_STANDS_OUT = 2.5  # a reading this many standard deviations off is named
_LOST = 0.3  # unexplained, from there: it is said that no cause fits

_CHANNELS = {
    "filling": "airflow by the meter against speed and pressure",
    "plate": "throttle opening against the air that passes",
    "opening": "how far the plate stands open above its stop",
    "trim 1": "total trim of bank 1",
    "trim 2": "total trim of bank 2",
    "computed": "the controller's computed airflow against speed and pressure",
    "boost": "boost pressure against the barometer",
    "closed": "the throttle reading against other cars of the family",
}


def confusions(
    case: "Case", posterior: Mapping[str, float], told: Sequence[float] | None = None
) -> dict[str, tuple[str, ...]]:
    """For each cause that matters, the others that fit about as well; each then names the other.

    ``told`` is the log evidence with the results of checks in it, hypotheses first; without it,
    that of the readings alone.
    """
    logs = case.posterior.log_evidence if told is None else told[: case.hypotheses.count]
    log = dict(zip(case.hypotheses.names, map(float, logs), strict=True))
    kept = [name for name in log if "+" not in name or posterior[name] > 0.05]
    result = {}
    for name in kept:
        near = [
            other
            for other in kept
            if other != name
            and not set(name.split("+")) & set(other.split("+"))
            and abs(log[other] - log[name]) < _SAME_FIT_NATS
            and min(posterior[name], posterior[other]) > _TOLD_APART
        ]
        result[name] = tuple(sorted(near, key=lambda other: -posterior[other]))
    return result


def evidence_of(case: "Case", posterior: Mapping[str, float]) -> tuple[Evidence, ...]:
    """What speaks for each likely cause against a healthy car, and which readings fit badly."""
    names = case.hypotheses.names
    rows = sorted(range(1, len(names)), key=lambda row: -posterior[names[row]])
    found: list[Evidence] = []
    lost = posterior.get("unexplained", 0.0) > _LOST
    for row in rows[:3]:
        if posterior[names[row]] < _LED_TO and (row != rows[0] or lost):
            continue
        named = called(names[row])
        likely = posterior[names[row]] > _LIKELY
        found.extend(
            Evidence(f"{named}: {part.what}", part.strength, part.readings)
            for part in telling(case, row)[:3]
            if part.strength > _FAINT_NATS or likely
        )
    if lost:
        found.extend(apart_evidence(case))
    best = int(np.argmax([posterior[name] for name in names]))
    found.extend(_misfits(case, best))
    return tuple(found)


def _misfits(case: "Case", best: int) -> list[Evidence]:
    white = case.posterior.standardised[best]
    order = np.argsort(-np.abs(white))[:3]
    found = []
    for index in order:
        if abs(white[index]) < _STANDS_OUT:
            continue
        point = case.model.rows[index]
        o = case.observations
        found.append(
            Evidence(
                f"{_CHANNELS[str(case.model.channels[index])]} disagrees at "
                f"{o.speed_rev_s[point] * 60:.0f} rpm "
                f"({o.start_s[point]:.0f}-{o.end_s[point]:.0f} s"
                + ("" if o.judged[point] else " of a reference")
                + ")",
                float(white[index]),
                (str(case.model.channels[index]),),
            )
        )
    return found


def excluded_of(judged: Sequence[Stretch], recording: Recording) -> tuple[str, ...]:
    """Stretches and columns that were not used, each with the reason."""
    left = []
    # Of an engine that never got warm the lukewarm stretches are judged: they were not left out.
    used = set(map(id, judgeable(judged)))
    cold = [s for s in judged if s.kind != "engine off" and s.warm is False and id(s) not in used]
    if cold:
        seconds = sum(s.seconds for s in cold)
        left.append(f"{seconds:.0f} s of cold engine: trims and idle say nothing until it is warm")
    left.extend(_open_loop([s for s in judged if s.kind != "engine off"]))
    apart = [s for s in judged if s.purging and not _purge_reported(recording)]
    if apart:
        left.append(
            f"trims of {len(apart)} stretches are hardly believed: others at the same speed "
            "differ, as they do while the fuel tank's vapour is drawn in"
        )
    told = " ".join(recording.notes)
    unmapped = [name for name in recording.unmapped if name not in told]
    if unmapped:
        left.append("columns that no parameter claims: " + ", ".join(unmapped))
    return tuple(left)


def _open_loop(running: Sequence[Stretch]) -> Iterator[str]:
    """Trims that stood in open loop: of the whole engine, or of one of its banks."""
    whole = [s for s in running if s.closed_loop is False]
    if len(whole) == 1:
        yield "trims of one open-loop stretch"
    elif whole:
        yield f"trims of {len(whole)} open-loop stretches"
    for bank in BANKS:
        alone = [s for s in running if s.closed_loop is not False and bank in s.open_banks]
        if len(alone) == 1:
            yield f"trims of bank {bank} in one stretch: it was in open loop, the other was not"
        elif alone:
            yield (
                f"trims of bank {bank} in {len(alone)} stretches: it was in open loop, the other "
                "was not"
            )


def _purge_reported(recording: Recording) -> bool:
    return recording.get("commanded_evaporative_purge") is not None


def _unbelieved(judged: Sequence[Stretch]) -> list[str]:
    """Manifold pressures that no running engine shows, which the finding leaves out."""
    name = "intake_manifold_pressure"
    running = [stretch.value(name) for stretch in judged if stretch.kind != "engine off"]
    low = [value for value in running if value <= LEAST_KPA]
    if not low:
        return []
    return [
        f"{name} reads {min(low):.1f} kPa, less than any running engine shows, and was left out "
        "there. Is its unit right?"
    ]


def _reference_disagrees(case: "Case", best: int) -> bool:
    """Whether the readings that fit worst are those of a reference."""
    square = case.posterior.standardised[best] ** 2
    judged = case.observations.judged[case.model.rows]
    return bool((~judged).any() and square[~judged].sum() > 2.0 * square[judged].sum())


def warnings_of(
    case: "Case", posterior: Mapping[str, float], recording: Recording, judged: Sequence[Stretch]
) -> tuple[str, ...]:
    """What the reader of a finding should be wary of."""
    o = case.observations
    found = [*recording.notes, *(case.family.notes if case.family else ())]
    found.extend(impossible(recording))
    found.extend(_unbelieved(judged))
    found.extend(taken_for_computed(case.car, recording))
    running = [stretch for stretch in judged if stretch.kind != "engine off"]
    if all(stretch.warm is False for stretch in running):
        found.append("The engine never got warm: record again at 70 degC coolant to be sure.")
    found.extend(trims_said(recording, judged, o, o.judged))
    found.extend(_perhaps_cold(o, recording))
    if not (o.idle & o.judged).any():
        found.append("No warm idle: sizes are told against a typical idle.")
    if o.judged.sum() == 1:
        found.append("One operating point only: hold 1,500 and 2,500 rpm as well.")
    best = max(range(case.hypotheses.count), key=lambda row: posterior[case.hypotheses.names[row]])
    if posterior["unexplained"] > _LOST or case.posterior.misfit[best] > _MISFIT:
        found.append("No cause here fits these readings well; see which disagree.")
        found.extend(apart_said(case))
        if _reference_disagrees(case, best):
            found.append("The misfit lies in a reference: was the car really good then?")
    else:
        found.extend(apart_at_one_flow(case, posterior))
    found.extend(moved_zero(o))
    found.extend(_to_ask(case, posterior))
    return tuple(found)


def _perhaps_cold(o: Observations, recording: Recording) -> Iterator[str]:
    """An idle that falls as it does while an engine warms up, and nothing that says it was warm."""
    one = len(np.unique(o.recording[o.judged])) == 1  # several have idles of several days
    fallen = fallen_rpm(o, o.idle & o.judged) if one else 0.0
    untold = recording.get("engine_coolant_temperature") is None or is_unplugged(recording)
    if fallen > _FELL_RPM and untold:
        yield (
            f"The idle fell throughout, by {fallen:.0f} rpm, and coolant temperature was not "
            "recorded: perhaps the engine was warming up. Record it again hot, with coolant."
        )


def taken_for_computed(car: Car, recording: Recording) -> Iterator[str]:
    """Airflow of a car that is said to meter pressure: a meter's readings would tell otherwise."""
    if car.metering == "pressure" and "mass_air_flow" in with_stand_ins(without_stuck(recording)):
        yield (
            "By the car file the engine meters pressure: mass_air_flow was taken for what its "
            "controller computes, as many such cars report it. Look for an airflow meter in the "
            'intake pipe: if there is one, set metering = "airflow", and a leak is told otherwise.'
        )


def moved_zero(o: Observations) -> Iterator[str]:
    """Between recordings a relative throttle reading may count from another zero."""
    there = np.isfinite(o.throttle_pct)
    if o.throttle_relative and len(np.unique(o.recording[there])) > 1:
        yield (
            "The throttle is reported as a relative position alone. Where that counts from what "
            "idle control learned, its zero moves from one recording to the next: a deposit then "
            "hides, and stale learning looks like a leak. Record throttle_position as well, if the "
            "car has it."
        )


def _to_ask(case: "Case", posterior: Mapping[str, float]) -> Iterator[str]:
    """What the owner can tell, or look up, that no recording shows."""
    top = max(case.hypotheses.names, key=lambda name: posterior[name])
    blend_known = case.car.ethanol_pct is not None or case.observations.ethanol_reported
    if "fuel_low" in top.split("+") and not blend_known:
        yield "A tank of ethanol-rich fuel reads exactly like too little fuel: ask what is in it."
    alone = not case.observations.beside
    if alone and case.car.throttle_bore_mm is None and posterior["deposit"] > _WORTH_A_BORE:
        yield (
            "Give the throttle's bore (throttle_bore_mm in the car file): it tells a deposit from "
            "a clean plate better."
        )
    if any(CAUSES[cause].effect == "pressure" for cause in top.split("+") if cause in CAUSES):
        litres = case.car.displacement_l.value
        yield (
            f"A wrong displacement reads like a false pressure sensor: is it {litres:g} L? With "
            "the key on and the engine off the sensor must read the barometer."
        )


def elsewhere(healthy: float, complaint: Complaint) -> tuple[str, ...]:
    """Where to look when the air path is sound and the owner complains all the same."""
    if healthy < _SOUND or complaint not in _SYMPTOMS:
        return ()
    return (
        f"Nothing in the air path explains the complaint ({complaint}): look at ignition, "
        "injectors, compression, engine mounts, and for an exhaust leak before the oxygen sensor.",
    )


def low_idle(case: "Case", complaint: Complaint) -> tuple[str, ...]:
    """An idle well below its mark: of what lowers it only a deposit is weighed.

    What lowers an idle is common practice, no source.
    """
    held = case.idle.held
    if held is None or not held.excess_rpm < -max(_LOW_RPM, _LOW_SDS * held.sd_rpm):
        return ()
    if held.reference is not None:
        mark, ask = "that a reference idled at", "Did that one idle under a load?"
    elif case.car.idle_rpm is not None:
        mark, ask = "of the car file", "Is that the car's own?"
    elif held.target_rpm != case.priors.idle_speed["unknown_rpm"][0]:
        mark, ask = "that cars of its family idle at", "Is it of that family?"
    else:
        mark, ask = "that most cars idle at", "Is its own known? Give it as idle_rpm."
    unsaid = complaint == "unknown"
    tell = ' Give the complaint "low idle": that moves the weights.' if unsaid else ""
    return (
        f"Warm idle stands at {held.judged.speed_rpm:.0f} rpm, {-held.excess_rpm:.0f} below the "
        f"{held.target_rpm:.0f} rpm {mark}. {ask} What lowers an idle: more deposit than idle "
        "control makes up for, most of all when its learning was lost with the battery; a load; "
        f"a cylinder that does not work. Only the deposit is weighed here.{tell}",
    )
