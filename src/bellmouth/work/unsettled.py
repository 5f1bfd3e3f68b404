"""A finding in which nothing is more likely than not: what leads it, which check comes first."""

from dataclasses import dataclass

from bellmouth.finding.result import Finding, NextCheck
from bellmouth.work.content import content

__all__ = ["Unsettled", "unsettled"]


@dataclass(frozen=True, slots=True)
class Unsettled:
    """What is likeliest and still less likely than not, and the check that would tell most; None
    where the finding names none."""

    leads: str
    probability: float
    check: NextCheck | None


def unsettled(finding: Finding | None) -> Unsettled | None:
    """What has to be settled before any work; None where the finding leads somewhere.

    It does where one entry, or one cause alone and in pairs together, is as likely as a cause has
    to be that proposes its work (``[limits]`` in ``works.toml``).
    """
    if finding is None:
        return None
    top = finding.causes[0]
    likeliest = max((top.probability, *finding.present.values()))
    if likeliest >= content("works")["limits"]["proposes_from"]:
        return None
    check = finding.next_checks[0] if finding.next_checks else None
    return Unsettled(top.cause, top.probability, check)
