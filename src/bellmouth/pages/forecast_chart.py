"""The forecast's picture: deposit against distance, as read and as it may go on."""

import io
from pathlib import Path

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_pdf import FigureCanvasPdf
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter

from bellmouth.book.forecast import Forecast
from bellmouth.errors import BookError
from bellmouth.pages.card_words import ENGLISH, Words
from bellmouth.pages.drawing import say_words
from bellmouth.pages.plots import Z90

__all__ = ["chart", "write_chart"]

_CANVASES = {"svg": FigureCanvasSVG, "png": FigureCanvasAgg, "pdf": FigureCanvasPdf}
_INK, _BAND, _LEVEL = "#1f2933", "#1f6f8b", "#b3541e"


def write_chart(found: Forecast, path: Path, speak: Words = ENGLISH) -> None:
    """Write the picture; its ending picks the format.

    Raises
    ------
    BookError
        If the ending is none of .svg, .png and .pdf.
    """
    form = path.suffix.lower().lstrip(".")
    if form not in _CANVASES:
        raise BookError(f"{path.name}: a picture ends in .svg, .png or .pdf.")
    path.write_bytes(chart(found, form, speak))


def chart(found: Forecast, form: str = "svg", speak: Words = ENGLISH) -> bytes:
    """The picture in a format: bands that hold one in two and nine in ten, the readings with
    their 90 % intervals, the level, and where the inspection is."""
    with mpl.rc_context({"svg.hashsalt": "forecast", "svg.fonttype": "none", "font.size": 10}):
        figure = Figure(figsize=(7.0, 4.0), layout="constrained")
        _CANVASES[form](figure)
        _draw(figure.add_subplot(), found, speak)
        if speak != ENGLISH:
            say_words(figure, speak.told)
        buffer = io.BytesIO()
        # A date in the file would make two pictures of one forecast differ.
        dates = {"svg": {"Date": None}, "pdf": {"CreationDate": None}, "png": {}}
        figure.savefig(buffer, format=form, dpi=150, metadata=dates[form])
    return buffer.getvalue()


def _draw(axes: Axes, found: Forecast, speak: Words) -> None:
    far, size = speak.scaled(1.0, "km"), speak.scaled(1.0, "mm2")
    km = [far * one for one in found.curve.km]
    low90, low50, middle, high50, high90 = (
        [size * one for one in row] for row in zip(*found.curve.deposit_mm2, strict=True)
    )
    axes.fill_between(km, low90, high90, color=_BAND, alpha=0.18, lw=0, label="nine in ten")
    axes.fill_between(km, low50, high50, color=_BAND, alpha=0.30, lw=0, label="one in two")
    axes.plot(km, middle, color=_BAND, lw=1.6, label="forecast")
    _draw_visits(axes, found, far, size)
    axes.axhline(size * found.level_mm2, color=_LEVEL, lw=1.2, ls=(0, (5, 3)), label="worth a look")
    at = found.inspect_at_km
    axes.errorbar(
        [far * at.value], [size * found.level_mm2],
        xerr=[[far * (at.value - at.low90)], [far * (at.high90 - at.value)]],
        fmt="D", color=_LEVEL, ms=6, capsize=4, lw=1.2, label="inspect",
    )  # fmt: skip
    axes.set_title(f"{found.name}: when to inspect the throttle plate", loc="left", fontsize=11)
    axes.set_xlabel("odometer [thousand km]")
    axes.set_ylabel("deposit [mm²]")
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value / 1000:.0f}"))
    axes.set_ylim(bottom=0.0, top=size * max(1.6 * found.level_mm2, *_tops(found)))
    axes.spines[["top", "right"]].set_visible(False)
    axes.legend(frameon=False, fontsize=8.5, loc="upper left")


def _draw_visits(axes: Axes, found: Forecast, far: float, size: float) -> None:
    read = [visit for visit in found.car.visits if visit.deposit is not None]
    if read:
        values = [size * visit.deposit.value for visit in read if visit.deposit]
        errors = [size * Z90 * visit.deposit.standard_error for visit in read if visit.deposit]
        axes.errorbar(
            [far * visit.km for visit in read], values, yerr=errors,
            fmt="o", color=_INK, ms=4.5, capsize=3, lw=1.0, label="findings",
        )  # fmt: skip
    for visit in found.car.visits:
        if visit.cleaned:
            axes.axvline(far * visit.km, color=_INK, lw=0.8, ls=":")
            axes.annotate(
                "cleaned", (far * visit.km, 0.0), xytext=(3, 4), textcoords="offset points",
                fontsize=8, rotation=90, color=_INK,
            )  # fmt: skip


def _tops(found: Forecast) -> list[float]:
    return [
        visit.deposit.value + Z90 * visit.deposit.standard_error
        for visit in found.car.visits
        if visit.deposit is not None
    ] or [0.0]
