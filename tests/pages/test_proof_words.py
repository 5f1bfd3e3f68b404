"""A proof in words."""

from dataclasses import replace

import pytest

from bellmouth.finding.proof_result import Change, NewLeak, Proof
from bellmouth.finding.result import Size
from bellmouth.pages.document import proof_document
from bellmouth.pages.proof_words import (
    change_words,
    course_words,
    leak_words,
    learning_words,
    outcome_words,
    proof_headline,
)
from bellmouth.pages.recognised import recogniser


def proof(**changed: object) -> Proof:
    told: dict[str, object] = {
        "verdict": "better", "probability": 0.93,
        "outcomes": {"better": 0.93, "same": 0.02, "worse": 0.05},
        "changes": (), "learning_taken": 0.97, "learning": ("warm idle 700 rpm after",),
        "new_leak": NewLeak(0.004, Size(1.2, 0.8, 1.9, "mm")), "needs": (), "courses": {},
        "before": {}, "after": {}, "warnings": (), "misfit": 1.0,
    }  # fmt: skip
    return Proof(**{**told, **changed})  # type: ignore[arg-type]


def test_the_verdict_comes_with_its_probability() -> None:
    assert proof_headline(proof()).endswith("nothing new is there (93 %).")
    unsure = proof(
        verdict="cannot say yet",
        probability=0.6,
        outcomes={"better": 0.3, "same": 0.6, "worse": 0.1},
    )
    assert proof_headline(unsure) == (
        "Cannot say yet: same is likeliest (60 %), but not sure enough."
    )
    unready = proof(verdict="cannot say yet", probability=0.97)
    assert proof_headline(unready) == (
        "Cannot say yet: better would be likeliest (97 %), but see what it still takes."
    )


def test_what_is_not_there_is_said_as_none_or_right() -> None:
    none, leak = Size(0.0, 0.0, 0.0, "mm"), Size(2.1, 1.8, 2.4, "mm")
    change = Change("leak", leak, none, Size(-2.1, -2.4, -1.8, "mm"), 0.9, 0.0)
    assert change_words(change) == ("leak", "2.1 mm (1.8 to 2.4)", "none", "-2.1 mm (-2.4 to -1.8)")
    low, right = Size(0.88, 0.86, 0.9, "ratio"), Size(1.0, 1.0, 1.0, "ratio")
    meter = Change("meter_low", low, right, Size(0.12, 0.1, 0.14, "ratio"), 0.9, 0.0)
    assert change_words(meter, "pressure")[0] == "computed air low"
    assert change_words(meter)[2:] == ("right", "+12 % (+10 to +14)")


@pytest.mark.parametrize(
    ("probability", "start"),
    [(0.004, "No new leak shows"), (0.05, "A new leak is unlikely"),
     (0.3, "A new leak is possible"), (0.8, "Probably a new leak (80 %)")],
)  # fmt: skip
def test_a_new_leak_is_told_as_likely_as_it_is(probability: float, start: str) -> None:
    told = leak_words(proof(new_leak=NewLeak(probability, Size(1.2, 0.8, 1.9, "mm"))))
    assert told.startswith(start)


@pytest.mark.parametrize(("probability", "hardly"), [(0.1, True), (0.02, False), (0.6, False)])
def test_it_is_said_where_recordings_do_not_bear_on_a_leak(
    probability: float, hardly: bool
) -> None:
    told = leak_words(proof(new_leak=NewLeak(probability, Size(1.2, 0.8, 1.9, "mm"), 0.14)))
    assert ("hardly tell" in told) == hardly
    assert ("would be 14 %" in told) == hardly
    checked = leak_words(
        proof(new_leak=NewLeak(probability, Size(1.2, 0.8, 1.9, "mm"), 0.14), checked=True)
    )
    assert "hardly tell" not in checked, "it is not by the recordings alone"


def test_the_halves_of_better_have_each_their_probability() -> None:
    assert outcome_words(proof(mended=0.98, nothing_new=0.85)) == (
        "What was wrong is gone or much smaller: 98 %; nothing new is there: 85 %."
    )
    assert outcome_words(proof(mended=0.0, nothing_new=0.97)) == "Nothing new is there: 97 %."


def test_german_says_all_of_it() -> None:
    german = recogniser("de")
    sized = Size(1.2, 0.8, 1.9, "mm")
    told = [
        leak_words(proof(new_leak=NewLeak(0.12, sized, 0.14))),
        leak_words(proof(new_leak=NewLeak(0.05, sized, 0.3))),
        outcome_words(proof(mended=0.98, nothing_new=0.85)),
        outcome_words(proof(mended=0.0, nothing_new=0.85)),
    ]
    assert [german.unknown(one) for one in told] == [0, 0, 0, 0]
    assert "kaum etwas" in german.say(told[0])


