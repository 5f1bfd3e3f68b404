"""The first page: cars of the book, a new one, and a practice car one tap away."""

import secrets
import tempfile
import tomllib
from pathlib import Path
from typing import Annotated

from fastapi import APIRouter, Form
from starlette.requests import Request
from starlette.responses import Response

from bellmouth.book.rules import checked_distance, odometer
from bellmouth.car import COMPLAINTS
from bellmouth.car.complaint import parse_complaint
from bellmouth.errors import BellmouthError
from bellmouth.finding.causes import CAUSES
from bellmouth.pages.site.car_fields import BY_KEY, value_of
from bellmouth.pages.site.flow import key_of
from bellmouth.pages.site.garage import Garage
from bellmouth.pages.site.rendering import go, page, words_of
from bellmouth.pages.site.typed import number_of

__all__ = ["distance_km", "router"]

router = APIRouter(include_in_schema=False)

_KM_PER_MILE = 1.609344
#: What a practice car keeps of itself, and to spare. [byte]
_ROOM_BYTES = 1 << 16
_CAUSES = ("healthy", *(name for name in CAUSES))
_PRACTICE_FAULTS = ("leak", "meter_low", "fuel_low", "deposit", "learned_stale", "healthy")


def _garage(request: Request) -> Garage:
    garage: Garage = request.app.state.garage
    return garage


@router.get("/")
def first(request: Request) -> Response:
    """The list of cars and the form for a new one."""
    book = _garage(request).book
    told = {"cars": book.cars(limit=200), "complaints": COMPLAINTS, "causes": _CAUSES}
    return page(request, "first.html", told)


@router.post("/cars")
def new_car(
    request: Request,
    name: Annotated[str, Form()],
    displacement_l: Annotated[str, Form()],
    metering: Annotated[str, Form()],
    idle_rpm: Annotated[str, Form()] = "",
    distance: Annotated[str, Form()] = "",
    complaint: Annotated[str, Form()] = "",
) -> Response:
    """Begin a car and its first job."""
    book = _garage(request).book
    # Before the car is in the book: corrected and sent again, it would be there already.
    odometer_km = checked_distance(distance_km(request, distance), ())
    said = parse_complaint(complaint) if complaint else None
    typed = {"displacement_l": displacement_l, "metering": metering, "idle_rpm": idle_rpm}
    speak = words_of(request)
    car = {key: value_of(text, BY_KEY[key], speak) for key, text in typed.items() if text.strip()}
    called = book.add_car(name, car).document["name"]
    book.open_job(called, distance_km=odometer_km, complaint=said)
    return go(f"/car/{key_of(called)}/record")


@router.post("/practice")
def practice(
    request: Request,
    fault: Annotated[str, Form(max_length=60)] = "",
    size: Annotated[str, Form(max_length=60)] = "",
    seed: Annotated[str, Form(max_length=12)] = "",
    variant: Annotated[str, Form(max_length=1)] = "A",
) -> Response:
    """A practice car: with something wrong that the page does not tell, or as it is asked for.

    ``size`` is in the finding's unit, one number a cause; the same seed is the same car.
    """
    from bellmouth.car.reader import car_from_mapping  # noqa: PLC0415
    from bellmouth.pages.site.live import Practice  # noqa: PLC0415

    garage = _garage(request)
    _refuse_closed(garage.folder)
    number = _whole(seed) if seed.strip() else 1 + secrets.randbelow(9_000)
    name, again = f"Practice car {number}", 2
    while garage.book.has(name):
        if not seed.strip():
            number += 1
        name = f"Practice car {number}" + (f" ({again})" if seed.strip() else "")
        again += 1
    made = Practice(
        fault.strip() or secrets.choice(_PRACTICE_FAULTS), number, variant=variant,
        state_file=garage.state_file(key_of(name)), sizes=_sizes(size),
    )  # fmt: skip
    described = tomllib.loads(made.car.toml())
    complaint = described.pop("complaint", None)
    try:
        garage.book.add_car(name, car_from_mapping(described), kind="practice")
        garage.book.open_job(name, complaint=complaint)
    except BaseException:
        made.close()  # nobody would ever ask it again
        raise
    garage.practise(key_of(name), made)
    return go(f"/car/{key_of(name)}/record")


@router.post("/car/{key}/job")
def new_job(
    request: Request,
    key: str,
    distance: Annotated[str, Form()] = "",
    complaint: Annotated[str, Form()] = "",
    comeback: Annotated[str, Form()] = "",
) -> Response:
    """Another job on a car that is in the book; ``comeback`` where the last one came back."""
    garage = _garage(request)
    visit = garage.visit(key)
    odometer_km = distance_km(request, distance)
    garage.book.open_job(
        visit.name, distance_km=odometer_km, complaint=complaint or None,
        comeback_of=visit.job if comeback else None,
    )  # fmt: skip
    return go(f"/car/{key}/record")


def _refuse_closed(folder: Path) -> None:
    """Better told of the disk than of a file of the practice car's that nobody chose."""
    with tempfile.TemporaryFile(dir=folder) as there:
        there.write(bytes(_ROOM_BYTES))


def _whole(text: str) -> int:
    """Which practice car, as a whole number."""
    told = text.strip()
    if not told.isdecimal():
        raise BellmouthError(f'Which car: "{told}" is not a whole number. Write it as 12.')
    return int(told)


def _sizes(text: str) -> list[float] | None:
    """Sizes of a practice car's faults; None takes a typical one."""
    parts = text.replace(";", " ").replace("+", " ").split()
    return [number_of(one, "Size") for one in parts] or None


def distance_km(request: Request, text: str) -> float | None:
    """A distance in the reader's unit, None where none was given. [km]"""
    if not text.strip():
        return None
    try:
        told = odometer(text)
    except ValueError as error:
        raise BellmouthError(f'Odometer: "{text}" is not a number. Write it as 142000.') from error
    return told * _KM_PER_MILE if words_of(request).units == "us" else told
