"""Everything that a coach calls is told in every language."""

import pytest

from bellmouth.learning.packs import packs
from bellmouth.learning.procedure import Procedure
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
