"""Why an attempt is lost or void: sentences with gaps, in one table, so that they can be told in
any language.
"""

from collections.abc import Mapping
from types import MappingProxyType

__all__ = ["DONE_WRONG", "REASONS", "reason"]

#: Sentences by name.
REASONS: Mapping[str, str] = MappingProxyType(
    {
        "too_short": "{step}: {took} s, at least {least} s: {by} s too short.",
        "too_long": "{step}: {took} s, at most {most} s: {by} s too long.",
        "not_done": "{step}: not done within {most} s.",
        "no_event": "{step}: not within {most} s that {event}.",
        "untrue": "{step}: told that {event}, when it was not so.",
        "unasked": "{step}: {action}, which nothing asked for.",
        "unmet": "{condition}: not reported.",
        "reads": "{condition}: reads {reading}.",
        "broken": "{condition}: it is {reading}.",
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


def reason(key: str, *, mend: str = "", **filled: str) -> str:
    """A sentence with its gaps filled, and what to do about it where that is known.

    Raises
    ------
    KeyError
        For a sentence that is not in the table, or a gap that nothing fills.
    """
    return f"{REASONS[key].format(**filled)} {mend}".strip()
