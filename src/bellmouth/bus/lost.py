"""What went wrong on the wire, in words."""

from bellmouth.bus.link import Losses

__all__ = ["lost"]

_LOST = {
    "unanswered": ("request was not answered", "requests were not answered"),
    "cut": ("message lost frames", "messages lost frames"),
    "damaged": ("frame was damaged", "frames were damaged"),
    "stray": ("message came unasked", "messages came unasked"),
    "refused": ("request was refused", "requests were refused"),
    "malformed": ("answer contradicted the standard", "answers contradicted the standard"),
    "reopened": ("time the adapter was opened again", "times the adapter was opened again"),
}
# What links and client count besides (Losses.seen), one and several.
_SEEN = {
    "session started again": (
        "time the session was started again", "times the session was started again",
    ),
    "errors on the bus": ("error was on the bus", "errors were on the bus"),
    "values not borne out by a second answer": (
        "value was not borne out by a second answer",
        "values were not borne out by a second answer",
    ),
}  # fmt: skip


def lost(losses: Losses) -> list[str]:
    """What went wrong on the wire, in a sentence; nothing where nothing did."""
    counted = [(getattr(losses, kind), words) for kind, words in _LOST.items()]
    told = [f"{count} {words[count > 1]}" for count, words in counted if count]
    told += [f"{count} {_seen(kind, count)}" for kind, count in losses.seen.items() if count]
    return [f"Lost on the way: {', '.join(told)}. None of it was recorded."] if told else []


def _seen(kind: str, count: int) -> str:
    one, several = _SEEN.get(kind, (kind, kind))
    return one if count == 1 else several
