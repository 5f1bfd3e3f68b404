"""The script that one person calls to another, line by line, for text and page alike."""

from dataclasses import dataclass
from itertools import groupby

from bellmouth.learning.call_script import CallLine, call_script
from bellmouth.learning.procedure import Procedure
from bellmouth.pages.card_words import Words
from bellmouth.pages.coach_card_view import presses_words
from bellmouth.pages.coach_paper import plain, say

__all__ = ["Call", "CallPart", "Script", "script_view"]


@dataclass(frozen=True, slots=True)
class Call:
    """One call: at which second, the word, its presses, what can hurt, what the doer answers."""

    at: str
    say: str
    presses: str
    caution: str
    answer: str


@dataclass(frozen=True, slots=True)
class CallPart:
    """Calls whose seconds count from one moment; ``since`` is empty for the first action."""

    since: str
    calls: tuple[Call, ...]


@dataclass(frozen=True, slots=True)
class Script:
    """A procedure for two people, in the reader's language."""

    title: str
    source: str
    cautions: tuple[str, ...]
    erases: str
    caller: str
    parts: tuple[CallPart, ...]
    done_at: str
    shout: str


def script_view(procedure: Procedure, words: Words) -> Script:
    """What the caller reads out, with cumulative seconds."""
    told = words.told
    what = ", ".join(told(one) for one in procedure.erases)
    source = say(words, "source", source=told(procedure.source))
    return Script(
        title=say(words, "script", title=told(procedure.title)),
        source=f"{source} {say(words, 'manual')}",
        cautions=tuple(told(caution) for caution in procedure.cautions),
        erases=say(words, "erases", what=what) if what else "",
        caller=say(words, "caller"),
        parts=tuple(
            CallPart(
                say(words, "restart", event=told(since)) if since else "",
                tuple(_call(line, words) for line in group),
            )
            for since, group in groupby(call_script(procedure), key=lambda line: line.since)
        ),
        done_at=say(words, "done_at"),
        shout=say(words, "shout", state=told(procedure.safe_state)),
    )


def _call(line: CallLine, words: Words) -> Call:
    return Call(
        at=plain(words, line.at_s, ".1f"),
        say=words.told(line.step.say),
        presses=presses_words(line, words),
        caution=words.told(line.step.caution),
        answer=say(words, "doer", event=words.told(line.awaits)) if line.awaits else "",
    )
