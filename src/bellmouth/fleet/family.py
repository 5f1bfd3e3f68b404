"""Learn what an engine family's cars have in common from their recordings, faulty ones and all.

Empirical Bayes: the family's mean and covariance of the car's unknowns, and its shares of causes,
are those under which all recordings together are likeliest (Dempster, Laird and Rubin, J. R. Stat.
Soc. B 39 (1977) 1-38, quoted from memory). Nobody says which cars are healthy: each counts under
every cause as much as its recording allows, and as one of the family as much as it is like the
rest. Between rounds the recordings are studied again under what was learnt, because the physics
is not linear over the whole range of all cars.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime

import numpy as np
from numpy.typing import NDArray

from bellmouth import __version__
from bellmouth.car.description import Car, Known
from bellmouth.errors import BellmouthError, FindingError
from bellmouth.finding.belonging import BELONGS
from bellmouth.finding.family import Family, Growth
from bellmouth.finding.find import hypothesis_weights
from bellmouth.finding.habit import Habit
from bellmouth.finding.nuisance import LEARNED
from bellmouth.finding.priors import cause_weights
from bellmouth.fleet.studies import Broad, Study, ask, broad_of, log_overlap, study
from bellmouth.recording.stretch import Stretch

__all__ = ["LEAST_CARS", "Example", "Learned", "learn_family"]

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

#: Fewer cars say more of themselves than of their family.
LEAST_CARS = 8
_ROUNDS = 3
_STEPS = 40
_STILL = 2e-3  # of a broad standard deviation
_HOPELESS_NATS = 14.0
_LEAST_IDLES = 4.0
# What is assumed before: cars of a family differ by a third of what any two cars do, said as
# loudly as by four cars; and causes are shared as anywhere, said as loudly as by ten. Common
# practice, no source.
_LIKE_ANY = 0.35
_SAID_BY = 4.0
_SHARES_SAID_BY = 10.0


@dataclass(frozen=True)
class Example:
    """A recording to learn from: whose it is, its stretches, what is known of the car."""

    identity: str
    stretches: Sequence[Stretch]
    car: Car
    source: str = "recording"


@dataclass(frozen=True)
class Learned:
    """A family, what was left out and why, and how probable each used recording (by its place
    among the examples) is of a car like the rest."""

    family: Family
    refused: tuple[str, ...]
    belongs: dict[int, float]


def learn_family(
    examples: Sequence[Example],
    name: str,
    *,
    growth: Growth | None = None,
    made: date | None = None,
    tell: Callable[[int, int], None] | None = None,
) -> Learned:
    """Learn a family from recordings of its cars.

    Several recordings of one car count as one car. ``growth`` is what their histories show of
    deposit; ``tell`` hears how many studies are done of how many.

    Raises
    ------
    FindingError
        If fewer than `LEAST_CARS` cars can be judged, or they are not of one engine.
    """
    first = _one_engine(examples, name)
    broad = broad_of(ask(first.stretches, first.car, first.source))
    family: Family | None = None
    state = _begin(len(LEARNED))
    told = _Telling(tell, _ROUNDS * len(examples))
    refused: dict[int, str] = {}
    any_car: Floats = np.zeros(0)
    for _ in range(_ROUNDS):
        studies = _study_all(examples, broad, family, refused, told)
        _enough(examples, studies, refused, name)
        crowd = _crowd(examples, studies)
        if family is None:
            any_car = crowd.whole(crowd.log_evidence, state.shares)
            # The first broad study is what any later one is held against.
        state = _converge(crowd, state, any_car)
        family = _family(name, first.car, examples, studies, crowd, state, any_car, broad, made)
    if family is None:
        raise RuntimeError("no round was made")
    belongs = dict(zip(studies, map(float, crowd.belongs(state, any_car)), strict=True))
    return Learned(replace(family, growth=growth), tuple(refused.values()), belongs)


class _Telling:
    def __init__(self, tell: Callable[[int, int], None] | None, total: int) -> None:
        self._tell, self._total, self._done = tell, total, 0

    def one(self) -> None:
        self._done += 1
        if self._tell is not None:
            self._tell(self._done, self._total)


def _one_engine(examples: Sequence[Example], name: str) -> Example:
    if not examples:
        raise FindingError(f"family {name}: no recording was given to learn from.")
    first = examples[0]
    for one in examples:
        same = one.car.metering == first.car.metering
        ratio = one.car.displacement_l.value / first.car.displacement_l.value
        if not same or not 0.95 < ratio < 1.05:
            raise FindingError(
                f"family {name}: {one.identity} ({one.car.displacement_l.value:g} L, metered by "
                f"{one.car.metering}) and {first.identity} ({first.car.displacement_l.value:g} L, "
                f"{first.car.metering}) are not of one engine. Give each its own family."
            )
    return first


def _study_all(
    examples: Sequence[Example],
    broad: Broad,
    family: Family | None,
    refused: dict[int, str],
    told: _Telling,
) -> dict[int, Study]:
    """Studies of all that can be judged, by place; the others' reasons go to ``refused``."""
    studies: dict[int, Study] = {}
    for place, one in enumerate(examples):
        told.one()
        if place in refused:
            continue
        try:
            studies[place] = study(one.stretches, one.car, broad, family, one.source)
        except BellmouthError as error:
            refused[place] = f"{one.source}: {error}"
    return studies


