"""A forecast as the page shows it: its picture's data, a table, when, how sure and why."""

from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from bellmouth.errors import BellmouthError
from bellmouth.pages.card_words import Words
from bellmouth.pages.forecast_plots import forecast_plot
from bellmouth.pages.plots import Plot, plot_in, plot_json, plot_rows
from bellmouth.pages.site.typed import number_of
from bellmouth.work.phrases import Quantity

if TYPE_CHECKING:
    from bellmouth.book.forecast import Forecast

__all__ = ["level_of", "plot_of", "shown"]

_KM_PER_MILE = 1.609344
_LEAST_MM2, _MOST_MM2 = 0.1, 200.0
#: A distance that lies ahead is known no better, as on the terminal.
_ROUND_KM = 1000.0


def level_of(text: str, speak: Words) -> float | None:
    """The deposit at which somebody would look at the plate; None for the usual one. [mm²]

    Raises
    ------
    BellmouthError
        If it is no number, or one that no deposit has.
    """
    if not text.strip():
        return None
    level = number_of(text, "Deposit") / speak.scale("mm2")[0]
    if not _LEAST_MM2 <= level <= _MOST_MM2:
        raise BellmouthError("A deposit at which to look lies between 0.1 and 200 mm².")
    return level


def plot_of(found: "Forecast", speak: Words) -> Plot:
    """Its picture's data, in the reader's units."""
    unit = speak.unit("km")
    km = _KM_PER_MILE if unit == "mi" else 1.0
    return plot_in(forecast_plot(found, speak.told, unit=unit, km=km), speak)


def shown(found: "Forecast", speak: Words, level: str, family: str) -> dict[str, Any]:
    """Everything that the car's page says of it; ``level`` and ``family`` are what was asked."""
    from babel.dates import format_date  # noqa: PLC0415 - its calendars are large

    plot = plot_of(found, speak)
    head, rows = plot_rows(plot, speak.told)
    at, on = found.inspect_at_km, found.inspect_on
    asked = {name: text for name, text in (("level", level), ("family", family)) if text}

    def day(one: Any) -> str:
        return str(format_date(one, "MMMM y", locale=speak.language))

    def spans(words: str, low: str, high: str) -> tuple[str, str, str]:
        km = _km(getattr(at, low), speak, getattr(at, high))
        days = "" if on is None else f"{day(getattr(on, low))} – {day(getattr(on, high))}"
        return speak.told(words), km, days

    return {
        "plot": plot_json(plot), "head": head, "rows": rows,
        "query": f"?{urlencode(asked)}" if asked else "", "level": level, "family": family,
        "now": at.value <= found.car.stands_km,
        "at": _km(at.value, speak), "on": "" if on is None else day(on.value),
        "spans": (spans("one in two", "low50", "high50"), spans("nine in ten", "low90", "high90")),
        "reasons": found.reasons,
    }  # fmt: skip


def _km(value: float, speak: Words, to: float | None = None) -> str:
    def rounded(one: float) -> float:
        return _ROUND_KM * round(one / _ROUND_KM)

    return speak.quantity(Quantity(rounded(value), "km", None if to is None else rounded(to)))
