"""What do I do with my hands? The job card."""

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from bellmouth.work.before import Before
    from bellmouth.work.card import Card, make_card
    from bellmouth.work.finding_file import read_finding
    from bellmouth.work.works import WORKS, WorkError

__all__ = ["WORKS", "Before", "Card", "WorkError", "make_card", "read_finding"]

_HOMES = {
    "Before": "before",
    "Card": "card",
    "make_card": "card",
    "read_finding": "finding_file",
    "WORKS": "works",
    "WorkError": "works",
}


def __getattr__(name: str) -> object:
    """Load a public name from its module, the first time it is asked for."""
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)
