"""What a coach says: cues in time, and short phrases, one verb a line, in one table.

Words say *what*, ticks and tones say *when*, a bar says *how long*. A cue is made ahead of time
and sounded at its moment: a beat that can be foreseen is met several times more closely than a
signal that must be answered.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

__all__ = ["PHRASES", "TONES_HZ", "Cue", "Kind", "phrase", "seconds_words"]

Kind = Literal["say", "tick", "lead", "now", "beat", "soon", "state"]

#: Every phrase that a coach speaks, for translation; ``{}`` is filled in.
PHRASES: Mapping[str, str] = MappingProxyType(
    {
        "ready": "Get ready",
        "off_first": "Key off now, it comes on when called",
        "three": "three",
        "two": "two",
        "one": "one",
        "now": "now",
        "next": "Next: {what}",
        "hush": "Hush now, listen",
        "watch": "Watch: {event}",
        "soon": "Soon now",
        "minutes": "{count} minutes left",
        "half_minute": "30 seconds left",
        "last_seconds": "{count} seconds left at most",
        "done": "Done. Look for: {sign}",
        "lost": "Stop. Attempt lost",
        "void": "Stop. Attempt void",
        "stopped": "Stopped",
    }
)

#: A tone for each meaning: different in pitch, and told apart by rhythm too. [Hz]
TONES_HZ: Mapping[str, float] = MappingProxyType(
    {
        "tick": 700.0,
        "lead": 880.0,
        "press": 1320.0,
        "release": 523.0,
        "wait": 990.0,
        "stop": 220.0,
        "done": 1047.0,
    }
)


@dataclass(frozen=True, slots=True)
class Cue:
    """One thing to say, sound or show.

    Attributes
    ----------
    at_s
        When, on the coach's clock or relative to a stretch. [s]
    kind
        ``say`` (words), ``tick`` (a second), ``lead`` (three, two, one), ``now`` (act), ``beat``
        (one press or release of several), ``soon`` (an event is near), ``state`` (done, lost).
    text
        Words, empty for a tick.
    tone
        A key of ``TONES_HZ``, empty for words alone.
    step
        Name of the step that it belongs to.
    sounds
        False where silence is wanted: it is shown only.
    edge
        Index of the action that it asks for, -1 for none.
    """

    at_s: float
    kind: Kind
    text: str = ""
    tone: str = ""
    step: str = ""
    sounds: bool = True
    edge: int = -1


def phrase(key: str, **filled: object) -> str:
    """A phrase with its gaps filled; raises ``KeyError`` for one that is not in the table."""
    return PHRASES[key].format(**filled)


def seconds_words(seconds: float) -> str:
    """A time in words a glance can take in: ``7 s``, ``4 min 30 s``, ``8 h``."""
    if seconds < 59.95:
        rounded = round(seconds, 1)
        return f"{rounded:g} s"
    whole = round(seconds)
    hours, rest = divmod(whole, 3600)
    minutes, left = divmod(rest, 60)
    parts = ((hours, "h"), (minutes, "min"), (left, "s"))
    return " ".join(f"{count} {unit}" for count, unit in parts if count)
