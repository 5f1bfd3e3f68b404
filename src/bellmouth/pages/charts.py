"""The report's pictures as inline SVG whose colours are the page's, light or dark."""

import io
import re
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter, NullLocator

from bellmouth.finding.result import Finding, PicturePoint
from bellmouth.pages.words import name_words

__all__ = ["operating_points", "routes", "trim_against_airflow"]

# Stand-ins that no drawing library picks by itself; each becomes a CSS variable of the page.
_INK, _SOFT, _GRID, _PAPER = "#010101", "#020202", "#030303", "#040404"
_COLOURS = ("#050501", "#050502", "#050503", "#050504", "#050505")
_VARIABLES = {
    _INK: "var(--ink)",
    _SOFT: "var(--soft)",
    _GRID: "var(--grid)",
    _PAPER: "var(--card)",
    **{colour: f"var(--c{i})" for i, colour in enumerate(_COLOURS, 1)},
}
# Dashes and markers differ as well as colours, for those who do not see colours apart.
_DASHES: tuple[str | tuple[float, tuple[float, ...]], ...] = (
    "-", (0, (5, 2)), (0, (1, 1.5)), (0, (7, 2, 1, 2)), (0, (3, 1, 1, 1, 1, 1)),
)  # fmt: skip
_MARKERS: Mapping[str, str] = {"idle": "o", "held": "s", "drive": "^", "engine off": "x"}
_LABELLED = 12  # more numbers than this only hide the points
_ROWS = 12

_STYLE: Mapping[Any, Any] = {
    "svg.fonttype": "none",
    "font.size": 10.5,
    "axes.edgecolor": _SOFT,
    "axes.labelcolor": _INK,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "axes.axisbelow": True,
    "grid.color": _GRID,
    "grid.linewidth": 0.6,
    "text.color": _INK,
    "xtick.color": _SOFT,
    "ytick.color": _SOFT,
    "xtick.labelcolor": _INK,
    "ytick.labelcolor": _INK,
    "legend.frameon": False,
    "legend.fontsize": 9.5,
    "legend.handlelength": 3.0,
}


def _svg(name: str, alt: str, height: float, draw: Callable[[Axes], None]) -> str:
    """Draw on fresh axes and return inline SVG with page colours and ids that stay unique."""
    with mpl.rc_context({**_STYLE, "svg.hashsalt": name}):
        figure = Figure(figsize=(4.3, height), layout="constrained")
        FigureCanvasSVG(figure)
        draw(figure.add_subplot())
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
    title = f"<title>{_escape(alt)}</title>"
    return re.sub(r"(<svg[^>]*>)", rf"\1{title}", text, count=1).replace(
        "<svg", '<svg role="img"', 1
    )


