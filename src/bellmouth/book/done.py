"""What was done to a car, as its book says it: work that was written down, and what was learned."""

from collections.abc import Sequence

from bellmouth.book.entries import Entry, effective, places

__all__ = ["RELEARN", "done_between", "learned_since", "met_since", "since_work"]

#: The work of a job card that a learning procedure is.
RELEARN = "relearn"
# What a procedure does that learns the idle, as its judgement says it (`learning.procedure`).
_IDLE = "idle_air"
_NOTHING = "nothing"


def done_between(entries: Sequence[Entry], before: int, after: int) -> list[str]:
    """What the book says was done between two of its recordings, each work once.

    The idle was learned again where a learning procedure of it was met, or said to be done
    already, after the last work with the hands. An entry that was corrected stands where its first
    one stood, whatever its number.
    """
    place = places(entries)
    between = [
        one for one in effective(entries) if place[before] < place[one.number] < place[after]
    ]
    done = [work for one in between if one.kind == "work" for work in one.document["done"]]
    if learned_since(between):
        done = [*(work for work in done if work != _NOTHING), RELEARN]
    return list(dict.fromkeys(done))


def since_work(entries: Sequence[Entry]) -> tuple[Entry, ...]:
    """The entries after the last work with the hands; all of them where there was none."""
    last = [place for place, one in enumerate(entries) if _is_work(one)]
    return tuple(entries[last[-1] + 1 :] if last else entries)


def _is_work(one: Entry) -> bool:
    return one.kind == "work" and bool(set(one.document["done"]) - {RELEARN, _NOTHING})


def learned_since(entries: Sequence[Entry]) -> tuple[str, ...]:
    """The procedures by which the idle was learned again since the last work with the hands.

    Parameters
    ----------
    entries
        In the order of what happened, corrections taken in.
    """
    return tuple(name for name, does in met_since(entries).items() if does == _IDLE)


def met_since(entries: Sequence[Entry]) -> dict[str, str]:
    """Every procedure that was met, or said to be done already, since the last work with the
    hands, and what it does; ``entries`` as for `learned_since`."""
    met: dict[str, str] = {}
    for one in since_work(entries):
        said = one.document
        name = str(said.get("procedure", ""))
        if said.get("judgement") == "met" or said.get("settled") == "done":
            met[name] = str(said.get("does", ""))
        elif "settled" in said:
            # To be done after all; an attempt that is missed takes nothing back.
            met.pop(name, None)
    return met
