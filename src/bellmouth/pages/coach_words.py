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
        "call": "Call: {what}",
        "next": "Next:",
        "until": "Until",
        "tap": "Tap now means:",
        "idle": "Tap here, or press any key, with every action",
        "shown": "The car shows what you do: tap only what it cannot show",
        "stop": "STOP",
        "now": "NOW",
        "silent": "No sound on this device: watch the screen.",
        "hidden": "The page was hidden.",
        "done": "Done. Look whether it took.",
        "lost_attempt": "Stop. Attempt lost.",
        "stopped": "Stopped.",
        "void": "Stop. Attempt void.",
        "lost": "The server does not answer.",
        "late": "Not within {n} s: {what}.",
        "tones": "The tones: tick, lead-in, press, release, wait, stop, done.",
        "left": "The page was left.",
        "taken": "Another page took over.",
        "watching": "Another page drives this attempt. This one watches; STOP works here too.",
        "other": "Another page is coaching this on this car. Taking over makes that attempt void.",
        "again": "The server was away. The attempt is void and is kept as void; begin again.",
        "stood": "This device stood still for {n} s.",
        "muted": "The sound was interrupted.",
        "stuck": "The sound stood still.",
        "unmet": "The car shows now:",
        "pedal": "Pedal [%]",
        "key": "Key",
        "engine": "Engine [rpm]",
        "at": "now",
        "between": "{say}: in {from} to {to} s",
        "later": "{say}: in {from} s or later",
        "within": "{say}: within {to} s",
        "any": "{say}: in about {aim} s",
        "inside": "{say}: done, inside its window",
        "outside": "{say}: done, outside its window",
        "lamp_off": "Lamp off",
        "lamp_on": "Lamp on",
        "lamp_blinking": "Lamp blinking",
        "key_on": "key on",
        "key_off": "key off",
        "runs": "engine running",
        "stands": "engine stopped",
        "whirrs": "the plate whirrs",
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
        "taken": "It was ended on another page. This one goes on to what came of it.",
        "missed": "You were away for long: the picture begins anew. The recording has it all.",
        "speed": "Engine speed",
        "airflow": "Airflow",
        "pressure": "Manifold pressure",
        "short": "Short trim",
        "long": "Long trim",
        "bank": "bank {n}",
    }
)
