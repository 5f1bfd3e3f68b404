"""What a new entry must agree with: the clock, the days and the odometer of those before it."""

import math
import re
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta

from bellmouth.book.entries import FARTHEST_KM, Entry, effective
from bellmouth.errors import BookError

__all__ = ["checked_comeback", "checked_date", "checked_distance", "odometer", "stamp"]

# Two computers that write one book never agree to the second.
_CLOCKS_DIFFER = timedelta(minutes=10)
# The standard that a book's cars speak is younger; a year that was mistyped would make a car stand.
_FIRST_YEAR = 1980
# No odometer shows thousandths: three figures behind a point or a comma are thousands.
_IN_THOUSANDS = re.compile(r"[1-9]\d{0,2}(?:[.,'’ \u00a0\u202f]\d{3})+")


def stamp(now: datetime, last: str | None) -> str:
    """When an entry is written, never before the last one of its car (ISO 8601, UTC).

    Raises
    ------
    BookError
        If the clock is well before the last entry.
    """
    text = now.astimezone(UTC).isoformat(timespec="milliseconds")
    if last is None or text >= last:
        return text
    if datetime.fromisoformat(last) - now > _CLOCKS_DIFFER:
        raise BookError(
            f"The clock says {text[:16]} UTC, but this car's last entry was written at "
            f"{last[:16]} UTC. Set the computer's clock; nothing was written."
        )
    return last


def odometer(text: str) -> float:
    """What an odometer shows, as people write it: 142000, 142.000, 142,000 and 142 000 are one.

    Raises
    ------
    ValueError
        If it is no number.
    """
    plain = text.strip()
    if _IN_THOUSANDS.fullmatch(plain):
        return float(re.sub(r"\D", "", plain))
    return float(plain.replace(",", "."))


def checked_comeback(number: int | None, entries: Sequence[Entry], job: int | None) -> None:
    """Refuse a comeback of a job that there is not, or that is not before this one.

    Raises
    ------
    BookError
        One sentence for either.
    """
    if number is None:
        return
    there = sorted({one.job for one in entries if one.kind == "job" and one.job is not None})
    earlier = [one for one in there if job is None or one < job]
    if number not in earlier:
        known = ", ".join(map(str, earlier)) or "none"
        raise BookError(f"Job {number} is no earlier job of this car. Earlier jobs: {known}.")


def checked_date(
    on: date | str | None, entries: Sequence[Entry], today: date, corrects: int | None = None
) -> str:
    """The day of a job (ISO 8601): not before the last one's, not after today.

    Raises
    ------
    BookError
        If it is no day, or out of order.
    """
    try:
        day = today if on is None else on if isinstance(on, date) else date.fromisoformat(on)
    except ValueError:
        raise BookError(f"{on!r} is no date. Write it like 2026-05-31.") from None
    if day > today + timedelta(days=1):
        raise BookError(f"{day} is in the future: today is {today}. Check the date and the clock.")
    if day.year < _FIRST_YEAR:
        raise BookError(f"{day} is before any car that a book is for. Write it like 2026-05-31.")
    before, after = _neighbours(entries, corrects)
    for job in before:
        if job.on_date and day.isoformat() < job.on_date:
            raise BookError(
                f"{day} is before the last job (job {job.job}, on {job.on_date}). "
                "Check the date and the computer's clock."
            )
    for job in after:
        if job.on_date and day.isoformat() > job.on_date:
            raise BookError(f"{day} is after the next job (job {job.job}, on {job.on_date}).")
    return day.isoformat()


def checked_distance(
    distance_km: float | None, entries: Sequence[Entry], corrects: int | None = None
) -> float | None:
    """The odometer of a job, None where it is not known. [km]

    Raises
    ------
    BookError
        If it is impossible, or runs backwards.
    """
    if distance_km is None:
        return None
    if not (math.isfinite(distance_km) and 0 <= distance_km <= FARTHEST_KM):
        raise BookError(f"{distance_km:g} km is impossible for an odometer.")
    before, after = _neighbours(entries, corrects)
    for job in before:
        if job.distance_km is not None and distance_km < job.distance_km:
            raise BookError(
                f"{distance_km:.0f} km is less than the {job.distance_km:.0f} km of job {job.job} "
                f"({job.on_date}): an odometer does not run backwards. If that one was wrong, "
                f"correct it first (bellmouth book open CAR --corrects {job.job})."
            )
    later = [job.distance_km for job in after if job.distance_km is not None]
    if later and distance_km > min(later):
        raise BookError(
            f"{distance_km:.0f} km is more than the {min(later):.0f} km of the job after it."
        )
    return float(distance_km)


def _neighbours(entries: Sequence[Entry], corrects: int | None) -> tuple[list[Entry], list[Entry]]:
    """The jobs before and after the one that is corrected, or all of them before a new one."""
    jobs = [entry for entry in effective(entries) if entry.kind == "job"]
    if corrects is None:
        return jobs, []
    own = next((entry.job for entry in entries if entry.number == corrects), corrects)
    return (
        [job for job in jobs if (job.job or 0) < (own or 0)],
        [job for job in jobs if (job.job or 0) > (own or 0)],
    )
