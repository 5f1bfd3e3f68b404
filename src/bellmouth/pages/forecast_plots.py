"""The forecast's picture as data: what was read of a car, and where it is going."""

from bellmouth.book.forecast import Forecast
from bellmouth.pages.plots import Z90, Axis, Line, Plot, Say

__all__ = ["forecast_plot"]


def forecast_plot(found: Forecast, say: Say, *, unit: str = "km", km: float = 1.0) -> Plot:
    """Deposit [mm²] against the odometer, in a unit of so many km each."""
    ahead = tuple(one / km for one in found.curve.km)
    low90, low50, middle, high50, high90 = zip(*found.curve.deposit_mm2, strict=True)
    first = min((*(visit.km / km for visit in found.car.visits), *ahead))
    at = found.inspect_at_km
    inspect = say("{low} to {high} {unit}, nine in ten").format(
        low=f"{at.low90 / km:,.0f}", high=f"{at.high90 / km:,.0f}", unit=unit
    )
    level = found.level_mm2
    lines = (
        Line(say("nine in ten"), "band", 1, ahead, middle, low90, high90),
        Line(say("one in two"), "band", 3, ahead, middle, low50, high50),
        Line(say("forecast"), "line", 1, ahead, middle),
        Line(say("worth a look"), "line", 2, (first, ahead[-1]), (level, level)),
        Line(say("inspect"), "points", 4, (at.value / km,), (level,), told=(inspect,)),
        *_visits(found, say, km),
    )
    return Plot(
        say("What grew, and where it is going"), Axis(say("Distance"), unit),
        Axis(say("Deposit"), "mm2"), lines,
    )  # fmt: skip


def _visits(found: Forecast, say: Say, km: float) -> list[Line]:
    read = [
        (visit.km / km, visit.deposit, visit.on)
        for visit in found.car.visits
        if visit.deposit is not None
    ]
    lines = []
    if read:
        lines.append(
            Line(
                say("findings (90 %)"),
                "points",
                0,
                tuple(at for at, *_ in read),
                tuple(one.value for _, one, _ in read),
                tuple(one.value - Z90 * one.standard_error for _, one, _ in read),
                tuple(one.value + Z90 * one.standard_error for _, one, _ in read),
                tuple(str(on or "") for *_, on in read),
            )
        )
    cleaned = tuple(visit.km / km for visit in found.car.visits if visit.cleaned)
    if cleaned:
        lines.append(Line(say("cleaned"), "event", 0, cleaned))
    return lines