def _enough(
    examples: Sequence[Example], studies: dict[int, Study], refused: dict[int, str], name: str
) -> None:
    cars = {examples[place].identity for place in studies}
    if len(cars) < LEAST_CARS:
        why = f" {len(refused)} recordings could not be judged." if refused else ""
        raise FindingError(
            f"family {name}: {len(cars)} cars to learn from, at least {LEAST_CARS} are needed to "
            f"tell a family from its cars.{why} Give more cars, or leave the family out."
        )


@dataclass(frozen=True)
class _State:
    """The family as known so far, in broad coordinates."""

    mean: Floats
    covariance: Floats
    shares: dict[str, float]


def _begin(size: int) -> _State:
    return _State(np.zeros(size), np.eye(size), cause_weights("unknown"))


@dataclass(frozen=True)
class _Crowd:
    """All recordings' hypotheses side by side, flat: ``car`` (rows,) tells whose each is."""

    car: Ints
    names: tuple[tuple[str, ...], ...]
    studies: tuple[Study, ...]
    weight: Floats  # (recordings,) one over how many of the same car there are
    log_evidence: Floats
    log_overlap: Floats
    precision: Floats
    pull: Floats
    kept: Ints  # rows that any chance is left of

    def log_weights(self, shares: dict[str, float]) -> tuple[Floats, Floats]:
        """Log weight of every row, and of no cause in each recording."""
        rows, strange = [], []
        for one in self.studies:
            table = hypothesis_weights(shares, one.hypotheses)
            rows += [table[name] for name in one.hypotheses.names]
            strange.append(table["unexplained"])
        with np.errstate(divide="ignore"):
            return np.log(np.array(rows)), np.log(np.array(strange))

    def whole(self, log_evidence: Floats, shares: dict[str, float]) -> Floats:
        """Log evidence of each recording, (recordings,)."""
        weight, strange = self.log_weights(shares)
        total = strange + np.array([one.log_unexplained for one in self.studies])
        np.logaddexp.at(total, self.car, weight + log_evidence)
        return np.asarray(total)

    def moved(self, state: _State) -> Floats:
        """Log evidence of every row under the family as it is now; hopeless rows stay so."""
        now = np.full(len(self.car), -np.inf)
        k = self.kept
        overlap = log_overlap(self.precision[k], self.pull[k], state.mean, state.covariance)
        now[k] = self.log_evidence[k] - self.log_overlap[k] + overlap
        return now

    def belongs(self, state: _State, any_car: Floats) -> Floats:
        """Probability of each recording that its car is like the rest."""
        own = self.whole(self.moved(state), state.shares) + np.log(BELONGS)
        other = any_car + np.log1p(-BELONGS)
        return np.asarray(np.exp(own - np.logaddexp(own, other)))


