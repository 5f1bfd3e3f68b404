"""Each car against the family that the others make: how well they foretell it, and how far off it
stands.

A car that helped to make the family is near it by that alone. So each is taken out: the family's
mean and covariance are worked out anew from what the others' recordings say (one step of the
rounds in `crowd`, whose weights stay). A car that has little to do with the rest is told by
`Crowd.belongs` already; this tells those that are of the family and slightly off it.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc, ndtr

from bellmouth.finding.nuisance import LEARNED
from bellmouth.fleet.crowd import Crowd, Expected, State, improve
from bellmouth.fleet.studies import log_overlap

__all__ = ["RARE", "LeftOut", "leave_out"]

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

#: Of cars like the rest one in a hundred is called slightly off by chance.
RARE = 0.01
# What narrows a direction less than this, beside any car's spread, says nothing of it.
_TELLS = 0.1


@dataclass(frozen=True)
class LeftOut:
    """One element a recording, (recordings,).

    ``gain`` is the logarithm of how much better the other cars foretell its readings than what is
    known of any car [nats]; ``chance`` that a car like the rest is as far off or further;
    ``furthest`` the unknown that is, ``off`` by how many standard deviations of it.
    """

    gain: Floats
    chance: Floats
    furthest: tuple[str, ...]
    off: Floats

    def slightly_off(self, place: int) -> bool:
        """Whether a recording's car stands off the others, if not for a stranger."""
        return bool(self.chance[place] < RARE)


def leave_out(
    crowd: Crowd, state: State, told: Expected, any_car: Floats, spread: Floats, bounds: Floats
) -> LeftOut:
    """Hold each recording against the family of the other cars.

    Parameters
    ----------
    state, told
        The family that all make, and what the recordings say under it.
    any_car
        (recordings,) log evidence of each under the prior of any car.
    spread
        (coordinates, coordinates) covariance of how unsure the family's mean is.
    bounds
        (2, coordinates) where the mean can lie.
    """
    weights, strange = crowd.log_weights(state.shares)
    rows_of = crowd.car[crowd.kept]
    gain, chance, names, off = [], [], [], []
    for place, study in enumerate(crowd.studies):
        others = crowd.owner[rows_of] != crowd.owner[place]
        without = improve(
            replace(told, weight=told.weight[others], mean=told.mean[others],
                    covariance=told.covariance[others]),
            state, bounds,
        )  # fmt: skip
        wide = without.covariance + spread
        rows = crowd.kept[rows_of == place]
        overlap = log_overlap(crowd.precision[rows], crowd.pull[rows], without.mean, wide)
        logs = weights[rows] + crowd.log_evidence[rows] - crowd.log_overlap[rows] + overlap
        whole = np.logaddexp(np.logaddexp.reduce(logs), strange[place] + study.log_unexplained)
        gain.append(float(whole - any_car[place]))
        best = rows[int(np.argmax(logs))]
        one = _departure(crowd.precision[best], crowd.pull[best], without.mean, wide)
        chance.append(one[0])
        names.append(LEARNED[one[1]])
        off.append(one[2])
    return LeftOut(np.array(gain), np.array(chance), tuple(names), np.array(off))


def _departure(
    precision: Floats, pull: Floats, mean: Floats, covariance: Floats
) -> tuple[float, int, float]:
    """How rare a car's best fit is among cars of this mean and covariance, by its distance in all
    that its recording tells of and by the one coordinate that is furthest off, whichever is rarer;
    which coordinate that is, and how far off [standard deviations]."""
    value, vector = np.linalg.eigh(0.5 * (precision + precision.T))
    tells = value > _TELLS
    if not tells.any():
        return 1.0, 0, 0.0
    turn, value = vector[:, tells], value[tells]
    away = (turn.T @ pull) / value - turn.T @ mean
    scatter = turn.T @ covariance @ turn + np.diag(1.0 / value)
    square = float(away @ np.linalg.solve(scatter, away))
    # What the car's own unknowns must be for that, and how far such a guess usually goes.
    gain = covariance @ turn @ np.linalg.inv(scatter)
    guess, usual = gain @ away, np.einsum("ij,ji->i", gain, turn.T @ covariance)
    score = guess / np.sqrt(np.maximum(usual, 1e-12))
    # A guess of next to nothing is none, however surely it is that.
    seen = usual > 0.05 * np.diag(covariance)
    score = np.where(seen, score, 0.0)
    furthest = int(np.argmax(np.abs(score)))
    # Bonferroni over the coordinates, and over the two ways of being rare.
    single = 2.0 * np.count_nonzero(seen) * ndtr(-abs(score[furthest]))
    rare = min(float(chdtrc(len(value), square)), float(single))
    return min(2.0 * rare, 1.0), furthest, float(score[furthest])
