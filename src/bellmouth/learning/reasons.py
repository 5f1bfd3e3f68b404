"""Why an attempt is lost or void: sentences with gaps, in one table, so that they can be told in
any language.
"""

import re
from collections.abc import Mapping
from functools import cache
from types import MappingProxyType

__all__ = ["DONE_WRONG", "REASONS", "reason", "understood"]

#: Sentences by name; the first that fits is the one, so the more general come later.
REASONS: Mapping[str, str] = MappingProxyType(
    {
        "too_short": "{step}: {took} s, at least {least} s: {by} s too short.",
        "too_long": "{step}: {took} s, at most {most} s: {by} s too long.",
        "not_done": "{step}: not done within {most} s.",
        "no_event": "{step}: not within {most} s that {event}.",
        "unasked": "{step}: {action}, which nothing asked for.",
        "unmet": "{condition}: not reported. {mend}",
        "reads": "{condition}: reads {reading}. {mend}",
        "broken": "{condition}: it is {reading}. {mend}",
        "slept": "This computer slept for {by} s.",
        "stood": "This computer stood still for {by} s.",
        "failed": "The coach itself failed.",
    }
)

#: What somebody did, unasked.
DONE_WRONG: Mapping[str, str] = MappingProxyType(
    {
        "press": "the pedal was pressed",
        "key_off": "the key was turned off",
        "key_on": "the key was turned on",
        "engine_start": "the engine was started",
    }
)


def reason(key: str, **filled: str) -> str:
    """A sentence with its gaps filled; raises ``KeyError`` for one that is not in the table."""
    return REASONS[key].format(**filled).strip()


def understood(sentence: str) -> tuple[str, Mapping[str, str]] | None:
    """The sentence of the table that this one is, and what fills its gaps; None where none is."""
    for template in REASONS.values():
        found = _pattern(template).fullmatch(sentence)
        if found is not None:
            return template, {name: text or "" for name, text in found.groupdict().items()}
    return None


@cache
def _pattern(template: str) -> re.Pattern[str]:
    parts = re.split(r"\{(\w+)\}", template)
    found = "".join(
        f"(?P<{part}>.+?)" if place % 2 else re.escape(part) for place, part in enumerate(parts)
    )
    # What to do about it may be left out.
    return re.compile(found.replace(r"\ (?P<mend>.+?)", r"(?:\ (?P<mend>.+))?"))
