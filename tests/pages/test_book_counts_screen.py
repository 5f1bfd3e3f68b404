"""Comebacks and spreads of readings in words."""

import io

from rich.console import Console

from bellmouth.book.comebacks import Comebacks
from bellmouth.book.readers import Quantity
from bellmouth.book.shares import share_of
from bellmouth.book.spread import spread_of
from bellmouth.pages.book_counts_screen import print_comebacks, print_spreads
from bellmouth.pages.card_words import ENGLISH
from bellmouth.pages.teller import Teller


def _told(found: Comebacks | tuple[Quantity, ...]) -> str:
    out = Console(file=io.StringIO(), width=400)
    if isinstance(found, Comebacks):
        print_comebacks(found, Teller(out, ENGLISH))
    else:
        print_spreads(found, Teller(out, ENGLISH))
    return str(out.file.getvalue())  # type: ignore[attr-defined]


def _young(waiting: int) -> Comebacks:
    return Comebacks(share_of(0, 0), waiting, 90, (), (), (), ())


def test_jobs_that_are_too_young_are_told_with_when_they_count() -> None:
    assert "1 job younger than 90 days" in _told(_young(1))
    assert "2 jobs younger than 90 days" in _told(_young(2))
    assert "younger" not in _told(_young(0))


def test_readings_of_one_car_are_not_those_of_cars() -> None:
    one = Quantity("idle_opening", "%", spread_of([{"ann": [5.0, 5.2], "bo": [5.1]}]))
    told = _told((one,))
    assert "3 readings by 2 people of 1 car (" in told
    assert "A range holds the value nine times in ten." in told
    alone = Quantity("idle_opening", "%", spread_of([{"ann": [5.0, 5.2]}, {"ann": [6.0, 6.1]}]))
    assert "4 readings by 1 person of 2 cars (" in _told((alone,))
