"""Sections and lists on the terminal, shared by the finding and the quality."""

import io
import re
import sys
import textwrap
from collections.abc import Iterable

from rich.console import Console, ConsoleOptions, RenderResult
from rich.measure import Measurement, measure_renderables
from rich.table import Table
from rich.text import Text

from bellmouth.pages.bound import bound_text

__all__ = ["MORE", "Kept", "celsius", "console", "hanging", "print_list", "section"]

_DEGREES = re.compile(r"(?<=\d )degC\b")
_WIDEST = 96  # longer lines are hard to read
#: What is said of sentences that are left out.
MORE = "and {count} more: see --json"


class Kept:
    """A text in lines that never part a number from its unit; rich itself breaks at any space."""

    def __init__(self, text: str, style: str = "") -> None:
        self._text, self._style = text, style

    def __rich_console__(self, out: Console, options: ConsoleOptions) -> RenderResult:
        """Its lines, as wide as there is room."""
        lines = textwrap.wrap(bound_text(self._text), options.max_width)
        for line in lines or [""]:
            yield Text(line.replace("\u00a0", " "), style=self._style)

    def __rich_measure__(self, out: Console, options: ConsoleOptions) -> Measurement:
        """Between its longest word and the whole of it."""
        return measure_renderables(out, options, [Text(self._text)])


def console() -> Console:
    """A console on stdout as it is now; colour only where a terminal shows it (NO_COLOR holds).

    What the terminal's encoding has no sign for is shown as a question mark.
    """
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="replace")
    found = Console(file=sys.stdout, highlight=False, markup=False, emoji=False)
    found.width = min(found.width, _WIDEST)
    return found


def section(out: Console, title: str) -> None:
    """A heading with an empty line before it."""
    out.print()
    out.print(Text(title, style="bold underline"))


def print_list(
    out: Console, title: str, sentences: Iterable[str], most: int, more: str = MORE
) -> None:
    """A heading and at most ``most`` sentences; nothing at all where there are none.

    ``more`` says how many are left out.
    """
    sentences = list(sentences)
    if not sentences:
        return
    section(out, title)
    for sentence in sentences[:most]:
        out.print(hanging("-", sentence))
    if len(sentences) > most:
        out.print(hanging(" ", more.format(count=len(sentences) - most)))


def celsius(sentence: str) -> str:
    """A sentence of the rooms below as it is shown: 70 °C for 70 degC."""
    return _DEGREES.sub("°C", sentence)


def hanging(mark: str, sentence: str) -> Table:
    """A sentence whose later lines are indented under its first."""
    row = Table.grid(padding=(0, 1))
    row.add_column(width=1)
    row.add_column(overflow="fold")
    row.add_row(mark, Kept(celsius(sentence)))
    return row