def _crowd(examples: Sequence[Example], studies: dict[int, Study]) -> _Crowd:
    found = tuple(studies.values())
    identities = [examples[place].identity for place in studies]
    car = np.concatenate(
        [np.full(s.hypotheses.count, i, dtype=np.intp) for i, s in enumerate(found)]
    )
    evidence = np.concatenate([s.log_evidence for s in found])
    best = np.full(len(found), -np.inf)
    np.maximum.at(best, car, evidence)
    return _Crowd(
        car=car,
        names=tuple(s.hypotheses.names for s in found),
        studies=found,
        weight=np.array([1.0 / identities.count(one) for one in identities]),
        log_evidence=evidence,
        log_overlap=np.concatenate([s.log_overlap for s in found]),
        precision=np.concatenate([s.precision for s in found]),
        pull=np.concatenate([s.pull for s in found]),
        kept=np.flatnonzero(evidence > best[car] - _HOPELESS_NATS),
    )


@dataclass(frozen=True)
class _Expected:
    """What the recordings say under the state: weight, mean and covariance of each kept row."""

    weight: Floats
    mean: Floats
    covariance: Floats
    shares: dict[str, float]


def _expect(crowd: _Crowd, state: _State, any_car: Floats) -> _Expected:
    now = crowd.moved(state)
    weight, _ = crowd.log_weights(state.shares)
    whole = crowd.whole(now, state.shares)
    belongs = crowd.belongs(state, any_car)
    chance = np.exp(now + weight - whole[crowd.car])
    counted = chance * (belongs * crowd.weight)[crowd.car]
    inverse = np.linalg.inv(state.covariance)
    k = crowd.kept
    covariance = np.linalg.inv(inverse + crowd.precision[k])
    toward = inverse @ state.mean + crowd.pull[k]
    mean = (covariance @ toward[:, :, None])[:, :, 0]
    return _Expected(
        counted[k], np.asarray(mean), np.asarray(covariance), _shares(crowd, chance, whole, state)
    )


def _shares(
    crowd: _Crowd, chance: Floats, whole: Floats, state: _State
) -> dict[str, float]:  # fmt: skip
    """Shares of causes: what the recordings show, and a little of what is so anywhere."""
    usual = cause_weights("unknown")
    found = {cause: _SHARES_SAID_BY * weight for cause, weight in usual.items()}
    each = chance * crowd.weight[crowd.car]
    names = np.array([name for names in crowd.names for name in names])
    for name in np.unique(names):
        key = str(name) if name in found else "pairs"
        found[key] += float(each[names == name].sum())
    _, strange = crowd.log_weights(state.shares)
    unexplained = np.array([one.log_unexplained for one in crowd.studies])
    found["unexplained"] += float((np.exp(strange + unexplained - whole) * crowd.weight).sum())
    total = sum(found.values())
    return {cause: weight / total for cause, weight in found.items()}


def _improve(told: _Expected, state: _State) -> _State:
    size = len(state.mean)
    count = float(told.weight.sum())
    inverse = np.linalg.inv(state.covariance)
    toward = inverse @ (told.weight @ told.mean)
    mean = np.linalg.solve(np.eye(size) + count * inverse, toward)
    away = told.mean - mean
    scatter = np.einsum("k,ki,kj->ij", told.weight, away, away)
    scatter += np.einsum("k,kij->ij", told.weight, told.covariance)
    covariance = (_SAID_BY * _LIKE_ANY**2 * np.eye(size) + scatter) / (_SAID_BY + count)
    return _State(np.asarray(mean), np.asarray(0.5 * (covariance + covariance.T)), told.shares)


