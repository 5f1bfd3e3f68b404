"""What the owner says is wrong, in the words that everything else uses."""

import difflib
import functools
import tomllib
from collections.abc import Mapping
from importlib import resources
from typing import cast, get_args

from bellmouth.car.description import Complaint
from bellmouth.errors import CarError

__all__ = ["COMPLAINTS", "parse_complaint"]

_SHOWN = 60  # of what was typed, in an error
COMPLAINTS: tuple[Complaint, ...] = get_args(Complaint)


def parse_complaint(text: str) -> Complaint:
    """A complaint from what was typed: its name, or a short or everyday form of it.

    Raises
    ------
    CarError
        Where no complaint is meant by it; says which there are.
    """
    typed = " ".join(text.replace("_", " ").replace("-", " ").lower().split())
    known = _names()
    if typed in known:
        return known[typed]
    close = difflib.get_close_matches(typed, list(known), n=1, cutoff=0.75)
    hint = f' Did you mean "{known[close[0]]}"?' if close else ""
    shown = text if len(text) <= _SHOWN else f"{text[:_SHOWN]}..."
    raise CarError(f'complaint "{shown}" is not known.{hint} Use one of {", ".join(COMPLAINTS)}.')


@functools.cache
def _names() -> Mapping[str, Complaint]:
    source = resources.files(__package__).joinpath("synonyms.toml").read_text("utf-8")
    names: dict[str, Complaint] = {complaint: complaint for complaint in COMPLAINTS}
    for complaint, others in tomllib.loads(source).items():
        if complaint not in names:
            raise CarError(f'synonyms.toml: "{complaint}" is no complaint.')
        names |= dict.fromkeys(others, cast("Complaint", complaint))
    return names
