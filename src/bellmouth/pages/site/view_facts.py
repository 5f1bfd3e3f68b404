"""What is known of a car and of its job, and correcting it: every correction is a new entry."""

import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any

from fastapi import APIRouter, Form, UploadFile
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from bellmouth.book.entries import Entry
from bellmouth.book.known import plain_car
from bellmouth.book.masking import mask
from bellmouth.book.standing import known_of
from bellmouth.car import COMPLAINTS, car_from_mapping, read_car
from bellmouth.car.description import Car
from bellmouth.errors import BellmouthError
from bellmouth.pages.card_words import Words
from bellmouth.pages.site.car_fields import FIELDS, field_text, value_of
from bellmouth.pages.site.flow import key_of, stages_of
from bellmouth.pages.site.garage import Garage, Visit
from bellmouth.pages.site.rendering import go, page, words_of
from bellmouth.pages.site.uploads import kept_upload
from bellmouth.pages.site.view_cars import distance_km
from bellmouth.pages.site.view_finding import asked_of, made_again

__all__ = ["router"]

router = APIRouter(include_in_schema=False)

_Text = Annotated[str, Form(max_length=200)]
#: Before a field's name: what it held when its form was shown.
_WAS = "was-"


@router.get("/car/{key}/facts")
def facts(request: Request, key: str) -> Response:
    """What is known, to be corrected."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    known = known_of(visit.entries).document
    speak = words_of(request)
    jobs = visit.numbers("job")
    told = {
        "visit": visit, "stages": stages_of(visit.here, ""),
        "kind": known.get("kind", ""), "keep_until": known.get("keep_until", ""),
        "fields": [(one, field_text(known["car"].get(one.key), one, speak)) for one in FIELDS],
        "number": mask(known["identification"]) if known.get("identification") else "",
        "job": jobs[-1] if jobs else None,
        "odometer": _odometer(jobs[-1], speak) if jobs else "", "complaints": COMPLAINTS,
        "practice": garage.is_practice(key), "was": _WAS,
    }  # fmt: skip
    return page(request, "facts.html", told)


@router.post("/car/{key}/facts")
async def correct(request: Request, key: str) -> Response:
    """Correct what is known of the car; a field left empty is unknown."""
    garage: Garage = request.app.state.garage
    form = {name: str(value)[:200] for name, value in (await request.form()).items()}
    speak = words_of(request)

    def change() -> None:
        visit = garage.visit(key)
        old = known_of(visit.entries).document["car"]
        _change(garage, visit, car_from_mapping(_car(old, form, speak)))

    await run_in_threadpool(change)
    return go(f"/car/{key}/facts")


@router.post("/car/{key}/facts/file")
async def from_file(request: Request, key: str, file: UploadFile) -> Response:
    """Take a car file in the place of all that was known of the car."""
    garage: Garage = request.app.state.garage
    visit = await run_in_threadpool(garage.visit, key)
    with tempfile.TemporaryDirectory() as folder:
        path = await kept_upload(file, Path(folder), (".toml",))
        car = await run_in_threadpool(read_car, path)
    await run_in_threadpool(lambda: _change(garage, visit, car))
    return go(f"/car/{key}/facts")


@router.post("/car/{key}/facts/name")
def call(
    request: Request,
    key: str,
    name: _Text = "",
    kind: _Text = "",
    keep_until: _Text = "",
    identification: _Text = "",
    forget: _Text = "",
) -> Response:
    """What the car is called, what it is of, and how long it is kept."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    changes: dict[str, Any] = {"keep_until": keep_until.strip() or None}
    if not garage.is_practice(key):
        changes["kind"] = kind.strip() or None
        changes["new_name"] = name
    if identification.strip() or forget:
        changes["identification"] = None if forget else identification.strip()
    with garage.renaming(visit):
        entry = garage.book.change_car(visit.name, **changes)
        new = key_of(entry.document["name"])
        garage.renamed(key, new)
    return go(f"/car/{new}/facts")


@router.post("/car/{key}/facts/job")
def of_job(
    request: Request, key: str, distance: _Text = "", complaint: _Text = "", on: _Text = ""
) -> Response:
    """Correct the facts of the newest job."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    jobs = visit.numbers("job")
    if not jobs:
        raise BellmouthError("This car has no job yet. Open one in its book.")
    # Left as it was shown, in whole miles perhaps, it stays what it was.
    touched = distance.strip() != _odometer(jobs[-1], words_of(request))
    garage.book.open_job(
        visit.name, distance_km=distance_km(request, distance) if touched else None,
        complaint=complaint or None, on=on.strip() or None, corrects=jobs[-1].number,
    )  # fmt: skip
    _judge_again(garage, key)
    return go(f"/car/{key}/facts")


def _odometer(job: Entry, speak: Words) -> str:
    """A job's odometer as its field shows it; empty where nobody said."""
    return "" if job.distance_km is None else f"{speak.scaled(job.distance_km, 'km'):.0f}"


def _change(garage: Garage, visit: Visit, car: Car) -> None:
    """Say anew what is known, and judge again; what is known already is no new entry."""
    if plain_car(car) == known_of(visit.entries).document["car"]:
        return
    garage.book.change_car(visit.name, car=car)
    _judge_again(garage, visit.key)


def _judge_again(garage: Garage, key: str) -> None:
    """What was judged of the car as it was known before is judged again."""
    visit = garage.visit(key)
    if visit.numbers("finding"):
        asked = asked_of(visit)
        made_again(garage, visit, asked)


def _car(old: Mapping[str, Any], form: Mapping[str, str], speak: Words) -> dict[str, Any]:
    """A car as a form tells it; what the form does not ask for stays."""
    asked = {one.key for one in FIELDS}
    car = {key: value for key, value in old.items() if key not in asked}
    for one in FIELDS:
        # What was not touched stays as it is, to its last digit; also where another device changed
        # it after this form was shown.
        shown = form.get(f"{_WAS}{one.key}", field_text(old.get(one.key), one, speak))
        if form.get(one.key, "").strip() == shown.strip():
            told = old.get(one.key)
        else:
            told = value_of(form.get(one.key, ""), one, speak)
        if told is not None:
            car[one.key] = told
    return car
