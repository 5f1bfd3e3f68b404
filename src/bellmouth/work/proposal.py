"""Which works a finding calls for, and what speaks against the works that were chosen."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from bellmouth.car.description import Car
from bellmouth.finding.result import Finding, Size
from bellmouth.work.content import content
from bellmouth.work.phrases import Phrase
from bellmouth.work.unsettled import unsettled

__all__ = ["FoundCause", "Proposal", "found_causes", "objections", "propose", "steps_for"]

_NO_CAUSE = ("healthy", "unexplained")


@dataclass(frozen=True, slots=True)
class FoundCause:
    """A single cause, its probability alone or in a pair, and its size where one is told."""

    cause: str
    probability: float
    size: Size | None = None


@dataclass(frozen=True, slots=True)
class Proposal:
    """The works that follow from a finding, and whom or what to turn to instead."""

    works: tuple[str, ...]
    hand_over: tuple[Phrase, ...]


def found_causes(finding: Finding | None) -> tuple[FoundCause, ...]:
    """What the finding says of each single cause worth a line, most probable first."""
    if finding is None:
        return ()
    weights = dict(finding.present)
    for entry in finding.causes:
        if "+" not in entry.cause:
            weights.setdefault(entry.cause, entry.probability)
    least = content("works")["limits"]["minds_from"]
    told = [
        FoundCause(cause, weight, _size(finding, cause))
        for cause, weight in weights.items()
        if weight >= least
    ]
    return tuple(sorted(told, key=lambda found: -found.probability))


def _size(finding: Finding, cause: str) -> Size | None:
    """The size in the likeliest entry that holds the cause."""
    for entry in finding.causes:
        if cause in entry.sizes:
            return entry.sizes[cause]
    return None


def _rule(car: Car, cause: str) -> Mapping[str, Any]:
    for rule in content("works")["cause"]:
        if rule["name"] == cause and rule.get("metering", car.metering) == car.metering:
            found: Mapping[str, Any] = rule
            return found
    return {}


def _leading(finding: Finding | None) -> tuple[str, ...]:
    """The causes that lead: those of the likeliest entry, and whatever is more likely than not."""
    if finding is None:
        return ()
    least = content("works")["limits"]["proposes_from"]
    top = finding.causes[0].cause.split("+")
    others = [cause for cause, weight in finding.present.items() if weight >= least]
    return tuple(dict.fromkeys([*top, *others]))


def propose(car: Car, finding: Finding) -> Proposal:
    """The works that the leading causes call for; none of those that one of them forbids.

    A work on a part that the car does not have is never proposed. While nothing is settled, nothing
    is called healthy or unexplained either.
    """
    leading = _leading(finding)
    if unsettled(finding) is not None:
        leading = tuple(cause for cause in leading if cause not in _NO_CAUSE)
    rules = [_rule(car, cause) for cause in leading]
    stopped = {work for rule in rules for work in rule.get("stops", ())}
    works = {work for rule in rules for work in rule.get("works", ())} - stopped
    if "clean_plate" in stopped:
        # A body that is not cleaned stays on, and nothing is learned for its sake.
        works -= {"renew_gasket", *({"relearn"} if "reseal" not in works else ())}
    order = [work["name"] for work in content("works")["work"]]
    said = dict.fromkeys(rule["hand_over"] for rule in rules if "hand_over" in rule)
    return Proposal(
        tuple(name for name in order if name in works), tuple(Phrase(text) for text in said)
    )


def objections(finding: Finding | None, works: Iterable[str]) -> tuple[Phrase, ...]:
    """What speaks against these works: rules of the trade, given what the finding minds."""
    chosen = set(works)
    minded = {found.cause for found in found_causes(finding)}
    said = []
    for rule in content("works")["objection"]:
        concerned = chosen.intersection(rule["has"]) and not chosen.intersection(
            rule.get("lacks", ())
        )
        if concerned and ("causes" not in rule or minded.intersection(rule["causes"])):
            said.append(Phrase(rule["say"]))
    return tuple(said)


def steps_for(
    finding: Finding | None, steps: Iterable[Mapping[str, Any]]
) -> list[Mapping[str, Any]]:
    """Of steps that are each for one of several causes those for what the finding minds; all of
    them where it minds none of these, or there is none."""
    rows = list(steps)
    named = {cause for row in rows for cause in row.get("causes", ())}
    minded = named & {found.cause for found in found_causes(finding)} or named
    return [row for row in rows if "causes" not in row or minded & set(row["causes"])]
