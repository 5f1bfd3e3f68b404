"""What happened to this car, and when is it next due? The store and the forecast.

`Book` is the store with everything that is made of it; `bellmouth.book.forecast.forecast` works on
plain visits, without a store. Both are loaded when they are first used.
"""

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from bellmouth.book.book import Book
    from bellmouth.book.entries import Entry
    from bellmouth.book.forecast import Forecast
    from bellmouth.book.store import History
    from bellmouth.book.visits import CarVisits, Visit

__all__ = ["Book", "CarVisits", "Entry", "Forecast", "History", "Visit"]

_HOMES = {
    "Book": "book",
    "CarVisits": "visits",
    "Entry": "entries",
    "Forecast": "forecast",
    "History": "store",
    "Visit": "visits",
}


def __getattr__(name: str) -> object:
    """Load a public name from its module, the first time it is asked for."""
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"bellmouth.book.{_HOMES[name]}"), name)
