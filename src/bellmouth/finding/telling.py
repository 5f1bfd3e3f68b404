"""Which readings speak for a cause against a healthy car, in words with numbers."""

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from bellmouth.finding.infer import SideLog
from bellmouth.finding.result import Evidence
from bellmouth.recording.trims import BANKS

if TYPE_CHECKING:
    from bellmouth.finding.case import Case

__all__ = ["telling"]

Floats = NDArray[np.float64]

_WORTH_SAYING_NATS = 0.3
_NOTHING_NATS = 0.01
_SAME_SPEED_RPM = 100.0
_FROM_BEFORE = (
    "no reading speaks for it over a healthy car; its weight is the complaint's, from before the "
    "recording"
)
_NAMES = {
    "filling": ("mass_air_flow", "intake_manifold_pressure", "engine_speed"),
    "plate": ("throttle_position",),
    "opening": ("commanded_throttle_actuator", "relative_throttle_position"),
    "computed": ("absolute_load", "intake_manifold_pressure"),
    "boost": ("boost_pressure", "barometric_pressure"),
    "closed": ("throttle_position",),
    "idle": ("engine_speed",),
    "air": ("mass_air_flow", "engine_speed"),
    "rest": ("throttle_position", "relative_throttle_position"),
    "key on": ("intake_manifold_pressure", "barometric_pressure"),
    "load": ("calculated_load", "intake_manifold_pressure"),
    "beside": ("mass_air_flow", "intake_manifold_pressure", "ignition_timing_advance"),
    "load level": ("calculated_load", "intake_manifold_pressure"),
    "unusual": (),
}


def telling(case: "Case", row: int) -> tuple[Evidence, ...]:
    """What favours hypothesis ``row`` over a healthy car, strongest first, in nats.

    The readings share one covariance, so the parts are told channel by channel and need not add
    up to the difference of evidence.
    """
    parts = {**_by_channel(case, row), **_by_side(case, row)}
    strongest = max(parts.values())
    if strongest < _NOTHING_NATS:
        return (Evidence(_FROM_BEFORE, 0.0),)
    # Weak evidence is still what led there: the strongest is always said.
    least = min(_WORTH_SAYING_NATS, strongest)
    bank = _bank(case, row)
    trims = tuple(f"{term}_term_fuel_trim_bank_{bank}" for term in ("short", "long"))
    names = {**_NAMES, "trim": trims}
    found = [
        Evidence(_words(case, source, bank), round(nats, 2), names[source])
        for source, nats in parts.items()
        if nats >= least
    ]
    return tuple(sorted(found, key=lambda evidence: -evidence.strength))


def _by_channel(case: "Case", row: int) -> dict[str, float]:
    p = case.posterior
    channels = np.array([name.split(" ")[0] for name in case.model.channels])
    parts = {
        name: _favours(case, row, channels == name) for name in dict.fromkeys(channels.tolist())
    }
    stretched = (p.coordinates[[0, row]] ** 2).sum(axis=1)
    parts["unusual"] = 0.5 * float(stretched[0] - stretched[1])
    return parts


def _favours(case: "Case", row: int, chosen: NDArray[np.bool_]) -> float:
    """What some of the readings say for hypothesis ``row`` over a healthy car. [nat]"""
    places = np.flatnonzero(chosen)
    covariance = np.mean(case.covariances[:-1], axis=0)
    factor = np.linalg.cholesky(covariance[np.ix_(places, places)])
    residuals = case.posterior.residuals[[0, row]][:, places]
    healthy, cause = (np.linalg.solve(factor, residuals.T) ** 2).sum(axis=0)
    return 0.5 * float(healthy - cause)


def _bank(case: "Case", row: int) -> int:
    """The bank whose trims favour the hypothesis most; 1 where neither has any."""
    channels = case.model.channels
    there = [bank for bank in BANKS if (channels == f"trim {bank}").any()]
    return max(
        there, key=lambda bank: _favours(case, row, channels == f"trim {bank}"), default=BANKS[0]
    )