def _converge(crowd: _Crowd, state: _State, any_car: Floats) -> _State:
    for _ in range(_STEPS):
        before = state
        state = _improve(_expect(crowd, state, any_car), state)
        moved = np.abs(state.mean - before.mean).max()
        spread = np.abs(np.sqrt(np.diag(state.covariance)) - np.sqrt(np.diag(before.covariance)))
        if max(moved, spread.max()) < _STILL:
            break
    return state


def _unsure(crowd: _Crowd, state: _State, told: _Expected) -> Floats:
    """Covariance of the family's mean itself, from the information that is missing (T. A. Louis,
    J. R. Stat. Soc. B 44 (1982) 226-233, quoted from memory)."""
    inverse = np.linalg.inv(state.covariance)
    whole = np.bincount(crowd.car[crowd.kept], told.weight, len(crowd.studies))
    missing = np.einsum("k,kij->ij", told.weight, told.covariance)
    # Between a recording's hypotheses the unknowns differ, too.
    rows = crowd.car[crowd.kept]
    for place in np.flatnonzero(whole > 1e-9):
        mine = rows == place
        share = told.weight[mine]
        away = told.mean[mine] - share @ told.mean[mine] / whole[place]
        missing += np.einsum("k,ki,kj->ij", share, away, away)
    known = np.eye(len(inverse)) + whole.sum() * inverse - inverse @ missing @ inverse
    value, vector = np.linalg.eigh(0.5 * (known + known.T))
    # No car says less than nothing: what cannot be known stays as for any car.
    return np.asarray((vector / np.maximum(value, 1.0)) @ vector.T)


def _family(
    name: str,
    car: Car,
    examples: Sequence[Example],
    studies: dict[int, Study],
    crowd: _Crowd,
    state: _State,
    any_car: Floats,
    broad: Broad,
    made: date | None,
) -> Family:
    told = _expect(crowd, state, any_car)
    covariance = state.covariance + _unsure(crowd, state, told)
    sd = np.minimum(np.sqrt(np.diag(covariance)), 1.5)
    root = np.sqrt(np.diag(covariance))
    return Family(
        name=name,
        made=(made or datetime.now(tz=UTC).date()).isoformat(),
        software=__version__,
        cars=len({examples[place].identity for place in studies}),
        recordings=len(studies),
        like_the_rest=float(np.average(crowd.belongs(state, any_car), weights=crowd.weight)),
        displacement_l=car.displacement_l.value,
        metering=car.metering,
        coordinates=LEARNED,
        mean=broad.mean + broad.sd * state.mean,
        sd=broad.sd * sd,
        correlation=covariance / np.outer(root, root),
        shares=state.shares,
        habit=_habit(crowd, told),
    )


def _habit(crowd: _Crowd, told: _Expected) -> Habit:
    """How they idle where nothing is wrong with it, each recording counted by how likely that
    is; spreads by quantiles, which a few under load or off their mark do not move."""
    idling = [one.idling for one in crowd.studies]
    rows = crowd.car[crowd.kept]
    plain = np.concatenate([one.plain for one in idling])[crowd.kept]
    air = np.concatenate([one.log_air for one in idling])[crowd.kept]
    timing = np.array([one.timing_deg for one in idling])[rows]
    rpm = np.array([one.told_rpm for one in idling])
    return Habit(
        rpm=_middle(rpm, crowd.weight, 5.0),
        timing_deg=_middle(timing, told.weight * plain, 0.7),
        log_air=_middle(air, told.weight * plain, 0.03),
    )


def _middle(value: Floats, weight: Floats, least_sd: float) -> Known | None:
    """Weighted median and spread, None where too little is known."""
    seen = np.isfinite(value) & (weight > 1e-6)
    value, weight = value[seen], weight[seen]
    if weight.sum() < _LEAST_IDLES:
        return None
    order = np.argsort(value)
    share = (np.cumsum(weight[order]) - 0.5 * weight[order]) / weight.sum()
    low, middle, high = np.interp((0.16, 0.5, 0.84), share, value[order])
    sd = max(0.5 * (high - low), least_sd) * (1.0 + 1.0 / weight.sum())
    return Known(float(middle), float(sd))
