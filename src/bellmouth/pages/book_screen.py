"""The book on the terminal: a car's page, lists, and a forecast with its reasons."""

from collections.abc import Mapping, Sequence
from datetime import date
from typing import TYPE_CHECKING, Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

from bellmouth.book.lists import Standing
from bellmouth.pages.lists import print_list, section

if TYPE_CHECKING:
    from bellmouth.book.forecast import Forecast

__all__ = ["print_car", "print_cars", "print_due", "print_forecast"]

_REASONS_SHOWN = 8


def print_car(page: Mapping[str, Any], out: Console) -> None:
    """Print a car's page, as `car_page` gathers it."""
    kind = f" ({page['kind']})" if page["kind"] else ""
    out.print()
    out.print(Text(f"{page['name']}{kind}", style="bold"))
    if page["identification"]:
        out.print(f"Identification {page['identification']}")
    if page["keep_until"]:
        out.print(f"To be deleted after {page['keep_until']}")
    _print_due_of(page["due"], out)
    jobs = [entry for entry in page["entries"] if entry["kind"] == "job"]
    for job in reversed(jobs):
        if not job["corrected"]:
            _print_job(job, page["entries"], out)
    rest = [entry for entry in page["entries"] if entry["job"] is None]
    section(out, "Before any job")
    out.print(_entries(rest))


def print_cars(found: Sequence[Standing], out: Console) -> None:
    """Print the list of cars, one a line."""
    if not found:
        out.print("No car is in the book yet.")
        return
    table = _table("car", "kind", "jobs", "last job", "km", "inspect")
    for one in found:
        table.add_row(
            one.name, one.kind or "", str(one.jobs), one.last_on or "", _km(one.last_km),
            _about(one.due_on),
        )  # fmt: skip
    out.print(table)


def print_due(found: Sequence[Standing], today: date, out: Console) -> None:
    """Print the cars to inspect, the soonest first."""
    if not found:
        out.print("No car is due, as far as the book can tell.")
        return
    table = _table("inspect about", "at km", "car", "nine in ten", "")
    for one in found:
        span = (one.due or {}).get("inspect_on") or {}
        between = f"{_about(span.get('low90'))} to {_about(span.get('high90'))}" if span else ""
        late = "now" if (one.due_on or "") <= today.isoformat() else ""
        table.add_row(
            _about(one.due_on),
            "" if one.due_km is None else _round(one.due_km),
            one.name,
            between,
            late,
        )
    out.print(table)


def print_forecast(found: "Forecast", out: Console) -> None:
    """Print when to inspect next, how sure that is, and why."""
    at, on = found.inspect_at_km, found.inspect_on
    when = "" if on is None else f", about {on.value:%B %Y}"
    now = at.value <= found.car.stands_km
    head = "Inspect the throttle plate now" if now else (
        f"Inspect the throttle plate at about {_round(at.value)} km{when}"
    )  # fmt: skip
    out.print()
    out.print(Text(f"{found.name}: {head}.", style="bold"))
    table = _table("", "km", "month")
    for words, low, high in (("one in two", "low50", "high50"), ("nine in ten", "low90", "high90")):
        days = "" if on is None else f"{getattr(on, low):%b %Y} to {getattr(on, high):%b %Y}"
        table.add_row(words, f"{_round(getattr(at, low))} to {_round(getattr(at, high))}", days)
    out.print(table)
    print_list(out, "Why", found.reasons, _REASONS_SHOWN)


def _print_due_of(due: Mapping[str, Any] | None, out: Console) -> None:
    if due is None:
        return
    at, on = due["inspect_at_km"], due["inspect_on"]
    day = "" if on is None else f", {_about(on['value'])}"
    out.print(
        f"Inspect at about {_round(at['value'])} km{day} (nine in ten: {_round(at['low90'])} to "
        f"{_round(at['high90'])} km)."
    )
    if due["not_dirt"]:
        out.print(due["reasons"][0])


def _print_job(job: Mapping[str, Any], entries: Sequence[Mapping[str, Any]], out: Console) -> None:
    where = "" if job["distance_km"] is None else f", {job['distance_km']:,.0f} km"
    section(out, f"Job {job['job']}: {job['on_date']}{where}")
    out.print(_entries([entry for entry in entries if entry["job"] == job["job"]]))


def _entries(entries: Sequence[Mapping[str, Any]]) -> Table:
    table = Table.grid(padding=(0, 2))
    for _ in range(3):
        table.add_column(overflow="fold")
    for entry in entries:
        gist = entry["gist"]
        if entry["corrects"]:
            gist += f" (instead of {entry['corrects']})"
        if entry["corrected"]:
            gist += " (corrected later)"
        table.add_row(str(entry["number"]), entry["kind"], Text(gist))
    return table


def _table(*titles: str) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold")
    for title in titles:
        right = title in ("km", "at km", "jobs")
        table.add_column(title, justify="right" if right else "left", overflow="fold")
    return table


def _round(km: float) -> str:
    """A distance that lies ahead, to the thousand: it is known no better."""
    return f"{round(km, -3):,.0f}"


def _km(km: float | None) -> str:
    return "" if km is None else f"{km:,.0f}"


def _about(day: str | None) -> str:
    """A day as a month, which is as well as it is known."""
    return "" if not day else f"{date.fromisoformat(day):%b %Y}"
