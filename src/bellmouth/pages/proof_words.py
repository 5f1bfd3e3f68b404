"""Plain words for a proof, shared by the screen and the page."""

from bellmouth.finding.causes import CAUSES
from bellmouth.finding.proof_result import Change, NewLeak, Proof
from bellmouth.finding.result import Size
from bellmouth.finding.verdict import COMMITS
from bellmouth.pages.metered import shown_cause
from bellmouth.pages.words import (
    chance,
    interval_words,
    name_words,
    number,
    percent_words,
    unit_words,
)

__all__ = [
    "change_words",
    "course_words",
    "leak_words",
    "learning_words",
    "outcome_words",
    "proof_headline",
]

_VERDICTS = {
    "better": "Better: what was wrong is gone or much smaller, and nothing new is there",
    "same": "The same: no change beyond what weather, load, fuel and chance make",
    "worse": "Worse: something is wrong now that was not before",
    "cannot say yet": "Cannot say yet",
}
_WORTH_SAYING = 0.5
_POSSIBLE = 0.1
_HARDLY_TOLD = 3.0  # recordings that move the odds by less than this factor; our choice
_SURE = 0.9
_MOSTLY = 0.9  # of what is or may be new; our choice
_LEAK_MINDED = 0.01
_SEAL = "Find and seal it before anything is learned, then record once more."


def proof_headline(proof: Proof, metering: str = "airflow") -> str:
    """The verdict in one sentence, with its probability."""
    words = _VERDICTS[proof.verdict]
    if told := _half_done(proof, metering):
        return told
    if proof.verdict != "cannot say yet":
        return f"{words} ({chance(proof.probability)})."
    likeliest = max(proof.outcomes, key=lambda name: proof.outcomes[name])
    sure = chance(proof.probability)
    if proof.probability >= COMMITS:  # it is not for want of sureness
        return f"{words}: {likeliest} would be likeliest ({sure}), but see what it still takes."
    return f"{words}: {likeliest} is likeliest ({sure}), but not sure enough."


def _half_done(proof: Proof, metering: str) -> str:
    """Where what was mended is not in doubt and something new is, or may be: both of it, and what
    to do where it is one thing; empty elsewhere."""
    gone, worse = _gone(proof, metering), proof.outcomes.get("worse", 0.0)
    if not gone or proof.withheld or worse <= 1.0 - COMMITS or proof.verdict in ("better", "same"):
        return ""
    sure = chance(worse)
    if _came(proof, "learned_stale") >= _MOSTLY * worse:
        do = _learn_again(proof)
        there = f"Worse so far: {gone} gone, but learning has not taken ({sure}). {do}"
        may_be = f"Cannot say yet: {gone} gone, but learning may not have taken ({sure}). {do}"
    elif _came(proof, "leak") >= _MOSTLY * worse:
        there = f"Worse: {gone} gone, but a leak is new ({sure}). {_SEAL}"
        may_be = f"Cannot say yet: {gone} gone, but a leak may be new ({sure}). {_SEAL}"
    else:
        there = f"Worse: {gone} gone, but something new is there ({sure})."
        may_be = f"Cannot say yet: {gone} gone, but something new may be there ({sure})."
    return there if proof.verdict == "worse" else may_be


def _learn_again(proof: Proof) -> str:
    """What to do about learning; with a leak it fails, or learns the leak."""
    if proof.after.get("leak", 0.0) >= _LEAK_MINDED:
        return "Look for a leak, then have the idle learned again and record once more."
    return "Have the idle learned again, then record once more."


def _came(proof: Proof, cause: str) -> float:
    """Probability that this cause is there after and was not before, and that no other came."""
    return sum(share for name, share in proof.courses.items() if _new_in(name) == {cause})


def _new_in(course: str) -> frozenset[str]:
    before, after = (part.replace("'", "").split("+") for part in course.split(" -> "))
    return frozenset(after) - frozenset(before) - {"healthy"}


def _gone(proof: Proof, metering: str) -> str:
    """Causes that were surely there before and surely are not after, with a plus between them."""
    return " + ".join(
        name_words(shown_cause(one.cause, metering))
        for one in proof.changes
        if one.present_before >= _SURE and one.present_after <= 1.0 - _SURE
    )


