"""From the posterior over courses to what is said: verdict, changes with intervals, learning."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from bellmouth.finding.causes import CAUSES
from bellmouth.finding.courses import AFTER, BEFORE, LEFT_BEHIND, Course
from bellmouth.finding.explain import moved_zero
from bellmouth.finding.needs import learning_reasons, needs_of, settled
from bellmouth.finding.proof_result import Change, NewLeak, PairPoint, Proof, Verdict
from bellmouth.finding.result import Size
from bellmouth.finding.sizes import QUANTILES, size_from_coordinate, told_log_sd
from bellmouth.recording.series import Recording

if TYPE_CHECKING:
    from bellmouth.finding.prove import Pair

__all__ = ["COMMITS", "either_way", "verdict_of"]

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

#: A verdict is given from this probability on: our choice, set on practice variants A to C.
COMMITS = 0.75
_WORTH_TELLING = 0.10  # causes less probable than this are not listed among the changes
_LIKELY = 1e-3  # courses less probable than this are left out of the sizes
_DRAWS = 128
# Draws that fill the cube evenly: 1/x, 1/x² and 1/x³ of the real root of x⁴ = x + 1
_STEPS = (0.8191725133961645, 0.6710436067037893, 0.5497004779019703)
_SHRUNK, _GROWN = 0.7, 1.3  # of its size: less is weather, fuel and chance; our choice
# What went wrong is as likely by the readings as what was mended, or a third of it; our choice.
_EITHER_WAY_NATS = 1.1


def verdict_of(pair: "Pair", weights: Mapping[Course, float], after: Recording) -> Proof:
    """Weigh the courses and say what came of it."""
    probability, unexplained = _probabilities(pair, weights)
    drawn = _Drawn(pair, probability)
    mended, came = _mended(drawn), _came(drawn)
    outcomes = _outcomes(drawn, mended, came)
    best: Verdict = max(outcomes, key=lambda name: outcomes[name])
    present = {
        recording: {cause: drawn.present(cause, recording) for cause in drawn.causes}
        for recording in (BEFORE, AFTER)
    }
    stale = present[AFTER].get("learned_stale", 0.0)
    ready = settled(pair.stretches[AFTER], after)
    either = best == "better" and not ready and either_way(pair)
    withheld = bool(ready) or unexplained >= 0.5 or either
    sure = outcomes[best] >= COMMITS and not withheld
    verdict: Verdict = best if sure else "cannot say yet"
    courses = pair.courses.courses
    order = np.argsort(-probability)
    return Proof(
        verdict=verdict,
        probability=outcomes[best],
        outcomes={str(name): chance for name, chance in outcomes.items()},
        changes=tuple(_changes(drawn, present)),
        learning_taken=1.0 - stale,
        learning=learning_reasons(pair),
        new_leak=_new_leak(drawn, _expected_leak(weights, courses, probability)),
        needs=needs_of(pair, verdict, ready, present[AFTER], either=either),
        courses={courses[i].name: float(probability[i]) for i in order[:12]},
        before=present[BEFORE],
        after=present[AFTER],
        warnings=_warnings(pair, unexplained),
        misfit=float(pair.posterior.misfit[order[0]]),
        mended=float(drawn.weight[mended].sum()),
        nothing_new=float(drawn.weight[~came].sum()),
        withheld=withheld,
        checked=bool(pair.results),
        points=_points(pair),
        family=pair.family,
    )


def either_way(pair: "Pair") -> bool:
    """Whether something that only went wrong explains both recordings as well as something that was
    mended: then what speaks for *better* is that work mends, and no reading does."""
    courses, log = pair.courses.courses, pair.posterior.log_evidence
    mended = np.array([_kind(course) in {"better", "changed"} for course in courses])
    spoilt = np.array([c.step == "new" and c.held(AFTER)[0] in LEFT_BEHIND for c in courses])
    return bool(log[mended].max() - log[spoilt].max() < _EITHER_WAY_NATS)


def _probabilities(pair: "Pair", weights: Mapping[Course, float]) -> tuple[Floats, float]:
    """Probability of each course, and of none of them."""
    with np.errstate(divide="ignore"):
        prior = np.log([weights[course] for course in pair.courses.courses])
        strange = np.log(float(pair.priors.proof["unexplained"]))
    joint = pair.posterior.log_evidence + prior
    explained = float(np.logaddexp.reduce(joint))
    none = pair.posterior.log_unexplained + strange
    return np.exp(joint - explained), float(np.exp(none - np.logaddexp(none, explained)))


class _Drawn:
    """Draws from the posterior: the likely courses, each with sizes from its own Gaussian."""

    def __init__(self, pair: "Pair", probability: Floats) -> None:
        self.pair = pair
        rows = np.flatnonzero(probability > _LIKELY)
        unit = ndtri((0.5 + np.outer(np.arange(_DRAWS), _STEPS)) % 1.0)
        self.which = np.repeat(rows, _DRAWS)
        self.weight = np.repeat(probability[rows] / probability[rows].sum() / _DRAWS, _DRAWS)
        self.sizes = np.concatenate([_draw(pair, int(row), unit[:, :2]) for row in rows])
        self.doubt = np.tile(unit[:, 2], len(rows))  # of a told size, alike before and after
        held = [pair.courses.courses[row] for row in rows]
        self.causes = [
            cause for cause in CAUSES if any(cause in c.held(BEFORE) + c.held(AFTER) for c in held)
        ]

    def coordinate(self, cause: str, recording: int) -> Floats:
        """A cause's coordinate in each draw, NaN where it is not there."""
        return self.pair.courses.coordinate(cause, recording, self.which, self.sizes)

    def present(self, cause: str, recording: int) -> float:
        """Probability that a cause is there, alone or not."""
        return float(self.weight[np.isfinite(self.coordinate(cause, recording))].sum())

    def ratios(self) -> Floats:
        """Size after over before in each draw of a course whose cause changed; 1 in others."""
        changed = np.array([course.step == "changed" for course in self.pair.courses.courses])
        ratio = np.ones(len(self.which))
        for cause in self.causes:
            before, after = (_amount(self, cause, recording) for recording in (BEFORE, AFTER))
            rows = changed[self.which] & (before > 0)
            ratio = np.where(rows, after / np.where(before > 0, before, 1.0), ratio)
        return ratio

    def size(self, cause: str, recording: int) -> Floats:
        """A cause's size in each draw; nothing (0, or 1 for a ratio) where it is not there."""
        coordinate = self.coordinate(cause, recording)
        nothing = 1.0 if CAUSES[cause].unit == "ratio" else 0.0
        there = np.isfinite(coordinate)
        scale = self.pair.scales[recording]
        doubted = coordinate + told_log_sd(cause, self.pair.priors) * self.doubt
        size = size_from_coordinate(cause, np.where(there, doubted, 0.0), scale)
        return np.where(there, size, nothing)


