"""The fixed words that the coach on the page shows by itself; the steps have their own."""

from collections.abc import Mapping
from types import MappingProxyType

__all__ = ["COACH_WORDS"]

#: By name; what stands in braces is filled in by the page.
COACH_WORDS: Mapping[str, str] = MappingProxyType(
    {
        "step": "Step {n} of {of}",
        "ready": "Get ready",
        "hand": "Hand on the key, foot by the pedal",
        "next": "Next:",
        "until": "Until",
        "tap": "Tap now means:",
        "idle": "Tap here, or press any key, with every action",
        "stop": "STOP",
        "now": "NOW",
        "silent": "No sound on this device: watch the screen.",
        "hidden": "The page was hidden.",
        "done": "Done. Look whether it took.",
        "lost_attempt": "Stop. Attempt lost.",
        "stopped": "Stopped.",
        "void": "Stop. Attempt void.",
        "lost": "The server does not answer.",
    }
)