def _size(size: Size, cause: str, unit: str) -> str:
    ratio = CAUSES[cause].unit == "ratio"
    if size.value != (1.0 if ratio else 0.0):
        return interval_words(size)
    words = "right" if ratio else "none"
    if size.low == size.high:
        return words
    if ratio:
        low, high = (percent_words(one - 1.0) for one in (size.low, size.high))
        return f"{words} ({low} to {high} %)"
    return f"{words} ({number(size.low, size.unit)} to {number(size.high, size.unit)}{unit})"


def change_words(
    change: Change, metering: str = "airflow", *, with_unit: bool = False
) -> tuple[str, str, str, str]:
    """Cause, size before, size after, and what changed, each with its 90 % interval.

    ``with_unit`` gives a range round nothing its unit, too: elsewhere it stands beside.
    """
    moved = change.change
    unit = f" {unit_words(moved.unit)}" if with_unit else ""
    value, low, high = (_signed(x, moved.unit) for x in (moved.value, moved.low, moved.high))
    told = f"{value} {unit_words(moved.unit)} ({low} to {high})"
    return (
        name_words(shown_cause(change.cause, metering)),
        _size(change.before, change.cause, unit),
        _size(change.after, change.cause, unit),
        told,
    )


def learning_words(proof: Proof) -> str:
    """Whether the learning took, and what says so; a toss of a coin is called neither."""
    sure = max(proof.learning_taken, 1.0 - proof.learning_taken)
    if sure < COMMITS:
        told = f"Whether learning has taken is open ({chance(proof.learning_taken)} that it has)"
    else:
        taken = "has taken" if proof.learning_taken >= _WORTH_SAYING else "has NOT taken"
        told = f"Learning {taken} ({chance(sure)})"
    return f"{told}: {'; '.join(proof.learning)}." if proof.learning else f"{told}."


def outcome_words(proof: Proof) -> str:
    """The two halves of *better*: what was wrong is gone, and nothing new came."""
    new = chance(proof.nothing_new)
    if proof.mended < _POSSIBLE:
        return f"Nothing new is there: {new}."
    gone = chance(proof.mended)
    return f"What was wrong is gone or much smaller: {gone}; nothing new is there: {new}."


def leak_words(proof: Proof) -> str:
    """Whether the work opened a leak, and whether the recordings bear on that."""
    leak = proof.new_leak
    told = _leak_told(leak)
    if proof.checked or min(leak.probability, leak.expected) < 0.01:
        return told
    moved = _odds(leak.probability) / _odds(leak.expected)
    if not 1.0 / _HARDLY_TOLD < moved < _HARDLY_TOLD:
        return told
    return (
        f"{told} The recordings hardly tell: by how often work leaves a leak behind it would be "
        f"{chance(leak.expected)}."
    )


def _odds(probability: float) -> float:
    return probability / max(1.0 - probability, 1e-9)


def _leak_told(leak: NewLeak) -> str:
    if leak.size is None or leak.probability < 0.01:
        return "No new leak shows (under 1 %)."
    sized = f"like a round hole of {interval_words(leak.size)} if it is there"
    if leak.probability >= _WORTH_SAYING:
        return f"Probably a new leak ({chance(leak.probability)}), {sized}."
    if leak.probability >= _POSSIBLE:
        return f"A new leak is possible ({chance(leak.probability)}; {sized})."
    return f"A new leak is unlikely ({chance(leak.probability)}; {sized})."


def _signed(value: float, unit: str) -> str:
    if unit == "ratio":
        return percent_words(value)
    told = number(value, unit)
    return told if value < 0 and float(told) != 0 else f"+{told.lstrip('-')}" if value else "0"


def course_words(name: str, metering: str = "airflow") -> str:
    """A course as it is shown: ``deposit, then healthy``."""
    before, after = shown_cause(name, metering).split(" -> ")
    if before == after:
        return (
            f"{name_words(before)}, and unchanged" if before != "healthy" else "healthy all along"
        )
    after = after.replace("'", " of another size")
    return f"{name_words(before)}, then {name_words(after)}"