def _escape(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace("\\", "/")


def _log_axis(axes: Axes) -> None:
    axes.set_xscale("log")
    axes.xaxis.set_major_locator(LogLocator(base=10, subs=(1.0, 2.0, 5.0)))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    axes.xaxis.set_minor_locator(NullLocator())
    axes.xaxis.set_minor_formatter(NullFormatter())


def _flow(point: PicturePoint) -> float | None:
    """Where a point stands on the axis of airflow, which is logarithmic; ``None`` if nowhere."""
    for flow in (point.true_airflow_g_s, point.airflow_meter_g_s):
        if flow is not None and flow > 0:
            return flow
    return None


def _below(axes: Axes, columns: int) -> None:
    handles, labels = axes.get_legend_handles_labels()
    by_label = dict(zip(labels, handles, strict=True))
    if by_label:
        axes.figure.legend(
            by_label.values(), by_label.keys(), loc="outside lower center", ncols=columns
        )


def trim_against_airflow(finding: Finding) -> str | None:
    """Total trim [%] against airflow [g/s]: what was read, and what each cause would give.

    ``None`` where the recording holds no trim.
    """
    points = [
        (i, flow, point.total_trim_pct, point.kind)
        for i, point in enumerate(finding.picture.points, 1)
        if point.total_trim_pct is not None and (flow := _flow(point)) is not None
    ]
    order = [entry.cause for entry in finding.causes if entry.cause in finding.picture.trim_curves]
    if not points or not order:
        return None

    def draw(axes: Axes) -> None:
        for cause, colour, dashes in zip(order, _COLOURS, _DASHES, strict=False):
            curve = finding.picture.trim_curves[cause]
            axes.plot(
                [flow for flow, _ in curve], [trim for _, trim in curve],
                color=colour, linestyle=dashes, linewidth=1.8, label=f"if {name_words(cause)}",
            )  # fmt: skip
        for number, flow, (trim, error), kind in points:
            axes.errorbar(
                flow, trim, yerr=1.645 * error, color=_INK, marker=_MARKERS.get(kind, "o"),
                markersize=5, capsize=3, linestyle="none", label="read here (90 %)",
            )  # fmt: skip
            if len(points) <= _LABELLED:
                _number(axes, number, flow, trim)
        axes.axhline(0.0, color=_SOFT, linewidth=0.8)
        _log_axis(axes)
        axes.set_xlabel("Airflow into the engine [g/s]")
        axes.set_ylabel("Total fuel trim [%]")
        _below(axes, 2)

    return _svg("trim", "Total fuel trim against airflow, with each cause's curve", 3.7, draw)


def _number(axes: Axes, number: int, x: float, y: float) -> None:
    # Odd and even numbers stand on different sides, so that idle and idle again can be told apart.
    away = (6, 6) if number % 2 else (-11, -11)
    axes.annotate(
        str(number), (x, y), xytext=away, textcoords="offset points", fontsize=9.5, color=_INK
    )


def routes(finding: Finding) -> str | None:
    """Airflow [g/s] of each operating point by three routes; ``None`` with fewer than two."""
    points = [
        (i, point)
        for i, point in enumerate(finding.picture.points, 1)
        if point.airflow_meter_g_s or point.airflow_speed_density_g_s or point.airflow_throttle_g_s
    ]
    if not points:
        return None
    step = max(1, -(-len(points) // _ROWS))
    rows = points[::step]

    def draw(axes: Axes) -> None:
        for y, (_, point) in enumerate(rows):
            _route_row(axes, y, point)
        axes.set_yticks(range(len(rows)), [f"{i} {point.kind}" for i, point in rows])
        axes.set_ylim(len(rows) - 0.4, -0.6)
        _log_axis(axes)
        axes.set_xlabel("Airflow [g/s]")
        _below(axes, 2)

    return _svg(
        "routes", "Airflow by meter, speed-density and throttle", 2.0 + 0.3 * len(rows), draw
    )


def _route_row(axes: Axes, y: int, point: PicturePoint) -> None:
    if point.airflow_meter_g_s:
        axes.plot(
            point.airflow_meter_g_s, y - 0.24, "D", color=_COLOURS[0], markersize=5, label="meter"
        )
    for shift, triple, marker, colour, label in (
        (0.0, point.airflow_speed_density_g_s, "s", _COLOURS[1], "speed and pressure (90 %)"),
        (0.24, point.airflow_throttle_g_s, "^", _COLOURS[2], "throttle opening (90 %)"),
    ):
        if triple and min(triple) > 0:
            value, low, high = triple
            axes.errorbar(
                value, y + shift, xerr=[[max(value - low, 0.0)], [max(high - value, 0.0)]],
                color=colour, marker=marker, markersize=5, capsize=3, linestyle="none", label=label,
            )  # fmt: skip
    if point.true_airflow_g_s:
        axes.plot(
            [point.true_airflow_g_s] * 2, [y - 0.4, y + 0.4], color=_INK, linewidth=1.2,
            label="found, all together",
        )  # fmt: skip


def operating_points(finding: Finding) -> str | None:
    """Engine speed [rpm] against manifold pressure [kPa], throttle [%] or airflow [g/s]."""
    for label, read in _HEIGHTS:
        points = [
            (i, point, height)
            for i, point in enumerate(finding.picture.points, 1)
            if (height := read(point)) is not None
        ]
        if points:
            return _operating_points(label, points)
    return None


def _operating_points(label: str, points: Sequence[tuple[int, PicturePoint, float]]) -> str:
    def draw(axes: Axes) -> None:
        for number, point, height in points:
            axes.plot(
                point.engine_speed_rpm, height, _MARKERS.get(point.kind, "o"), color=_COLOURS[0],
                markersize=7, label=point.kind,
            )  # fmt: skip
            if len(points) <= _LABELLED:
                _number(axes, number, point.engine_speed_rpm, height)
        axes.margins(0.12)
        axes.set_xlabel("Engine speed [rpm]")
        axes.set_ylabel(label)
        _below(axes, 3)

    return _svg("points", f"Operating points: engine speed against {label}", 3.2, draw)


_HEIGHTS: tuple[tuple[str, Callable[[PicturePoint], float | None]], ...] = (
    ("Manifold pressure [kPa]", lambda point: point.manifold_pressure_kpa),
    ("Throttle position [%]", lambda point: point.throttle_pct),
    ("Airflow [g/s]", _flow),
)
