"""The book on the terminal: a car's page, lists, and a forecast with its reasons."""

from collections.abc import Mapping, Sequence
from datetime import date
from typing import TYPE_CHECKING, Any

from babel.dates import format_date
from rich.table import Table
from rich.text import Text

from bellmouth.book.lists import Standing
from bellmouth.pages.teller import Teller

if TYPE_CHECKING:
    from bellmouth.book.forecast import Forecast

__all__ = ["print_car", "print_cars", "print_due", "print_forecast"]

_REASONS_SHOWN = 8


def print_car(page: Mapping[str, Any], to: Teller) -> None:
    """Print a car's page, as `car_page` gathers it."""
    kind = f" ({page['kind']})" if page["kind"] else ""
    to.out.print()
    to.out.print(Text(f"{page['name']}{kind}", style="bold"))
    if page["identification"]:
        to.plain(f"Identification {page['identification']}")
    if page["keep_until"]:
        to.plain(f"To be deleted after {page['keep_until']}")
    _print_due_of(page["due"], to)
    jobs = [entry for entry in page["entries"] if entry["kind"] == "job"]
    for job in reversed(jobs):
        if not job["corrected"]:
            _print_job(job, page["entries"], to)
    rest = [entry for entry in page["entries"] if entry["job"] is None]
    to.section("Before any job")
    to.out.print(_entries(rest, to))


def print_cars(found: Sequence[Standing], to: Teller) -> None:
    """Print the list of cars, one a line."""
    if not found:
        to.plain("No car is in the book yet.")
        return
    table = _table(to, "car", "kind", "jobs", "last job", "km", "inspect")
    for one in found:
        table.add_row(
            one.name, one.kind or "", str(one.jobs), one.last_on or "", to.say(_km(one.last_km)),
            _about(one.due_on, to),
        )  # fmt: skip
    to.out.print(table)


def print_due(found: Sequence[Standing], today: date, to: Teller) -> None:
    """Print the cars to inspect, the soonest first."""
    if not found:
        to.plain("No car is due, as far as the book can tell.")
        return
    table = _table(to, "inspect about", "at km", "car", "nine in ten", "")
    for one in found:
        span = (one.due or {}).get("inspect_on") or {}
        between = (
            to.say(f"{_about(span.get('low90'), to)} to {_about(span.get('high90'), to)}")
            if span
            else ""
        )
        late = "now" if (one.due_on or "") <= today.isoformat() else ""
        table.add_row(
            _about(one.due_on, to),
            "" if one.due_km is None else to.say(_round(one.due_km)),
            one.name,
            between,
            to.say(late),
        )
    to.out.print(table)


def print_forecast(found: "Forecast", to: Teller) -> None:
    """Print when to inspect next, how sure that is, and why."""
    at, on = found.inspect_at_km, found.inspect_on
    when = "" if on is None else f", about {_month(on.value, to, 'MMMM y')}"
    now = at.value <= found.car.stands_km
    head = "Inspect the throttle plate now" if now else (
        f"Inspect the throttle plate at about {_round(at.value)} km{when}"
    )  # fmt: skip
    to.out.print()
    to.out.print(Text(f"{found.name}: {to.say(f'{head}.')}", style="bold"))
    table = _table(to, "", "km", "month")
    for words, low, high in (("one in two", "low50", "high50"), ("nine in ten", "low90", "high90")):
        days = (
            ""
            if on is None
            else to.say(f"{_month(getattr(on, low), to)} to {_month(getattr(on, high), to)}")
        )
        table.add_row(
            to.say(words),
            to.say(f"{_round(getattr(at, low))} to {_round(getattr(at, high))}"),
            days,
        )
    to.out.print(table)
    to.list("Why", found.reasons, _REASONS_SHOWN)


def _print_due_of(due: Mapping[str, Any] | None, to: Teller) -> None:
    if due is None:
        return
    at, on = due["inspect_at_km"], due["inspect_on"]
    day = "" if on is None else f", {_about(on['value'], to)}"
    to.plain(
        f"Inspect at about {_round(at['value'])} km{day} (nine in ten: {_round(at['low90'])} to "
        f"{_round(at['high90'])} km)."
    )
    if due["not_dirt"]:
        to.plain(due["reasons"][0])


def _print_job(job: Mapping[str, Any], entries: Sequence[Mapping[str, Any]], to: Teller) -> None:
    where = "" if job["distance_km"] is None else f", {job['distance_km']:,.0f} km"
    to.section(f"Job {job['job']}: {job['on_date']}{where}")
    to.out.print(_entries([entry for entry in entries if entry["job"] == job["job"]], to))


def _entries(entries: Sequence[Mapping[str, Any]], to: Teller) -> Table:
    table = Table.grid(padding=(0, 2))
    for _ in range(3):
        table.add_column(overflow="fold")
    for entry in entries:
        # Somebody's own words stay as they are.
        gist = entry["gist"] if _typed(entry) else _gist(entry, to)
        if entry["corrects"]:
            gist += " " + to.say(f"(instead of {entry['corrects']})")
        if entry["corrected"]:
            gist += " " + to.say("(corrected later)")
        table.add_row(str(entry["number"]), to.say(entry["kind"]), Text(gist))
    return table


def _gist(entry: Mapping[str, Any], to: Teller) -> str:
    """An entry in a few words; the name of a recording's file stays."""
    if entry["kind"] != "recording":
        return to.say(entry["gist"])
    source = entry["document"]["source"]
    return f"{source}: {to.say(entry['gist'].removeprefix(f'{source}: '))}"


def _typed(entry: Mapping[str, Any]) -> bool:
    held = entry["document"]
    return bool(held.get({"note": "text", "photo": "text", "car": "kind"}.get(entry["kind"], "")))


def _table(to: Teller, *titles: str) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold")
    for title in titles:
        right = title in ("km", "at km", "jobs")
        table.add_column(to.say(title), justify="right" if right else "left", overflow="fold")
    return table


def _round(km: float) -> str:
    """A distance that lies ahead, to the thousand: it is known no better."""
    return f"{round(km, -3):,.0f}"


def _km(km: float | None) -> str:
    return "" if km is None else f"{km:,.0f}"


def _about(day: str | None, to: Teller) -> str:
    """A day as a month, which is as well as it is known."""
    return _month(date.fromisoformat(day), to) if day else ""


def _month(day: date, to: Teller, form: str = "MMM y") -> str:
    return format_date(day, form, locale=to.speak.language)
