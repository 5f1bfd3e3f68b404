"""The report's pictures: trims, routes of airflow and operating points."""

from collections.abc import Callable, Mapping, Sequence

from matplotlib.axes import Axes

from bellmouth.finding.result import Finding, PicturePoint
from bellmouth.pages.drawing import COLOURS, DASHES, INK, SOFT, below, log_axis, svg
from bellmouth.pages.finding_plots import flow_shown_g_s
from bellmouth.pages.plots import Z90
from bellmouth.pages.words import name_words

__all__ = ["operating_points", "routes", "trim_against_airflow"]

_MARKERS: Mapping[str, str] = {"idle": "o", "held": "s", "drive": "^", "engine off": "x"}
_LABELLED = 12  # more numbers than this only hide the points
_ROWS = 12


def trim_against_airflow(finding: Finding) -> str | None:
    """Total trim [%] against airflow [g/s]: what was read, and what each cause would give.

    ``None`` where the recording holds no trim.
    """
    points = [
        (i, flow, point.total_trim_pct, point.kind)
        for i, point in enumerate(finding.picture.points, 1)
        if point.total_trim_pct is not None and (flow := flow_shown_g_s(point)) is not None
    ]
    order = [entry.cause for entry in finding.causes if entry.cause in finding.picture.trim_curves]
    if not points or not order:
        return None

    def draw(axes: Axes) -> None:
        for cause, colour, dashes in zip(order, COLOURS, DASHES, strict=False):
            curve = finding.picture.trim_curves[cause]
            axes.plot(
                [flow for flow, _ in curve], [trim for _, trim in curve],
                color=colour, linestyle=dashes, linewidth=1.8, label=f"if {name_words(cause)}",
            )  # fmt: skip
        for number, flow, (trim, error), kind in points:
            axes.errorbar(
                flow, trim, yerr=Z90 * error, color=INK, marker=_MARKERS.get(kind, "o"),
                markersize=5, capsize=3, linestyle="none", label="read here (90 %)",
            )  # fmt: skip
            if len(points) <= _LABELLED:
                _number(axes, number, flow, trim)
        axes.axhline(0.0, color=SOFT, linewidth=0.8)
        log_axis(axes)
        axes.set_xlabel("Airflow into the engine [g/s]")
        axes.set_ylabel("Total fuel trim [%]")
        below(axes, 2)

    return svg("trim", "Total fuel trim against airflow, with each cause's curve", 3.7, draw)


def _number(axes: Axes, number: int, x: float, y: float) -> None:
    # Odd and even numbers stand on different sides, so that idle and idle again can be told apart.
    away = (6, 6) if number % 2 else (-11, -11)
    axes.annotate(
        str(number), (x, y), xytext=away, textcoords="offset points", fontsize=9.5, color=INK
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
        log_axis(axes)
        axes.set_xlabel("Airflow [g/s]")
        below(axes, 2)

    return svg(
        "routes", "Airflow by meter, speed-density and throttle", 2.0 + 0.3 * len(rows), draw
    )


def _route_row(axes: Axes, y: int, point: PicturePoint) -> None:
    if point.airflow_meter_g_s:
        axes.plot(
            point.airflow_meter_g_s, y - 0.24, "D", color=COLOURS[0], markersize=5, label="meter"
        )
    for shift, triple, marker, colour, label in (
        (0.0, point.airflow_speed_density_g_s, "s", COLOURS[1], "speed and pressure (90 %)"),
        (0.24, point.airflow_throttle_g_s, "^", COLOURS[2], "throttle opening (90 %)"),
    ):
        if triple and min(triple) > 0:
            value, low, high = triple
            axes.errorbar(
                value, y + shift, xerr=[[max(value - low, 0.0)], [max(high - value, 0.0)]],
                color=colour, marker=marker, markersize=5, capsize=3, linestyle="none", label=label,
            )  # fmt: skip
    if point.true_airflow_g_s:
        axes.plot(
            [point.true_airflow_g_s] * 2, [y - 0.4, y + 0.4], color=INK, linewidth=1.2,
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
                point.engine_speed_rpm, height, _MARKERS.get(point.kind, "o"), color=COLOURS[0],
                markersize=7, label=point.kind,
            )  # fmt: skip
            if len(points) <= _LABELLED:
                _number(axes, number, point.engine_speed_rpm, height)
        axes.margins(0.12)
        axes.set_xlabel("Engine speed [rpm]")
        axes.set_ylabel(label)
        below(axes, 3)

    return svg("points", f"Operating points: engine speed against {label}", 3.2, draw)


_HEIGHTS: tuple[tuple[str, Callable[[PicturePoint], float | None]], ...] = (
    ("Manifold pressure [kPa]", lambda point: point.manifold_pressure_kpa),
    ("Throttle position [%]", lambda point: point.throttle_pct),
    ("Airflow [g/s]", flow_shown_g_s),
)
