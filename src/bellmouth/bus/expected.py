"""What more recording is expected to tell: bits about the causes and about their sizes.

The expected information of longer recording is the mean, over what it may show, of how far the
finding would move: the divergence of the probabilities after from those now, and how much
narrower the sizes of what is likely would be. What it may show is drawn from the readings' own
errors; the part of them that is rounding or model error does not shrink, so neither does it
promise anything.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from bellmouth.car.complaint import parse_complaint
from bellmouth.car.description import Car
from bellmouth.errors import FindingError
from bellmouth.finding.case import solve
from bellmouth.finding.priors import cause_weights
from bellmouth.finding.sizes import sizes_of
from bellmouth.finding.weights import hypothesis_weights, probability
from bellmouth.recording.stretch import Reading, Stretch

__all__ = ["View", "gain_bits", "longer", "view"]

# Two futures, one the mirror of the other: their mean has no first-order error.
_DRAWS = (1.0, -1.0)
# Sizes count for causes at least this likely.
_LIKELY = 0.05


@dataclass(frozen=True)
class View:
    """Probability of each hypothesis, and width of each of its sizes (log of high over low)."""

    probability: Mapping[str, float]
    width: Mapping[tuple[str, str], float]


def view(stretches: Sequence[Stretch], car: Car, complaint: str | None = None) -> View | None:
    """What stretches say now; None where they cannot be asked yet."""
    said = parse_complaint(complaint) if complaint else (car.complaint or "unknown")
    try:
        case = solve(stretches, [], car)
        prior = hypothesis_weights(cause_weights(said), case.hypotheses)
    except FindingError:
        return None
    chances = probability(case.log_evidence, prior, case.names)
    width = {
        (name, cause): float(np.log(max(size.high, 1e-9) / max(size.low, 1e-9)))
        for name, sizes in sizes_of(case).items()
        for cause, size in sizes.items()
    }
    return View(dict(zip(case.names, map(float, chances), strict=True)), width)


def gain_bits(
    stretches: Sequence[Stretch],
    which: int,
    more_s: float,
    car: Car,
    complaint: str | None = None,
    *,
    now: View | None = None,
    seed: int = 0,
) -> float:
    """Bits that another ``more_s`` seconds of one stretch are expected to tell. [bits]

    Infinite where nothing can be said yet.
    """
    now = now or view(stretches, car, complaint)
    if now is None:
        return float("inf")
    gains = []
    for sign in _DRAWS:
        future = list(stretches)
        future[which] = longer(stretches[which], more_s, sign, seed)
        after = view(future, car, complaint)
        if after is not None:
            gains.append(_moved(now, after))
    return float(np.mean(gains)) if gains else float("inf")


def longer(stretch: Stretch, more_s: float, sign: float = 0.0, seed: int = 0) -> Stretch:
    """The stretch as it may be after another ``more_s`` seconds: each mean moved by ``sign``
    draws of what its chance error still hides, each chance error shrunk. [s]"""
    rng = np.random.default_rng(seed)
    share = stretch.seconds / (stretch.seconds + more_s)
    readings: dict[str, Reading] = {}
    for name, reading in stretch.readings.items():
        chance2 = min(
            reading.scatter**2 / max(reading.independent_samples, 1.0), reading.standard_error**2
        )
        left2 = reading.standard_error**2 - chance2 * (1.0 - share)
        moved = sign * float(rng.standard_normal()) * np.sqrt(chance2 * (1.0 - share))
        readings[name] = reading._replace(
            value=reading.value + moved,
            standard_error=float(np.sqrt(left2)),
            independent_samples=reading.independent_samples / share,
        )
    return replace(stretch, end_s=stretch.end_s + more_s, readings=readings)


def _moved(now: View, after: View) -> float:
    """Divergence of the causes, and sizes that became narrower. [bits]"""
    causes = sum(
        p * np.log2(p / max(now.probability.get(name, 0.0), 1e-12))
        for name, p in after.probability.items()
        if p > 1e-9
    )
    sizes = sum(
        after.probability[name] * np.log2(max(now.width[name, cause], 1e-9) / max(width, 1e-9))
        for (name, cause), width in after.width.items()
        if after.probability[name] >= _LIKELY and (name, cause) in now.width
    )
    return float(max(causes, 0.0) + max(sizes, 0.0))
