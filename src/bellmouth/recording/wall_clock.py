"""Times of day to seconds: many loggers write what the clock on the wall shows."""

import re
from datetime import date

__all__ = ["WallClock", "is_time_of_day"]

# A month in words, in whichever language, stands between the day and the year or before both.
_MONTH = r"[a-zäéû]{3,9}\.?"
_DATE = (
    r"\d{1,4}[-./]\d{1,2}[-./]\d{1,4}"
    rf"|\d{{1,2}}\.?[-/ ]?{_MONTH}[-/ ]?\d{{2,4}}"
    rf"|(?:[a-z]{{2,3}}\.?,? )?{_MONTH} \d{{1,2}}(?:,? \d{{4}})?"
)
_MOMENT = re.compile(
    rf"(?:(?P<date>{_DATE})(?:\s*[T,]\s*|\s+))?"
    r"(?P<hour>\d{1,2}):(?P<minute>[0-5]\d):(?P<second>[0-5]\d(?:[.,]\d+|:\d{3})?)"
    r"(?:\s*(?P<half>[AP])\.?M\.?)?"
    r"(?:\s*(?:Z|UTC|[+-]\d{2}:?\d{2}|[A-Z]{3,4}(?:[+-]\d{2}:?\d{2})?(?: \d{4})?))?",
    re.ASCII | re.IGNORECASE,
)
# Minutes and seconds, as a spreadsheet shows a time of day and writes it down again without hours.
_SHORT = re.compile(r"(?P<minute>\d{1,3}):(?P<second>[0-5]\d[.,]\d+)", re.ASCII)
_HOUR_S = 3_600.0
_DAY_S = 86_400.0


def is_time_of_day(cell: str) -> bool:
    """Whether a cell holds hours, minutes and seconds, with or without a date before them, or
    minutes and seconds with decimals."""
    return any(kind.fullmatch(cell.strip()) for kind in (_MOMENT, _SHORT))


class WallClock:
    """Reads the cells of one column in the order of the file, and counts the days.

    A date that begins with the year is read, and one with points, which begins with the day
    wherever it is written so. Of any other order of day and month, and of a month in words, it is
    only seen that it changed, and without one that the clock fell back by more than half a day:
    either is the next day; minutes alone that fall back by more than half an hour are of the next
    hour. What a zone adds is not looked at, as one logger has one.
    """

    def __init__(self) -> None:
        self._day = 0
        self._dated = ""
        self._last_s = 0.0
        self._hour_s = 0.0

    def seconds(self, cell: str) -> float | None:
        """Seconds on a clock that does not begin again at midnight; None where it is no time of
        day. [s]"""
        found = _MOMENT.fullmatch(cell.strip())
        if found is None:
            short = _SHORT.fullmatch(cell.strip())
            return None if short is None else self._of_hour(short)
        hour = int(found["hour"])
        if found["half"]:
            hour = hour % 12 + (12 if found["half"].lower() == "p" else 0)
        if hour > 23:
            return None
        of_day = 3600.0 * hour + 60.0 * int(found["minute"])
        of_day += float(found["second"].replace(",", ".").replace(":", "."))
        self._count_day(found["date"] or "", of_day)
        self._last_s = of_day
        return _DAY_S * self._day + of_day

    def _of_hour(self, short: re.Match[str]) -> float:
        """Seconds of a cell whose hour is lost. [s]"""
        of_hour = 60.0 * int(short["minute"]) + float(short["second"].replace(",", "."))
        if of_hour < self._last_s - _HOUR_S / 2:
            self._hour_s += _HOUR_S
        self._last_s = of_hour
        return self._hour_s + of_hour

    def _count_day(self, dated: str, of_day_s: float) -> None:
        if dated == self._dated:
            self._day += not dated and of_day_s < self._last_s - _DAY_S / 2
            return
        try:
            self._day = date.fromisoformat(_iso(dated)).toordinal()
        except ValueError:
            self._day += bool(self._dated)
        self._dated = dated


def _iso(dated: str) -> str:
    """A date of day, month and year with points, the year first."""
    parts = dated.split(".")
    if len(parts) != 3 or len(parts[0]) > 2 or len(parts[2]) not in {2, 4}:
        return dated
    day, month, year = parts
    return f"{year if len(year) == 4 else f'20{year}'}-{month:0>2}-{day:0>2}"
