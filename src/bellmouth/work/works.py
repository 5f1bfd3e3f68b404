"""The works a card can hold, and the one kind of error of this room."""

import difflib
from collections.abc import Iterable

from bellmouth.car.description import Car
from bellmouth.errors import BellmouthError
from bellmouth.work.content import content

__all__ = [
    "WORKS",
    "WorkError",
    "called_for",
    "check_works",
    "learned_for",
    "work_reasons",
    "work_titles",
]

_RELEARN = "relearn"
# What a relearning with no other work is for.
_ALONE = "learned_stale"


class WorkError(BellmouthError):
    """A job card that cannot be made: unknown work, work that this car has no part for."""


#: Names of the works, in the order in which they are done.
WORKS: tuple[str, ...] = tuple(work["name"] for work in content("works")["work"])


def work_titles() -> dict[str, str]:
    """The works' names with their titles in English."""
    return {work["name"]: work["title"] for work in content("works")["work"]}


def work_reasons() -> dict[str, str]:
    """Why a work stands on a card where that is not plain from the finding, in English."""
    return {work["name"]: work["say"] for work in content("works")["work"] if "say" in work}


def learned_for(works: Iterable[str]) -> tuple[str, ...]:
    """What works of a job card are to learning procedures, each once; a relearning counts where
    nothing else calls for any."""
    done = list(works)
    does = {work["name"]: work["does"] for work in content("works")["work"] if "does" in work}
    called = tuple(dict.fromkeys(does[name] for name in done if name in does))
    return called or ((_ALONE,) if _RELEARN in done else ())


def called_for(done: Iterable[str]) -> tuple[str, ...]:
    """What works of a job card are to learning procedures: ``clean_plate`` is a cleaned throttle.

    Names that are no work of a card come back as they are.
    """
    does = {work["name"]: work.get("does") for work in content("works")["work"]}
    plain = [name.strip().lower().replace("-", "_") for name in done]
    found = tuple(dict.fromkeys(does.get(name) or name for name in plain if name != _RELEARN))
    return found or ((_ALONE,) if _RELEARN in plain else ())


def check_works(car: Car, wanted: Iterable[str]) -> tuple[str, ...]:
    """The works as named here, once each, in the order in which they are done.

    Raises
    ------
    WorkError
        For a name that is not a work, a work on a part that this car does not have, or works that
        are never done in one.
    """
    found = set()
    for name in wanted:
        plain = name.strip().lower().replace("-", "_").replace(" ", "_")
        if plain not in WORKS:
            close = difflib.get_close_matches(plain, WORKS, n=1, cutoff=0.5)
            hint = f"Did you mean {close[0]}?" if close else f"Works are {', '.join(WORKS)}."
            raise WorkError(f'No work is called "{name}". {hint}')
        found.add(plain)
    if "clean_meter" in found and car.metering == "pressure":
        raise WorkError(
            f"{car.source or 'car'}: clean_meter needs an airflow meter, and this car measures its "
            'air by pressure (metering = "pressure"). Leave clean_meter out, or mend the car file.'
        )
    _refuse_together(found)
    return tuple(name for name in WORKS if name in found)


def _refuse_together(wanted: set[str]) -> None:
    for work in content("works")["work"]:
        for other in sorted(wanted.intersection(work.get("apart_from", ()))):
            if work["name"] in wanted:
                raise WorkError(
                    f"{work['name']} and {other} do not go on one card: nothing is cleaned before "
                    "the fuel is right. Make the card for the fuel first."
                )
