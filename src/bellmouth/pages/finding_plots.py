"""A finding's pictures as data: trims with each cause's curve, and airflow by three routes."""

from collections.abc import Callable, Sequence

from bellmouth.finding.result import Finding, PicturePoint
from bellmouth.pages.plots import Z90, Axis, Line, Plot, Say
from bellmouth.pages.words import name_words

__all__ = ["finding_plots", "flow_shown_g_s", "routes_plot", "routes_title", "trim_plot"]

_CURVES = 5
#: Routes stand beside each other, this far from the operating point's own place.
_BESIDE = 0.18


def finding_plots(finding: Finding, say: Say) -> dict[str, Plot]:
    """By name, those of a finding's pictures that its recording can fill."""
    found = {"trim": trim_plot(finding, say), "routes": routes_plot(finding, say)}
    return {name: plot for name, plot in found.items() if plot is not None}


def trim_plot(finding: Finding, say: Say) -> Plot | None:
    """Total trim [%] against airflow [g/s]: read, and if each cause were so; None without trims."""
    points = [
        (number, flow, point)
        for number, point in enumerate(finding.picture.points, 1)
        if point.total_trim_pct is not None and (flow := flow_shown_g_s(point)) is not None
    ]
    order = [one.cause for one in finding.causes if one.cause in finding.picture.trim_curves]
    if not points or not order:
        return None
    curves = []
    for style, cause in enumerate(order[:_CURVES], 1):
        flows, trims = zip(*finding.picture.trim_curves[cause], strict=True)
        name = say("if {cause}").format(cause=say(name_words(cause)))
        curves.append(Line(name, "line", style, tuple(flows), tuple(trims)))
    values, errors = zip(*(point.total_trim_pct or (0.0, 0.0) for *_, point in points), strict=True)
    read = Line(
        say("read here (90 %)"), "points", 0, tuple(flow for _, flow, _ in points), values,
        tuple(value - Z90 * error for value, error in zip(values, errors, strict=True)),
        tuple(value + Z90 * error for value, error in zip(values, errors, strict=True)),
        tuple(f"{number} {say(point.kind)}" for number, _, point in points),
    )  # fmt: skip
    x = Axis(say("Airflow into the engine"), "g/s", log=True)
    return Plot(
        say("Total trim against airflow"), x, Axis(say("Total fuel trim"), "%"), (*curves, read)
    )


def routes_plot(finding: Finding, say: Say) -> Plot | None:
    """Airflow [g/s] of each operating point by three routes; None where there is no route."""
    points = list(enumerate(finding.picture.points, 1))
    lines = []
    for name, style, shift, read in _ROUTES:
        told = [(n, flow, point) for n, point in points if (flow := read(point)) is not None]
        if told:
            values, lows, highs = zip(*(flow for _, flow, _ in told), strict=True)
            lines.append(
                Line(
                    say(name),
                    "points",
                    style,
                    tuple(n + shift for n, *_ in told),
                    values,
                    lows,
                    highs,
                    tuple(f"{n} {say(point.kind)}" for n, _, point in told),
                )
            )
    if not lines:
        return None
    places = {str(number): f"{number} {say(point.kind)}" for number, point in points}
    x = Axis(say("Operating point"), "", places=places)
    return Plot(
        say(routes_title(finding.picture.points)),
        x,
        Axis(say("Airflow"), "g/s", log=True),
        tuple(lines),
    )


def routes_title(points: Sequence[PicturePoint]) -> str:
    """What the picture of routes is called, by how many of them there are."""
    there = sum(any(read(point) is not None for point in points) for *_, read in _ROUTES[:-1])
    return _TITLES[max(there, 1)]


def flow_shown_g_s(point: PicturePoint) -> float | None:
    """Where a point stands on the axis of airflow, which is logarithmic; None if nowhere. [g/s]"""
    for flow in (point.true_airflow_g_s, point.airflow_meter_g_s):
        if flow is not None and flow > 0:
            return flow
    return None


def _alone(flow: float | None) -> tuple[float, float, float] | None:
    return (flow, flow, flow) if flow is not None and flow > 0 else None


def _above_zero(
    flow: tuple[float, float, float] | None,
) -> tuple[float, float, float] | None:
    return flow if flow is not None and min(flow) > 0 else None


_TITLES = {
    1: "Airflow by one route", 2: "Airflow by two routes", 3: "Airflow by three routes",
}  # fmt: skip
_Read = Callable[[PicturePoint], tuple[float, float, float] | None]
_ROUTES: tuple[tuple[str, int, float, _Read], ...] = (
    ("meter", 1, -_BESIDE, lambda point: _alone(point.airflow_meter_g_s)),
    ("speed and pressure (90 %)", 2, 0.0,
     lambda point: _above_zero(point.airflow_speed_density_g_s)),
    ("throttle opening (90 %)", 3, _BESIDE, lambda point: _above_zero(point.airflow_throttle_g_s)),
    ("found, all together", 0, 0.0, lambda point: _alone(point.true_airflow_g_s)),
)  # fmt: skip
