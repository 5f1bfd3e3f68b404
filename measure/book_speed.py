"""How long a list of what is due and a car's page take: ``python -m measure.book_speed``."""

import argparse
import statistics
import tempfile
import time
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from bellmouth.book import Book, tables
from bellmouth.book.entries import Entry, insert
from bellmouth.book.opening import writing
from bellmouth.book.standing import work_out

__all__ = ["fill", "main"]

_CAR = {"displacement_l": 2.0, "metering": "airflow"}
_TURNS = 15


def fill(book: Book, jobs: int, jobs_a_car: int = 5) -> None:
    """Write ``jobs`` jobs with a finding and a note each, every car with a forecast."""
    with writing(book.engine) as connection:
        for number in range(jobs // jobs_a_car):
            entries = tuple(_entries(number, jobs_a_car))
            row = {"id": number + 1, "uuid": f"{number:032x}", "made_at": entries[0].made_at}
            connection.execute(sa.insert(tables.car).values(row))
            insert(connection, number + 1, entries)
            work_out(connection, number + 1, entries)
            due = date(2026, 1, 1) + timedelta(days=number % 2000)
            table = tables.standing
            connection.execute(
                sa.update(table).where(table.c.car_id == number + 1).values(
                    due_on=due.isoformat(), due_km=150_000.0, due=_DUE
                )
            )  # fmt: skip


_SPAN = '{"value":1,"low50":1,"high50":1,"low90":1,"high90":1}'
_DUE = f'{{"inspect_at_km":{_SPAN},"inspect_on":null,"not_dirt":null,"reasons":["x"]}}'


def _entries(number: int, jobs: int) -> list[Entry]:
    said: dict[str, Any] = {"name": f"car {number}", "kind": f"kind {number % 200}", "car": _CAR}
    entries = [Entry(1, "car", "2020-01-01T08:00:00.000+00:00", said, software="bellmouth")]
    for job in range(jobs):
        first, day = len(entries) + 1, date(2020, 1, 1) + timedelta(days=300 * job)
        at = f"{day}T09:00:00.000+00:00"
        km = 20_000.0 + 15_000.0 * job
        causes = [{"cause": "deposit", "probability": 1.0, "sizes": {}}] * 40
        finding = {"finding": {"causes": causes}}
        entries += [
            Entry(first, "job", at, {}, first, None, day.isoformat(), km, "bellmouth"),
            Entry(first + 1, "finding", at, finding, first, software="bellmouth"),
            Entry(first + 2, "note", at, {"text": "x" * 200}, first, software="bellmouth"),
        ]
    return entries


def _median_ms(ask: Callable[[], object]) -> tuple[float, float]:
    """What a person waits, and what the processor works; they differ on a busy machine. [ms]"""
    times, worked = [], []
    for _ in range(_TURNS):
        begun, at = time.perf_counter(), time.process_time()
        ask()
        times.append(time.perf_counter() - begun)
        worked.append(time.process_time() - at)
    return 1e3 * statistics.median(times), 1e3 * statistics.median(worked)


def main() -> None:
    """Fill a book and time what a person waits for."""
    from bellmouth.pages.book_document import car_page  # noqa: PLC0415

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--jobs", type=int, default=100_000)
    parser.add_argument("--book", help="an empty book to fill (default: one in a new folder)")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder, Book(given.book or Path(folder)) as book:
        begun = time.perf_counter()
        fill(book, given.jobs)
        print(f"{given.jobs} jobs written in {time.perf_counter() - begun:.0f} s")
        name = f"car {given.jobs // 10}"
        asked = {
            "due list": lambda: book.due(limit=50),
            "list of cars": lambda: book.cars(limit=50),
            "a car's page": lambda: car_page(book.history(name), book.standing(name)),
            "adding a note": lambda: book.add(name, "note", {"text": "x"}),
        }
        for words, ask in asked.items():
            waited, worked = _median_ms(ask)
            print(f"{words:16} {waited:7.1f} ms, processor {worked:.1f} ms (median of {_TURNS})")


if __name__ == "__main__":
    main()
