"""Cars, histories and a clock for the tests of the book."""

from datetime import datetime, timedelta
from importlib.resources import files
from pathlib import Path
from typing import Any

from bellmouth.book import Book

__all__ = ["CAR", "DEMO", "NUMBER", "Clock", "a_finding", "a_full_car", "a_photo"]

CAR: dict[str, Any] = {"displacement_l": 2.0, "metering": "airflow", "cylinders": 4}
NUMBER = "ABCDE6GH7JK123456"
DEMO = Path(str(files("bellmouth") / "data" / "demo"))


class Clock:
    """A time of day that moves by a step each time it is looked at, or as it is set."""

    def __init__(self, now: datetime, step: timedelta) -> None:
        self.now, self.step = now, step

    def __call__(self) -> datetime:
        self.now += self.step
        return self.now

    def pass_days(self, days: float) -> None:
        """Let time pass, or run back."""
        self.now += timedelta(days=days)


def a_finding(deposit_mm2: float, half_mm2: float, sure: float = 0.97) -> dict[str, Any]:
    """What a finding's entry says where the plate is dirty, and the half-width of its 90 %."""
    size = {
        "value": deposit_mm2,
        "low": deposit_mm2 - half_mm2,
        "high": deposit_mm2 + half_mm2,
        "unit": "mm2",
    }
    causes = [
        {"cause": "deposit", "probability": sure, "sizes": {"deposit": size}},
        {"cause": "healthy", "probability": 1.0 - sure, "sizes": {}},
    ]
    prior = {"deposit": 0.1, "healthy": 0.9}
    return {"finding": {"causes": causes, "prior": prior}}


def a_full_car(book: Book, photo: Path, name: str = "blue one") -> None:
    """A car with an entry of every kind but a finding and a proof of its own."""
    book.add_car(name, CAR, kind="two litre", identification=NUMBER, keep_until="2031-01-01")
    book.open_job(name, distance_km=84_000.0, complaint="high idle")
    book.add_recording(name, DEMO / "recording.csv")
    book.add(name, "finding", a_finding(7.5, 1.5))
    book.add(name, "work", {"done": ["clean_plate"]})
    book.add(name, "card", {"works": ["clean_plate"], "tally": 0})
    book.add(
        name, "attempt", {"procedure": "idle-air", "judgement": "met", "margins_s": [0.4, -0.1]}
    )
    book.add(name, "proof", {"proof": {"verdict": "better"}})
    first = book.add(name, "note", {"text": f"oil mist; papers of {NUMBER.lower()}"})
    book.add(name, "note", {"text": "oil mist, much of it"}, corrects=first.number)
    book.add_photo(name, photo, text="the bore, before")


def a_photo(path: Path) -> Path:
    """Write a photo taken on its side, with the place it was taken; its path."""
    from PIL import Image  # noqa: PLC0415

    exif = Image.Exif()
    exif[0x0112] = 6  # turned by a quarter
    exif[0x010F] = "MAKERMARK"
    exif[0x8825] = {1: "N", 2: (48.0, 8.0, 14.0), 3: "E", 4: (11.0, 34.0, 31.0)}
    picture = Image.linear_gradient("L").resize((80, 60)).convert("RGB")
    xmp = b"<x:xmpmeta>XMPMARK</x:xmpmeta>"
    picture.save(path, exif=exif, comment=b"COMMENTMARK", xmp=xmp)
    return path
