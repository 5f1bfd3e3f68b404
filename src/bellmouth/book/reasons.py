"""Why a forecast says what it says, in sentences."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from bellmouth.book.forecast import Forecast

__all__ = ["reasons_of"]

_WHAT = {
    "jump": "{where} it moved at once by more than dirt does",
    "misread": "the reading at {km} km stands apart from the others",
    "steeper": "{where} it has grown much faster",
}
_LOOK = {
    "jump": "Look for another reason first: a part that was changed, a relearning, a leak, a plate "
    "that was cleaned without an entry.",
    "misread": "Measure again before planning by it.",
    "steeper": "Look for its source first: oil mist from the crankcase, a worn shaft, dusty air.",
}


def reasons_of(told: "Forecast") -> tuple[str, ...]:
    """Sentences on what was seen, what was assumed and what speaks against it."""
    return (*_odd(told), *_seen(told), *_assumed(told))


def _odd(told: "Forecast") -> tuple[str, ...]:
    odd = told.not_dirt
    if odd is None:
        return ()
    before = [visit.km for visit in told.car.visits if visit.km < odd.km]
    where = f"between {before[-1]:,.0f} and {odd.km:,.0f} km" if before else "at once"
    if odd.what == "steeper" and before:
        where = f"since {before[-1]:,.0f} km"
    said = _WHAT[odd.what].format(where=where, km=f"{odd.km:,.0f}")
    sure = f"{100 * odd.probability:.0f} %"
    return (f"Not all of it looks like dirt ({sure}): {said}. {_LOOK[odd.what]}",)


def _seen(told: "Forecast") -> tuple[str, ...]:
    visits = told.car.visits
    cleaned = [visit.km for visit in visits if visit.cleaned]
    count = sum(visit.deposit is not None or visit.opening is not None for visit in visits)
    now, growth, use = told.deposit_mm2, told.growth_mm2, told.usage
    low, read_km = max(now.low90, 0.0), visits[-1].km
    sentences = [
        f"The deposit is now {now.value:.1f} mm² (nine in ten: {low:.1f} to "
        f"{now.high90:.1f} mm²). Readings it rests on: {count}."
        if told.car.stands_km <= read_km
        else f"The deposit was {now.value:.1f} mm² (nine in ten: {low:.1f} to "
        f"{now.high90:.1f} mm²) when the car was last read, at {read_km:,.0f} km. Readings it "
        f"rests on: {count}.",
        f"It grows by {growth.value:.2f} mm² in 10,000 km (nine in ten: {growth.low90:.2f} to "
        f"{growth.high90:.2f} mm²).",
    ]
    if cleaned:
        told_since = f"It is counted since the plate was cleaned at {cleaned[-1]:,.0f} km."
        sentences.insert(1, told_since)
    seen = f"seen over {use.days} days" if use.days else "as is usual: no two visits tell"
    sentences.append(f"The car goes about {use.km_per_day:.0f} km a day ({seen}).")
    if len(visits) < 3:
        sentences.append(
            "From fewer than three visits the trade's rule of thumb says more than the car does."
        )
    return tuple(sentences)


def _assumed(told: "Forecast") -> tuple[str, ...]:
    low, high = (f"{km:,.0f}" for km in told.assumed.growth["km_to_level"])
    learnt = told.assumed.family_cars
    source = f"learnt from {learnt} cars of its family" if learnt else "common practice, no source"
    others = (
        ""
        if not told.alike
        else "1 other car of its kind counted too. "
        if told.alike == 1
        else f"{told.alike} other cars of its kind counted too. "
    )
    return (
        f"{others}Before anything is read, a plate is taken to be worth a look after {low} to "
        f"{high} km ({source}), and worth one from "
        f"{told.level_mm2:.1f} mm² of deposit.",
        "Where the maker gives an interval, that one stands.",
    )
