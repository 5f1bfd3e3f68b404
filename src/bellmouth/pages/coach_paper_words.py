"""Fixed words of a procedure's card, of the script for two, and of a judgement in a terminal."""

from collections.abc import Mapping
from types import MappingProxyType

__all__ = ["PAPER_WORDS"]

#: By name; what stands in braces is filled in.
PAPER_WORDS: Mapping[str, str] = MappingProxyType(
    {
        # The card
        "car": "Car",
        "date": "Date",
        "who": "Who",
        "source": "Source: {source}.",
        "section": "Manual section checked:",
        "manual": "The car's own manual wins.",
        "erases": "It erases: {what}.",
        "standing": "Before you start, and standing",
        "steps": "Steps, in cumulative seconds",
        "at": "at s",
        "actual": "actual",
        "step": "step",
        "since": "from the moment that {event}, at ________ : count from 0",
        "optional": "(optional)",
        "signs": "How you know that it took",
        "stop": "STOP at any time: {state}",
        "timed": "From the first action, {time} s:",
        "timed_since": "From when {event}, {time} s:",
        "awaits": "until {event}, {time} at most",
        "awaits_open": "until {event}",
        "written": "Card: {file} (open it in a browser and print it)",
        # Windows and times
        "lasts": "Lasts {window}.",
        "takes": "lasts {window}",
        "at_least": "at least {time}",
        "within": "within {time}",
        "about": "about {aim} s ({least} to {most})",
        "between": "{least} to {most} s",
        "after_at_least": "At least {time} after {anchor}.",
        "after_within": "Within {time} after {anchor}.",
        "after_about": "About {aim} s ({least} to {most}) after {anchor}.",
        "after_between": "{least} to {most} s after {anchor}.",
        "before": "the step before",
        "moment": "the moment that {event}",
        "presses": "Press at {times}.",
        "presses_within": "Press at {times}, all within {time} s.",
        # The script for two
        "script": "{title}: the caller reads, the doer acts.",
        "caller": "Caller: count aloud three, two, one; say the word on the second.",
        "restart": "When the doer says that {event}: start the watch again at 0.",
        "done_at": "done at",
        "doer": "Doer: say so when {event}.",
        "shout": "Either may shout STOP: {state}",
        # The judgement
        "by_step": "Step by step",
        "measured": "Measured",
        "window": "Window",
        "margin": "Margin",
        "judgement": "Judgement",
        "is_optional": "optional",
        "why": "Why",
        "stood": "What had to stand",
        "now": "What to do now",
        "read": "How it was read",
        "more": "and {count} more: see --json",
        "or_more": "{time} s or more",
        "or_less": "{time} s or less",
        "at_most": "at most {time} s",
        "spread": "{value} s ({low} to {high})",
        "unsourced": "This procedure is {source}. The car's own manual wins.",
        # The sound check
        "sound": "Sound: {sound}.",
        "tone_tick": "tick",
        "tone_lead": "count-in",
        "tone_press": "press",
        "tone_release": "release",
        "tone_wait": "wait",
        "tone_stop": "STOP",
        "tone_done": "it is over",
    }
)  # fmt: skip
