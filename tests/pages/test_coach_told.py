"""Everything that a coach calls is told in every language."""

import pytest

from bellmouth.learning.packs import find_procedure, packs
from bellmouth.learning.procedure import Procedure
from bellmouth.learning.reasons import DONE_WRONG, REASONS, reason
from bellmouth.pages.card_catalogue import messages
from bellmouth.pages.card_words import Words
from bellmouth.pages.coach_told import Told


@pytest.mark.parametrize("procedure", packs(), ids=lambda one: one.name)
def test_all_that_is_called_is_german(procedure: Procedure) -> None:
    called = Told(procedure, Words("de")).called()
    german = [told for told in called.values() if not told.isdecimal()]
    assert len(german) > 10
    # A word that both languages share would be named here.
    assert [text for text, told in called.items() if told == text and not text.isdecimal()] == []
    assert {step.say for step in procedure.steps} <= set(messages())


def test_english_is_as_the_cue_has_it() -> None:
    for procedure in packs():
        called = Told(procedure, Words("en")).called()
        assert list(called) == list(called.values())


@pytest.mark.parametrize("key", REASONS)
def test_why_it_is_lost_is_told_in_german(key: str) -> None:
    filled = {
        "step": "Press and hold", "condition": "Supply 12.4 V or more", "event": "Qx",
        "action": DONE_WRONG["press"], "took": "5.5", "least": "6.5", "most": "3", "by": "1.0",
        "reading": "11.9 V", "mend": "Charge it.",
    }  # fmt: skip
    english = reason(key, **filled)
    said = Words("de").told(english)
    assert not set(said.split()) & {"the", "not", "least", "most", "This", "itself", "reads", "is"}
    assert Words("en").told(english) == english


def test_a_lost_attempt_is_called_in_german_with_its_safe_state() -> None:
    procedure = find_procedure("P4")
    why = reason("too_short", step="Wait", took="5.5", least="6.5", by="1.2")
    said = Told(procedure, Words("de")).say(f"Stop. Attempt lost. {why} {procedure.safe_state}")
    assert said == (
        "Halt. Versuch verloren. Warten: 5,5 s, mindestens 6,5 s: 1,2 s zu kurz. "
        "Pedal hoch, Zündung aus, 10 s warten."
    )


def test_what_nobody_knows_is_said_as_it_is() -> None:
    told = Told(find_procedure("P4"), Words("de"))
    assert told.say("The wind blew: north.") == "The wind blew: north."
