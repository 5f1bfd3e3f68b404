"""Words for an attempt that counts for nothing, and for one whose end is still to be seen."""

from collections.abc import Mapping
from types import MappingProxyType

__all__ = ["ADVICE", "AWAY", "ENDED", "INTERRUPTED", "KEY_AGAIN", "SPOILED"]

#: How an attempt ended by the coach's account, and the judgement that stands for it.
SPOILED: Mapping[str, str] = MappingProxyType({"void": "void", "stopped": "stopped"})
#: What is said of it instead of a judgement's own advice.
ADVICE: Mapping[str, str] = MappingProxyType(
    {
        "void": "It counts for nothing, neither for nor against you. "
        "Begin again from the safe state.",
        "stopped": "It was stopped. Begin again from the safe state.",
        "untrue": "What you told had not happened: tell of it only once you notice it. "
        "Begin again from the safe state.",
    }
)
KEY_AGAIN = "Turn the key on again: only then is it on record how long it was off."
AWAY = "The page that drives this attempt is gone."
ENDED = "The server was ended."
#: Why an attempt is void that a killed server left.
INTERRUPTED = "The server ended in the middle of it."
