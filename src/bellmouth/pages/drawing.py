"""What every picture is drawn with: inline SVG whose colours are the page's, light or dark."""

import functools
import io
import re
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from html import unescape
from typing import Any

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.text import Text
from matplotlib.ticker import (
    FixedLocator,
    FuncFormatter,
    LogLocator,
    NullFormatter,
    NullLocator,
)

from bellmouth.pages.card_words import Words
from bellmouth.pages.recognised import DATA_BEGINS, DATA_ENDS

__all__ = [
    "COLOURS", "DASHES", "INK", "SOFT", "below", "drawn_in", "log_axis", "say_words",
    "somebodys", "svg",
]  # fmt: skip

# Stand-ins that no drawing library picks by itself; each becomes a CSS variable of the page.
INK, SOFT, _GRID, _PAPER = "#010101", "#020202", "#030303", "#040404"
COLOURS = ("#050501", "#050502", "#050503", "#050504", "#050505")
_VARIABLES = {
    INK: "var(--ink)",
    SOFT: "var(--soft)",
    _GRID: "var(--grid)",
    _PAPER: "var(--card)",
    **{colour: f"var(--c{i})" for i, colour in enumerate(COLOURS, 1)},
}
# Dashes and markers differ as well as colours, for those who do not see colours apart.
DASHES: tuple[str | tuple[float, tuple[float, ...]], ...] = (
    "-", (0, (5, 2)), (0, (1, 1.5)), (0, (7, 2, 1, 2)), (0, (3, 1, 1, 1, 1, 1)),
)  # fmt: skip

_STYLE: Mapping[Any, Any] = {
    "svg.fonttype": "none",
    "font.size": 10.5,
    "axes.edgecolor": SOFT,
    "axes.labelcolor": INK,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "axes.axisbelow": True,
    "grid.color": _GRID,
    "grid.linewidth": 0.6,
    "text.color": INK,
    "xtick.color": SOFT,
    "ytick.color": SOFT,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "legend.frameon": False,
    "legend.fontsize": 9.5,
    "legend.handlelength": 3.0,
}


Say = Callable[[str], str]
_say: ContextVar[Say] = ContextVar("say", default=str)


@contextmanager
def drawn_in(speak: Words) -> Iterator[None]:
    """Within it, every text of a picture is in the reader's language and units."""
    token = _say.set(speak.told if speak != Words() else str)
    try:
        yield
    finally:
        _say.reset(token)


def somebodys(name: str) -> str:
    """A name in a picture that is somebody's own, as of a car: it stays in every language."""
    return f"{DATA_BEGINS}{name}{DATA_ENDS}"


def _told(text: str, say: Say) -> str:
    """A text of a picture in the reader's words, but for what is somebody's own."""
    if DATA_BEGINS not in text:
        return say(text)
    pieces = _SOMEBODYS.split(text)
    return "".join(one if place % 2 else say(one) for place, one in enumerate(pieces))


def say_words(figure: Figure, say: Say) -> set[str]:
    """Put every word of a figure into the reader's, before it is laid out; returns them."""
    ready: set[str] = set()
    for axes in figure.axes:
        for axis in (axes.xaxis, axes.yaxis):
            if isinstance(axis.get_major_locator(), FixedLocator):
                # Ticks that were named, not counted: their words take room.
                named = [_told(one.get_text(), say) for one in axis.get_ticklabels()]
                axis.set_ticks(axis.get_ticklocs(), named)
                ready.update(named)
    told = {str(one.get_text()) for one in figure.findobj(Text)} - {""}
    said = {one: one if one in ready else _told(one, say) for one in told}
    for one in figure.findobj(Text):
        one.set_text(said.get(one.get_text(), one.get_text()))
    return {line for one in said.values() for line in (one, *one.split("\n"))}


def svg(name: str, alt: str, height: float, draw: Callable[[Axes], None]) -> str:
    """Draw on fresh axes and return inline SVG with page colours and ids that stay unique."""
    with mpl.rc_context({**_STYLE, "svg.hashsalt": name}):
        figure = Figure(figsize=(4.3, height), layout="constrained")
        FigureCanvasSVG(figure)
        draw(figure.add_subplot())
        say = _say.get()
        done = say_words(figure, say)
        buffer = io.StringIO()
        figure.savefig(buffer, format="svg", transparent=True, metadata={"Date": None})
    text = buffer.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    text = re.sub(r'\bid="', f'id="{name}-', text)
    text = re.sub(r'(url\(#|href="#)', rf"\g<1>{name}-", text)
    text = re.sub(r' xmlns:?\w*="[^"]*"', "", text).replace("xlink:href", "href")
    text = re.sub(r"'DejaVu Sans'[^;\"]*", "system-ui, sans-serif", text)
    for colour, variable in _VARIABLES.items():
        text = text.replace(colour, variable)
    # The page sets the width; a fixed one would not shrink on a telephone.
    text = re.sub(r'(<svg) width="[^"]*" height="[^"]*"|(<svg)', r"\1\2", text, count=1)
    text = re.sub(r' (?:width|height)="[\d.]+pt"', "", text, count=2)
    if say is not str:
        text = _TEXT.sub(functools.partial(_figured, say=say, done=done), text)
    title = f"<title>{_escape(say(alt))}</title>"
    return re.sub(r"(<svg[^>]*>)", rf"\1{title}", text, count=1).replace(
        "<svg", '<svg role="img"', 1
    )


_SOMEBODYS = re.compile(f"{DATA_BEGINS}(.*?){DATA_ENDS}", re.DOTALL)
_TEXT = re.compile(r"(<text[^>]*>)([^<]+)(</text>)")


def _figured(found: re.Match[str], say: Say, done: set[str]) -> str:
    """A tick's figure, which is only written when the picture is; words are told already."""
    figure = unescape(found[2]).strip()
    return found[0] if figure in done else f"{found[1]}{_escape(say(figure))}{found[3]}"


def _escape(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace("\\", "/")


def log_axis(axes: Axes) -> None:
    """A logarithmic axis along the bottom that reads 1, 2, 5, 10."""
    axes.set_xscale("log")
    axes.xaxis.set_major_locator(LogLocator(base=10, subs=(1.0, 2.0, 5.0)))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    axes.xaxis.set_minor_locator(NullLocator())
    axes.xaxis.set_minor_formatter(NullFormatter())


def below(axes: Axes, columns: int) -> None:
    """A legend under the axes, each label once, in so many columns or as many as there is room
    for."""
    handles, labels = axes.get_legend_handles_labels()
    by_label = dict(zip(labels, handles, strict=True))
    if by_label:
        fitting = _fitting(axes, by_label, columns)
        axes.figure.legend(
            by_label.values(), by_label.keys(), loc="outside lower center", ncols=fitting
        )


#: What a legend keeps free for a frame that ours have not. [pixels]
_NO_FRAME = 10.0


def _fitting(axes: Axes, by_label: Mapping[str, Any], columns: int) -> int:
    """How many columns a legend can have, in the reader's language."""
    say, figure = _say.get(), axes.figure
    told = [_told(label, say) for label in by_label]
    for count in range(columns, 1, -1):
        tried = figure.legend(by_label.values(), told, ncols=count)
        wide = tried.get_window_extent().width
        tried.remove()
        if wide <= figure.bbox.width + _NO_FRAME:
            return count
    return 1
