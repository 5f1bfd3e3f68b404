"""What a picture shows, as data: for pictures that answer, for tables and for downloads."""

import csv
import io
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import Literal

from bellmouth.pages.card_words import Words

__all__ = ["Z90", "Axis", "Line", "Plot", "Say", "plot_csv", "plot_in", "plot_json", "plot_rows"]

#: Standard errors from a value to either end of what holds it nine times in ten.
Z90 = 1.645

#: Puts a fixed English text into the reader's language.
Say = Callable[[str], str]
Shape = Literal["line", "points", "joined", "band", "event"]


@dataclass(frozen=True)
class Axis:
    """An axis: what it is, its unit, whether it is logarithmic, and names of single places."""

    name: str
    unit: str
    log: bool = False
    places: Mapping[str, str] = field(default_factory=dict)

    @property
    def label(self) -> str:
        """``Airflow [g/s]``; the name alone where there is no unit."""
        return f"{self.name} [{self.unit}]" if self.unit else self.name


@dataclass(frozen=True)
class Line:
    """One line, band, or row of points.

    ``style`` picks colour, dash and marker together, so that nothing is told by colour alone; 0
    is the ink of the page. ``low`` and ``high`` hold the truth nine times in ten, or are a band's
    edges. ``told`` says what each point is. An ``event`` has no height.
    """

    name: str
    shape: Shape
    style: int
    x: tuple[float, ...]
    y: tuple[float, ...] = ()
    low: tuple[float, ...] = ()
    high: tuple[float, ...] = ()
    told: tuple[str, ...] = ()


@dataclass(frozen=True)
class Plot:
    """Lines on one pair of axes."""

    title: str
    x: Axis
    y: Axis
    lines: tuple[Line, ...]


def plot_in(plot: Plot, speak: Words) -> Plot:
    """A plot with both axes in the reader's units."""
    lines = tuple(
        replace(
            line,
            x=_scaled(line.x, plot.x.unit, speak),
            y=_scaled(line.y, plot.y.unit, speak),
            low=_scaled(line.low, plot.y.unit, speak),
            high=_scaled(line.high, plot.y.unit, speak),
        )
        for line in plot.lines
    )
    x, y = (replace(axis, unit=speak.unit(axis.unit)) for axis in (plot.x, plot.y))
    return Plot(plot.title, x, y, lines)


def _scaled(values: tuple[float, ...], unit: str, speak: Words) -> tuple[float, ...]:
    return tuple(speak.scaled(value, unit) for value in values)


def plot_json(plot: Plot) -> str:
    """A plot as JSON for the page's script, numbers to six digits."""
    return json.dumps(_short(asdict(plot)), separators=(",", ":"), ensure_ascii=False)


def plot_rows(plot: Plot, say: Say) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """A plot as a table: its head, and a row for every point of every line."""
    head = (say("Line"), plot.x.label, plot.y.label, say("low"), say("high"), say("Point"))
    rows = []
    for line in plot.lines:
        for place, x in enumerate(line.x):
            numbers = (_cell(column, place) for column in (line.y, line.low, line.high))
            told = line.told[place] if place < len(line.told) else ""
            rows.append((line.name, f"{x:.6g}", *numbers, told))
    return head, rows


def plot_csv(plot: Plot, say: Say) -> str:
    """The same as CSV."""
    head, rows = plot_rows(plot, say)
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows([head, *rows])
    return text.getvalue()


def _cell(column: Sequence[float], place: int) -> str:
    return f"{column[place]:.6g}" if place < len(column) else ""


def _short(told: object) -> object:
    if isinstance(told, float):
        return float(f"{told:.6g}")
    if isinstance(told, Mapping):
        return {name: _short(one) for name, one in told.items()}
    if isinstance(told, (list, tuple)):
        return [_short(one) for one in told]
    return told