def _draw(pair: "Pair", row: int, unit: Floats) -> Floats:
    """Sizes of one course, (draws, 2), from the moments of its grid."""
    grid, courses = pair.posterior.grid, pair.courses
    mine = grid.hypothesis == row
    log = grid.log_weight[mine] + grid.log_likelihood[mine]
    mass = np.exp(log - log.max())
    mass = mass / mass.sum()
    dimensions = int(courses.dimensions[row])
    drawn = np.full((len(unit), 2), np.nan)
    if dimensions:
        nodes = grid.sizes[mine][:, :dimensions]
        mean = mass @ nodes
        spread = (nodes - mean).T @ ((nodes - mean) * mass[:, None])
        factor = np.linalg.cholesky(spread + 1e-9 * np.eye(dimensions))
        sizes = mean + unit[:, :dimensions] @ factor.T
        low, high = courses.low[row, :dimensions], courses.high[row, :dimensions]
        drawn[:, :dimensions] = np.clip(sizes, low, high)
    return drawn


def _outcomes(drawn: _Drawn, mended: Flags, came: Flags) -> dict[Verdict, float]:
    """Probability of better, same and worse; what grew counts as what came."""
    worse = came | (drawn.ratios() > _GROWN)
    better = mended & ~worse
    shares: dict[Verdict, Flags] = {
        "better": better, "same": ~(better | worse), "worse": worse
    }  # fmt: skip
    return {name: float(drawn.weight[told].sum()) for name, told in shares.items()}


def _mended(drawn: _Drawn) -> Flags:
    """Draws in which a cause that was there before is gone or much smaller, whatever else came."""
    gone = [bool(set(c.held(BEFORE)) - set(c.held(AFTER))) for c in drawn.pair.courses.courses]
    return np.asarray(np.array(gone)[drawn.which] | (drawn.ratios() < _SHRUNK))


def _came(drawn: _Drawn) -> Flags:
    """Draws in which something is there after that was not before."""
    new = [bool(set(c.held(AFTER)) - set(c.held(BEFORE))) for c in drawn.pair.courses.courses]
    return np.asarray(np.array(new)[drawn.which])


def _kind(course: Course) -> str:
    """What a course is called; the one that changed depends on its sizes."""
    if any(cause not in course.held(BEFORE) for cause in course.held(AFTER)):
        return "worse"
    return {"still": "same", "gone": "better", "one gone": "better"}.get(course.step, "changed")


