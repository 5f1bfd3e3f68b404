"""The finding on one real recording as a row of the table."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from bellmouth.car.description import Car
from bellmouth.errors import BellmouthError
from bellmouth.finding.case import solve
from bellmouth.finding.explain import evidence_of
from bellmouth.finding.find import find
from bellmouth.finding.priors import cause_weights
from bellmouth.finding.result import Size
from bellmouth.finding.sizes import sizes_of
from bellmouth.recording.series import Recording
from bellmouth.recording.stretch import Stretch
from measure.judge import log_prior, posterior

__all__ = ["HEADER", "SPARED", "Answer", "ask", "ask_stretches", "row"]

HEADER = (
    "recording",
    "points",
    "top cause",
    "p",
    "next",
    "misfit",
    "worst fault",
    "what led there",
)
#: Answers that are no fault.
SPARED = ("healthy", "unexplained")


@dataclass(frozen=True)
class Answer:
    """What was found: causes most probable first, sizes of each, misfit, and why."""

    name: str
    points: int
    causes: tuple[tuple[str, float], ...]
    sizes: Mapping[str, Mapping[str, Size]]
    misfit: float
    why: tuple[str, ...]

    @property
    def top(self) -> str:
        """The most probable cause."""
        return self.causes[0][0]

    @property
    def fault(self) -> float:
        """The largest probability of any fault."""
        return max((p for cause, p in self.causes if cause not in SPARED), default=0.0)

    def probability(self, cause: str) -> float:
        """Of one cause; 0 where it was not asked about."""
        return dict(self.causes).get(cause, 0.0)


def ask(
    name: str,
    recording: Recording,
    car: Car,
    references: Sequence[Recording] = (),
    *,
    also: Sequence[Recording] = (),
) -> Answer:
    """Run the finding, complaint unknown; a refusal is an answer without causes."""
    try:
        found = find(recording, car, also=also, references=references)
    except BellmouthError as error:
        return Answer(name, 0, (("refused", 1.0),), {}, float("nan"), (str(error),))
    return Answer(
        name=name,
        points=len(found.picture.points),
        causes=tuple((one.cause, one.probability) for one in found.causes),
        sizes={one.cause: one.sizes for one in found.causes},
        misfit=found.misfit,
        why=tuple(_why(one.what, one.strength) for one in found.evidence),
    )


def ask_stretches(
    name: str, judged: Sequence[Stretch], references: Sequence[Sequence[Stretch]], car: Car
) -> Answer:
    """The same for operating points that were never a recording."""
    case = solve(judged, references, car, name)
    values = posterior(case.log_evidence, log_prior(case, cause_weights("unknown")))
    table = dict(zip(case.names, map(float, values), strict=True))
    causes = sorted(table.items(), key=lambda pair: -pair[1])
    explained = [table[one] for one in case.hypotheses.names]
    return Answer(
        name=name,
        points=len(judged),
        causes=tuple(causes),
        sizes=sizes_of(case),
        misfit=float(case.posterior.misfit[int(np.argmax(explained))]),
        why=tuple(_why(one.what, one.strength) for one in evidence_of(case, table)),
    )


def _why(what: str, strength: float) -> str:
    return f"{what} ({strength:+.1f})"


def row(answer: Answer) -> list[str]:
    """Cells under ``HEADER``."""
    (cause, p), *others = answer.causes
    following = ", ".join(f"{other} {value:.2f}" for other, value in others[:2])
    why = "; ".join(answer.why[:2]) or "-"
    return [
        answer.name, str(answer.points), cause, f"{p:.2f}", following, f"{answer.misfit:.2f}",
        f"{answer.fault:.2f}", why,
    ]  # fmt: skip
