"""What a coach calls, in a reader's language: phrases with a step's or an event's words in them."""

from collections.abc import Iterator

from bellmouth.learning.cue_plan import cues_of
from bellmouth.learning.cues import PHRASES, phrase
from bellmouth.learning.procedure import Procedure
from bellmouth.learning.schedule import stretches
from bellmouth.pages.card_words import Words

__all__ = ["Told"]

_COUNTED = ("minutes", "last_seconds")
_ENDED = ("lost", "void", "stopped")


class Told:
    """Says a procedure's cues and steps in a reader's language."""

    def __init__(self, procedure: Procedure, words: Words) -> None:
        self.procedure = procedure
        self.words = words
        self._known = dict(self._pairs())

    def _pairs(self) -> Iterator[tuple[str, str]]:
        """Each phrase that holds a step's or an event's words: in English, and as it is told."""
        text = self.words.text
        for sign in self.procedure.signs[:1]:
            told = text(PHRASES["done"]).format(sign=text(sign.what))
            yield phrase("done", sign=sign.what), told
        for step in self.procedure.steps:
            told = text(PHRASES["next"]).format(what=text(step.say))
            yield phrase("next", what=step.say), told
            if step.until is not None:
                event = self.procedure.event_words(step.until.event)
                for key in ("hush", "watch"):
                    yield phrase(key, event=event), text(PHRASES[key]).format(event=text(event))

    def say(self, english: str) -> str:
        """A cue's text; itself where the catalogue does not hold it."""
        if english in self._known:
            return self._known[english]
        for key in _COUNTED:
            before, after = PHRASES[key].split("{count}")
            if english.startswith(before) and english.endswith(after):
                count = english[len(before) : len(english) - len(after)]
                return self.words.text(PHRASES[key]).format(count=count)
        return self._ended(english) or self.words.told(english)

    def _ended(self, english: str) -> str:
        """What is called at the end: how, why, and the safe state; empty where it is not that."""
        safe = self.procedure.safe_state
        if not english.endswith(f" {safe}"):
            return ""
        for key in _ENDED:
            begin = f"{PHRASES[key]}."
            if english.startswith(begin):
                why = english[len(begin) : -len(safe)].strip()
                parts = (
                    f"{self.words.text(PHRASES[key])}.",
                    self.words.told(why),
                    self.words.text(safe),
                )
                return " ".join(part for part in parts if part)
        return ""

    def called(self) -> dict[str, str]:
        """Everything that can be spoken in an attempt: as the cue has it, and as it is told."""
        plain = [text for text in PHRASES.values() if "{" not in text]
        cues = (
            cue for one in stretches(self.procedure) for cue in cues_of(self.procedure, one, {})
        )
        texts = dict.fromkeys([*plain, *(cue.text for cue in cues if cue.text)])
        return {text: self.say(text) for text in texts}