def _by_side(case: "Case", row: int) -> dict[str, float]:
    which = np.array([0, row], dtype=np.intp)
    sizes = case.posterior.sizes[which]
    parts = {}
    sides = [
        ("idle", case.idle),
        ("air", case.air),
        ("rest", case.plate),
        ("key on", case.key_on),
        ("load", case.load),
        ("beside", case.beside),
        ("load level", case.level),
    ]
    for name, side in sides:
        if side is None:
            continue
        healthy, cause = _at_best(side, which, sizes, case)
        parts[name] = cause - healthy
    return parts


def _at_best(
    side: SideLog, which: NDArray[np.intp], sizes: Floats, case: "Case"
) -> tuple[float, float]:
    """Log likelihood of healthy, and of the cause averaged over its posterior sizes."""
    grid = case.posterior.grid
    mine = grid.hypothesis == which[1]
    log = grid.log_weight[mine] + grid.log_likelihood[mine]
    weight = np.exp(log - np.logaddexp.reduce(log))
    values = side(grid.hypothesis[mine], grid.sizes[mine])
    healthy = side(which[:1], sizes[:1])
    return float(healthy[0]), float(weight @ values)


def _words(case: "Case", source: str, bank: int) -> str:
    if source == "trim":
        return _trim_words(case, bank)
    if source == "filling":
        return _filling_words(case)
    if source == "idle":
        return f"warm idle {case.idle.excess_rpm:+.0f} rpm against what is expected of this car"
    if source == "air" and case.family is None:
        return "airflow at warm idle against what engines of this size idle on"
    return {
        "plate": "throttle opening against the air that passes, point by point",
        "opening": "how far the plate stands open above its stop",
        "computed": "the controller's own computed airflow against speed and pressure",
        "boost": "boost pressure with the plate nearly closed against the barometer",
        "air": "airflow at warm idle against other cars of the family",
        "closed": "how far the throttle stands open at idle against other cars of the family",
        "key on": "manifold pressure against the barometer with the engine off",
        "load": "calculated load against manifold pressure, beside the reference",
        "beside": "air at warm idle against the reference's, at its speed and spark",
        "load level": "calculated load against manifold pressure at idle",
        "rest": "where the plate stands at idle against where it rests with the key on",
        "unusual": "without it the car itself would have to be more unusual",
    }[source]


def _trim_words(case: "Case", bank: int) -> str:
    o = case.observations
    trim = o.log_trim[:, bank - 1]
    mask = o.judged & np.isfinite(trim)
    two = case.model.two_banks
    if not mask.any():
        return f"total trim of bank {bank}" if two else "total trim"
    order = np.argsort(o.speed_rev_s[mask])
    speeds = o.speed_rev_s[mask][order] * 60
    trims = np.expm1(trim[mask][order]) * 100
    low = f"total trim {trims[0]:+.1f} % at {speeds[0]:.0f} rpm"
    if two:
        low = f"total trim of bank {bank} {trims[0]:+.1f} % at {speeds[0]:.0f} rpm"
    if len(trims) == 1 or speeds[-1] < speeds[0] + _SAME_SPEED_RPM:
        return low
    return f"{low}, {trims[-1]:+.1f} % at {speeds[-1]:.0f} rpm"


def _filling_words(case: "Case") -> str:
    rows = case.model.rows[case.model.channels == "filling"]
    o = case.observations
    rows = rows[o.judged[rows]]
    if not len(rows):
        return "airflow by the meter against airflow by speed and pressure"
    zero = np.zeros((1, case.model.unknowns.size))
    healthy = case.hypotheses.effects(
        np.zeros(1, dtype=np.intp), np.full((1, 2), np.nan), (0.0, 0.0)
    )
    state = case.model.states(zero, healthy)
    off = np.expm1(np.log(state["passed"] / state["filled"])[0, rows]) * 100
    # Lowest and highest speed: a leak shows in how they differ, whatever the engine's level.
    speeds = o.speed_rev_s[rows] * 60
    low, high = int(np.argmin(speeds)), int(np.argmax(speeds))
    if speeds[high] < speeds[low] + _SAME_SPEED_RPM:
        return (
            "airflow by the meter against airflow by speed and pressure, "
            f"{float(np.median(off)):+.0f} % against a typical engine"
        )
    return (
        f"airflow by the meter against airflow by speed and pressure, {off[low]:+.0f} % at "
        f"{speeds[low]:.0f} rpm and {off[high]:+.0f} % at {speeds[high]:.0f} rpm against a typical "
        "engine"
    )
