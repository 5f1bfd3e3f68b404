"""From judged cases to the arrays that the scores work on, under any weights of the causes."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from bellmouth.car.description import Complaint
from bellmouth.finding.priors import cause_weights
from measure.judge import Judgement, posterior

__all__ = ["Judged", "Weights", "equal_weights", "gather", "gather_default", "log_weights"]

Floats = NDArray[np.float64]
Weights = Mapping[str, float]


@dataclass(frozen=True)
class Judged:
    """``probability`` (cases, causes), ``truth`` (cases,) and the causes' names, for some cases
    in the order of ``judgements``."""

    judgements: tuple[Judgement, ...]
    causes: tuple[str, ...]
    probability: Floats
    truth: NDArray[np.intp]

    def column(self, cause: str) -> int:
        """Column of a cause."""
        return self.causes.index(cause)

    def columns(self, causes: Sequence[str]) -> list[int]:
        """Columns of those of ``causes`` that anything was said about."""
        return [self.causes.index(cause) for cause in causes if cause in self.causes]

    def only(self, what: Literal["cause", "reports", "plan"], value: str) -> "Judged":
        """The cases whose sample has this cause, reports these sensors, or was so recorded."""
        return self.where(lambda one: getattr(one.sample, what) == value)

    def where(self, keep: Callable[[Judgement], bool]) -> "Judged":
        """The cases that ``keep`` chooses."""
        mask = np.array([keep(one) for one in self.judgements], dtype=bool)
        chosen = tuple(one for one, kept in zip(self.judgements, mask, strict=True) if kept)
        return Judged(chosen, self.causes, self.probability[mask], self.truth[mask])


def gather_default(judgements: Sequence[Judgement], complaint: Complaint = "unknown") -> Judged:
    """Under the stated weights of a complaint."""
    weights = cause_weights(complaint)
    return gather(judgements, lambda one: log_weights(one.names, weights))


def gather(judgements: Sequence[Judgement], weigh: Callable[[Judgement], Floats]) -> Judged:
    """Under the log weights that ``weigh`` gives the hypotheses of each case."""
    causes: dict[str, None] = {}
    for one in judgements:
        causes |= dict.fromkeys(one.names) | {one.sample.cause: None}
    index = {cause: i for i, cause in enumerate(causes)}
    probability = np.zeros((len(judgements), len(index)))
    for row, one in enumerate(judgements):
        columns = [index[name] for name in one.names]
        probability[row, columns] = posterior(one.log_evidence, weigh(one))
    truth = np.array([index[one.sample.cause] for one in judgements], dtype=np.intp)
    return Judged(tuple(judgements), tuple(index), probability, truth)


def log_weights(names: Sequence[str], weights: Weights) -> Floats:
    """Log weight of each hypothesis: its own, and of pairs a share of ``pairs`` besides, by the
    product of their members' weights."""
    product = {
        name: float(np.prod([weights.get(part, 0.0) for part in name.split("+")]))
        for name in names
        if "+" in name
    }
    whole = sum(product.values()) or 1.0
    shared = weights.get("pairs", 0.0) / whole
    table = np.array([weights.get(n, 0.0) + shared * product.get(n, 0.0) for n in names])
    with np.errstate(divide="ignore"):
        return np.asarray(np.log(table / table.sum()))


def equal_weights(drawn: Sequence[str]) -> Weights:
    """The shares in which a population's causes were drawn, as weights: what a calibrated
    answer about that population starts from."""
    return {cause: drawn.count(cause) / len(drawn) for cause in drawn}