def _amount(drawn: _Drawn, cause: str, recording: int) -> Floats:
    """How much of a cause there is, on a scale that starts at nothing: an area, or a log ratio."""
    size = drawn.size(cause, recording)
    if CAUSES[cause].unit == "ratio":
        return np.abs(np.log(size))
    return np.asarray(size**2 if CAUSES[cause].unit == "mm" else size)


def _changes(drawn: _Drawn, present: Mapping[int, Mapping[str, float]]) -> list[Change]:
    found = []
    for cause in drawn.causes:
        chances = (present[BEFORE][cause], present[AFTER][cause])
        if max(chances) < _WORTH_TELLING:
            continue
        sizes = [drawn.size(cause, recording) for recording in (BEFORE, AFTER)]
        there = np.isfinite(drawn.coordinate(cause, BEFORE))
        there |= np.isfinite(drawn.coordinate(cause, AFTER))
        before, after, change = (
            _interval(values[there], drawn.weight[there], CAUSES[cause].unit)
            for values in (*sizes, sizes[1] - sizes[0])
        )
        found.append(Change(cause, before, after, change, *chances))
    return sorted(found, key=lambda change: -max(change.present_before, change.present_after))


def _interval(values: Floats, weight: Floats, unit: str) -> Size:
    """Median and 90 % interval of weighted draws."""
    order = np.argsort(values)
    steps = np.cumsum(weight[order])
    steps = (steps - 0.5 * weight[order]) / steps[-1]
    low, middle, high = np.interp(QUANTILES, steps, values[order])
    return Size(float(middle), float(low), float(high), unit)


def _new_leak(drawn: _Drawn, expected: float) -> NewLeak:
    """A leak that is there after and was not before."""
    if "leak" not in drawn.causes:
        return NewLeak(0.0, None, expected)
    new = np.isfinite(drawn.coordinate("leak", AFTER))
    new &= ~np.isfinite(drawn.coordinate("leak", BEFORE))
    probability = float(drawn.weight[new].sum())
    if probability <= 0:
        return NewLeak(0.0, None, expected)
    size = _interval(drawn.size("leak", AFTER)[new], drawn.weight[new], "mm")
    return NewLeak(probability, size, expected)


def _expected_leak(
    weights: Mapping[Course, float], courses: Sequence[Course], probability: Floats
) -> float:
    """What the weights alone say of a new leak, among courses in which the old causes came to the
    same: what the recordings say beyond that is the difference to its probability."""
    fates = [
        (course.held(BEFORE), tuple(c for c in course.held(BEFORE) if c in course.held(AFTER)))
        for course in courses
    ]
    whole, leaking, told = (dict.fromkeys(fates, 0.0) for _ in range(3))
    for course, fate, chance in zip(courses, fates, probability, strict=True):
        whole[fate] += weights[course]
        told[fate] += float(chance)
        if "leak" in set(course.held(AFTER)) - set(course.held(BEFORE)):
            leaking[fate] += weights[course]
    return sum(told[fate] * leaking[fate] / whole[fate] for fate in whole if whole[fate] > 0)


def _points(pair: "Pair") -> tuple[PairPoint, ...]:
    """The operating points of both recordings."""
    o, model = pair.observations, pair.model
    healthy = pair.courses.effects(np.zeros(1, dtype=np.intp), np.full((1, 2), np.nan), (0.0, 0.0))
    passed = model.states(np.zeros((1, model.unknowns.size)), healthy)["passed"][0]
    flow = np.where(np.isfinite(o.metered_kg_s), o.metered_kg_s, passed)
    trim, error = o.total_trim()
    return tuple(
        PairPoint(
            recording="before" if o.recording[i] == BEFORE else "after",
            kind="idle" if o.idle[i] else "held" if o.held[i] else "drive",
            engine_speed_rpm=float(o.speed_rev_s[i] * 60.0),
            airflow_g_s=_known(flow[i] * 1e3),
            manifold_pressure_kpa=_known(o.manifold_pa[i] / 1e3),
            throttle_pct=_known(o.throttle_pct[i]),
            total_trim_pct=_known(np.expm1(trim[i]) * 100.0),
            total_trim_error_pct=_known(error[i] * 100.0),
        )
        for i in np.flatnonzero(o.recording <= AFTER)
    )


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _warnings(pair: "Pair", unexplained: float) -> tuple[str, ...]:
    found = list(pair.family.notes if pair.family else ())
    if unexplained > 0.1:
        found.append(
            f"No course here fits these readings well ({unexplained * 100:.0f} % that something "
            "else is wrong). Are both recordings of the same car? Was anything else changed on it?"
        )
    kinds = [{stretch.kind for stretch in part} for part in pair.stretches]
    if "held" in kinds[BEFORE] and "held" not in kinds[AFTER]:
        found.append("Before has held speeds and after has none: record after as before was.")
    return (*found, *moved_zero(pair.observations))