def test_learning_not_taken_is_plain() -> None:
    assert learning_words(proof(learning_taken=0.1)).startswith("Learning has NOT taken (90 %)")


def test_learning_that_may_be_either_is_called_neither() -> None:
    """At even chances *has NOT taken* would send somebody to do it all again."""
    told = learning_words(proof(learning_taken=0.498))
    assert told.startswith("Whether learning has taken is open (50 % that it has): warm idle")
    assert learning_words(proof(learning_taken=0.8)).startswith("Learning has taken (80 %)")


def test_a_mended_leak_is_said_where_the_learning_is_open() -> None:
    none, leak = Size(0.0, 0.0, 0.0, "mm"), Size(2.5, 2.4, 2.6, "mm")
    mended = Change("leak", leak, none, Size(-2.5, -2.6, -2.4, "mm"), 0.99, 0.004)
    unsure = proof(
        verdict="cannot say yet", probability=0.5, changes=(mended,),
        outcomes={"better": 0.5, "same": 0.0, "worse": 0.5},
    )  # fmt: skip
    told = "Cannot say yet: leak gone, but something new may be there (50 %)."
    assert proof_headline(unsure) == told
    doubted = replace(unsure, changes=(replace(mended, present_before=0.7),))
    assert "is likeliest (50 %), but not sure enough" in proof_headline(doubted)
    unready = replace(unsure, withheld=True)
    assert "leak gone" not in proof_headline(unready), "trims after a reset say nothing of it"


@pytest.mark.parametrize(
    ("verdict", "came", "leak", "said"),
    [
        ("worse", {"leak -> learned_stale": 0.8, "leak -> healthy": 0.1}, 0.0,
         "Worse so far: leak gone, but learning has not taken (80 %). Have the idle learned again, "
         "then record once more."),
        ("cannot say yet", {"leak -> healthy": 0.2, "leak -> learned_stale": 0.75}, 0.0,
         "Cannot say yet: leak gone, but learning may not have taken (80 %). Have the idle learned "
         "again, then record once more."),
        ("worse", {"leak -> learned_stale": 0.75, "deposit -> leak+learned_stale": 0.05}, 0.05,
         "Worse so far: leak gone, but learning has not taken (80 %). Look for a leak, then have "
         "the idle learned again and record once more."),
        ("worse", {"leak+deposit -> leak'": 0.1, "deposit -> leak": 0.8}, 0.8,
         "Worse: leak gone, but a leak is new (80 %). Find and seal it before anything is "
         "learned, then record once more."),
        ("cannot say yet", {"deposit -> leak": 0.8}, 0.8,
         "Cannot say yet: leak gone, but a leak may be new (80 %). Find and seal it before "
         "anything is learned, then record once more."),
        ("worse", {"leak -> learned_stale": 0.5, "leak -> meter_low": 0.3}, 0.0,
         "Worse: leak gone, but something new is there (80 %)."),
    ],
)  # fmt: skip
def test_what_is_mended_what_is_left_and_what_to_do_are_said_plainly(
    verdict: str, came: dict[str, float], leak: float, said: str
) -> None:
    none, size = Size(0.0, 0.0, 0.0, "mm"), Size(2.5, 2.4, 2.6, "mm")
    mended = Change("leak", size, none, Size(-2.5, -2.6, -2.4, "mm"), 0.99, 0.004)
    found = proof(
        verdict=verdict, probability=0.8 if verdict == "worse" else 0.6, changes=(mended,),
        outcomes={"better": 0.2, "same": 0.0, "worse": 0.8}, courses=came, after={"leak": leak},
    )  # fmt: skip
    assert proof_headline(found) == said
    assert recogniser("de").unknown(said) == 0
    # Nothing of it before the readings are worth judging, nor where the old fault is in doubt.
    assert "gone" not in proof_headline(replace(found, withheld=True))
    assert "gone" not in proof_headline(replace(found, changes=()))


def test_courses_read_as_before_and_then() -> None:
    assert course_words("deposit -> healthy") == "deposit, then healthy"
    assert course_words("leak -> leak") == "leak, and unchanged"
    assert course_words("leak -> leak'") == "leak, then leak of another size"
    assert course_words("healthy -> healthy") == "healthy all along"
    told = "computed air low, then leak + computed air low of another size"
    assert course_words("meter_low -> leak+meter_low'", "pressure") == told


def test_the_document_has_the_contract_s_keys() -> None:
    document = proof_document(proof())
    assert {"verdict", "probability", "changes", "learning", "new_leak", "needs"} <= set(document)
    assert document["learning"]["taken"] == 0.97
    assert document["new_leak"]["probability"] == 0.004
    assert {"expected"} <= set(document["new_leak"])
    assert {"mended", "nothing_new"} <= set(document)
