"""Many recordings' studies side by side, and the family under which all together are likeliest.

Expectation and maximisation (Dempster, Laird and Rubin, J. R. Stat. Soc. B 39 (1977) 1-38, quoted
from memory): each recording counts under every cause as much as it allows, and as one of the
family as much as it is like the rest; the family becomes what these weighted recordings have.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bellmouth.finding.belonging import BELONGS
from bellmouth.finding.priors import cause_weights
from bellmouth.finding.weights import hypothesis_weights
from bellmouth.fleet.studies import Study, log_overlap

__all__ = [
    "Crowd",
    "Expected",
    "State",
    "begin",
    "converge",
    "crowd_of",
    "expect",
    "improve",
    "unsure",
]

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

_STEPS = 40
_STILL = 2e-3  # of a broad standard deviation
_HOPELESS_NATS = 14.0
# What is assumed before: cars of a family differ by a third of what any two cars do, said as
# loudly as by four cars; and causes are shared as anywhere, said as loudly as by ten. Common
# practice, no source.
_LIKE_ANY = 0.35
_SAID_BY = 4.0
_SHARES_SAID_BY = 10.0


@dataclass(frozen=True)
class State:
    """The family as known so far, in broad coordinates."""

    mean: Floats
    covariance: Floats
    shares: dict[str, float]


def begin(size: int) -> State:
    """Before anything is learnt: any car."""
    return State(np.zeros(size), np.eye(size), cause_weights("unknown"))


@dataclass(frozen=True)
class Crowd:
    """All recordings' hypotheses side by side, flat: ``car`` (rows,) tells whose each is."""

    car: Ints
    names: tuple[tuple[str, ...], ...]
    studies: tuple[Study, ...]
    owner: Ints  # (recordings,) number of the car that each is of
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

    def moved(self, state: State) -> Floats:
        """Log evidence of every row under the family as it is now; hopeless rows stay so."""
        now = np.full(len(self.car), -np.inf)
        k = self.kept
        overlap = log_overlap(self.precision[k], self.pull[k], state.mean, state.covariance)
        now[k] = self.log_evidence[k] - self.log_overlap[k] + overlap
        return now

    def belongs(self, state: State, any_car: Floats) -> Floats:
        """Probability of each recording that its car is like the rest."""
        own = self.whole(self.moved(state), state.shares) + np.log(BELONGS)
        other = any_car + np.log1p(-BELONGS)
        return np.asarray(np.exp(own - np.logaddexp(own, other)))


def crowd_of(found: Sequence[Study], identities: Sequence[str]) -> Crowd:
    """Studies side by side; ``identities`` say whose each is, several of one car count as one."""
    car = np.concatenate(
        [np.full(s.hypotheses.count, i, dtype=np.intp) for i, s in enumerate(found)]
    )
    evidence = np.concatenate([s.log_evidence for s in found])
    best = np.full(len(found), -np.inf)
    np.maximum.at(best, car, evidence)
    return Crowd(
        car=car,
        names=tuple(s.hypotheses.names for s in found),
        studies=tuple(found),
        owner=np.array([identities.index(one) for one in identities], dtype=np.intp),
        weight=np.array([1.0 / identities.count(one) for one in identities]),
        log_evidence=evidence,
        log_overlap=np.concatenate([s.log_overlap for s in found]),
        precision=np.concatenate([s.precision for s in found]),
        pull=np.concatenate([s.pull for s in found]),
        kept=np.flatnonzero(evidence > best[car] - _HOPELESS_NATS),
    )


@dataclass(frozen=True)
class Expected:
    """What the recordings say under the state: weight, mean and covariance of each kept row."""

    weight: Floats
    mean: Floats
    covariance: Floats
    shares: dict[str, float]


def expect(crowd: Crowd, state: State, any_car: Floats) -> Expected:
    """Every kept row under the state; ``any_car`` is each recording's evidence of being none of
    the family, (recordings,)."""
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
    return Expected(
        counted[k], np.asarray(mean), np.asarray(covariance), _shares(crowd, chance, whole, state)
    )


def _shares(
    crowd: Crowd, chance: Floats, whole: Floats, state: State
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


def improve(told: Expected, state: State, bounds: Floats) -> State:
    """The family that these weighted recordings have; ``bounds`` (2, coordinates) hold its mean."""
    size = len(state.mean)
    count = float(told.weight.sum())
    inverse = np.linalg.inv(state.covariance)
    toward = inverse @ (told.weight @ told.mean)
    mean = np.clip(np.linalg.solve(np.eye(size) + count * inverse, toward), *bounds)
    away = told.mean - mean
    scatter = np.einsum("k,ki,kj->ij", told.weight, away, away)
    scatter += np.einsum("k,kij->ij", told.weight, told.covariance)
    covariance = (_SAID_BY * _LIKE_ANY**2 * np.eye(size) + scatter) / (_SAID_BY + count)
    # Cars of one family differ no more than any two cars do.
    value, vector = np.linalg.eigh(0.5 * (covariance + covariance.T))
    covariance = (vector * np.minimum(value, 1.0)) @ vector.T
    return State(np.asarray(mean), np.asarray(covariance), told.shares)


def converge(crowd: Crowd, state: State, any_car: Floats, bounds: Floats) -> State:
    """The state that the recordings and itself agree on; ``bounds`` (2, coordinates) hold its
    mean."""
    for _ in range(_STEPS):
        before = state
        state = improve(expect(crowd, state, any_car), state, bounds)
        moved = np.abs(state.mean - before.mean).max()
        spread = np.abs(np.sqrt(np.diag(state.covariance)) - np.sqrt(np.diag(before.covariance)))
        if max(moved, spread.max()) < _STILL:
            break
    return state


def unsure(crowd: Crowd, state: State, told: Expected) -> Floats:
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
