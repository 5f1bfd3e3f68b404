"""Fixed words that scripts of the page show by themselves: the coach's, and a live capture's."""

from collections.abc import Mapping
from types import MappingProxyType

__all__ = ["COACH_WORDS", "LIVE_WORDS"]

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

LIVE_WORDS: Mapping[str, str] = MappingProxyType(
    {
        "opening": "Asking the car what it is",
        "running": "Recording",
        "ended": "Recorded",
        "failed": "It did not work",
        "seconds": "{n} s",
        "readings": "{n} readings",
        "step": "Step {n} of {of}",
        "quiet": "The car has gone quiet: is the ignition on?",
        "steady": "steady",
        "moving": "not steady yet",
        "ended_hint": "End and judge: all is on disk.",
        "missed": "You were away for long: the picture begins anew. The recording has it all.",
        "speed": "Engine speed",
        "airflow": "Airflow",
        "pressure": "Manifold pressure",
        "short": "Short trim",
        "long": "Long trim",
        "bank": "bank {n}",
    }
)
