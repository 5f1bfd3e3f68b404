"""Comebacks and two people's readings, from entries to shares."""

from datetime import date

import pytest

from bellmouth.book import Book
from bellmouth.book.comebacks import UNKNOWN, JobDone, count
from bellmouth.errors import BookError
from tests.book.made import CAR, DEMO, a_finding


def job(number: int, back: int | None = None, **said: frozenset[str] | str) -> JobDone:
    on = date(2026, 1, 1)
    came = None if back is None else date.fromordinal(on.toordinal() + back)
    plain = {"works": frozenset({"reseal"}), "procedures": frozenset(), "gasket": UNKNOWN,
             "persons": frozenset()}  # fmt: skip
    return JobDone("one", number, on, came_back_on=came, **(plain | said))  # type: ignore[arg-type]


def test_a_job_counts_once_it_has_had_its_time() -> None:
    done = [job(1, back=10), job(2), job(3, back=200)]
    young = count(done, date(2026, 2, 1))
    assert (young.every.hits, young.every.cases, young.waiting) == (0, 0, 3)
    old = count(done, date(2026, 12, 1))
    assert (old.every.hits, old.every.cases, old.waiting) == (1, 3, 0)
    longer = count(done, date(2027, 12, 1), within_days=365)
    assert (longer.every.hits, longer.every.cases, longer.waiting) == (2, 3, 0)


def test_groups_are_counted_and_what_is_not_written_down_is_said() -> None:
    done = [
        job(1, gasket="new", persons=frozenset({"ann"})),
        job(2, 5, gasket="kept", works=frozenset({"reseal", "clean_plate"})),
        job(3, gasket="kept", procedures=frozenset({"idle_air"})),
    ]
    found = count(done, date(2026, 12, 1))

    def counts(groups: object) -> dict[str, tuple[int, int]]:
        return {one.name: (one.share.hits, one.share.cases) for one in groups}  # type: ignore[attr-defined]

    assert counts(found.gaskets) == {"kept": (1, 2), "new": (0, 1)}
    assert counts(found.works) == {"reseal": (1, 3), "clean_plate": (1, 1)}
    assert counts(found.procedures) == {"idle_air": (0, 1)}
    assert counts(found.persons) == {"ann": (0, 1), UNKNOWN: (1, 2)}


@pytest.fixture
def worked(book: Book) -> Book:
    book.add_car("blue one", CAR)
    first = book.open_job("blue one", on="2024-01-10", distance_km=80_000.0)
    book.add_recording("blue one", DEMO / "recording.csv", by="ann")
    book.add_recording("blue one", DEMO / "recording.csv", by="bo")
    book.add_recording("blue one", DEMO / "recording.csv", by="bo")
    book.add("blue one", "work", {"done": ["reseal"], "gasket": "kept", "by": "ann"})
    book.open_job("blue one", on="2024-02-01", distance_km=80_500.0, comeback_of=first.job)
    book.add("blue one", "work", {"done": ["renew_gasket"], "gasket": "new", "by": "bo"})
    return book


def test_the_book_counts_its_comebacks(worked: Book) -> None:
    found = worked.comebacks()
    assert (found.every.hits, found.every.cases) == (1, 2)
    assert {one.name: one.share.hits for one in found.gaskets} == {"kept": 1, "new": 0}
    assert {one.name: one.share.hits for one in found.persons} == {"ann": 1, "bo": 0}


def test_a_job_is_the_comeback_of_an_earlier_one_only(worked: Book) -> None:
    with pytest.raises(BookError, match="Job 77 is no earlier job of this car"):
        worked.open_job("blue one", on="2024-03-01", comeback_of=77)
    assert worked.comebacks().every.cases == 2


def test_readings_of_two_people_are_compared(worked: Book) -> None:
    (opening,) = worked.spreads()
    assert opening.name.startswith("idle opening")
    assert opening.spread.readings == 3
    assert opening.spread.persons == 2
    assert opening.spread.again is not None
    assert opening.spread.again.value == pytest.approx(0.0)  # it is the very same recording


def test_a_finding_made_again_is_no_second_reading(local: Book) -> None:
    local.add_car("blue one", CAR)
    local.open_job("blue one", distance_km=80_000.0)
    for who, size in (("ann", 7.0), ("bo", 9.0), ("bo", 9.4)):
        number = local.add_recording("blue one", DEMO / "recording.csv", by=who).number
        for wrong in (1.0, 0.0):  # asked first without a check's result, and then with it
            found = {**a_finding(size + wrong, 1.0), "recording": number}
            local.add("blue one", "finding", found)
    (size_read,) = [one for one in local.spreads() if one.name == "size of deposit"]
    assert size_read.spread.readings == 3
    assert size_read.spread.again is not None
    assert size_read.spread.again.value == pytest.approx(0.4 / 2**0.5)
