"""What the car itself says: its codes, freeze frames, identity and readiness. Nothing is changed;
clearing has a room of its own, ``view_clear``."""

import tempfile
from pathlib import Path
from typing import Annotated, Any

from fastapi import APIRouter, Form, Query, UploadFile
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from bellmouth.bus.readiness import Rules, advise, read_rules
from bellmouth.pages.site.flow import stages_of
from bellmouth.pages.site.garage import Garage, Visit
from bellmouth.pages.site.live import Adapter
from bellmouth.pages.site.reaching import adapter_for
from bellmouth.pages.site.rendering import go, page
from bellmouth.pages.site.typed import count_of
from bellmouth.pages.site.uploads import kept_upload

__all__ = ["router"]

router = APIRouter(include_in_schema=False)


@router.get("/car/{key}/codes")
def codes(request: Request, key: str, read: Annotated[str, Query(max_length=40)] = "") -> Response:
    """What was read just now; which adapter to read with; and how codes are cleared."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    return _shown(request, visit, garage.read.get("codes", key, read))


@router.post("/car/{key}/codes")
def read_codes(
    request: Request,
    key: str,
    interface: Annotated[str, Form()] = "",
    channel: Annotated[str, Form()] = "",
    bitrate: Annotated[str, Form(max_length=9)] = "",
    show_number: Annotated[str, Form()] = "",
) -> Response:
    """Read the codes and the monitors, keep them, and show them."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    adapter = adapter_for(garage, key, interface, channel, count_of(bitrate, "Bit rate"), off=True)
    told = _read(adapter, read_rules(garage.rules_file), mask_vin=not show_number)
    kept = {**told, "controllers": [_without_number(one) for one in told["controllers"]]}
    garage.book.add(visit.name, "note", {"text": _sentence(told), "codes": kept})
    return go(f"/car/{key}/codes?read={garage.read.keep('codes', key, told)}")


@router.post("/rules")
async def rules(
    request: Request, car: Annotated[str, Form()], file: UploadFile | None = None
) -> Response:
    """A table of what holds at a place, kept for every car; without one, back to our own."""
    garage: Garage = request.app.state.garage
    visit = await run_in_threadpool(garage.visit, car)
    if file is None:
        garage.keep_rules(None)
    else:
        with tempfile.TemporaryDirectory() as folder:
            path = await kept_upload(file, Path(folder), (".toml",))
            await run_in_threadpool(read_rules, path)
            garage.keep_rules(path.read_bytes())
    return go(f"/car/{visit.key}/codes")


def _read(adapter: Adapter, rules: Rules, *, mask_vin: bool) -> dict[str, Any]:
    from bellmouth.bus.opening import open_client  # noqa: PLC0415 - loads the CAN libraries
    from bellmouth.pages.car_document import codes_document, monitors_document  # noqa: PLC0415

    with open_client(adapter.interface, adapter.channel, adapter.bitrate) as car:
        found, monitors = car.codes(), car.monitors()
        told = codes_document(
            car.controllers, found, car.freeze_frames(), car.identity(mask_vin=mask_vin)
        )
        told["ready"] = monitors_document(monitors, advise(monitors, found, rules))
        told["notes"] = list(car.notes)
    return told


def _without_number(controller: dict[str, Any]) -> dict[str, Any]:
    """What the book keeps of a controller: never the identification number."""
    return {name: value for name, value in controller.items() if name != "vehicle_number"}


def _sentence(told: dict[str, Any]) -> str:
    found = {
        one["code"]
        for controller in told["controllers"]
        for kind in ("confirmed", "pending", "permanent")
        for one in controller[kind] or []
    }
    listed = ", ".join(sorted(found)) or "none"
    verdict = told["ready"]["verdict"]
    # "drive" alone is also a kind of operating point, and another word in other languages.
    return f"Codes read: {listed}. Inspection: {'drive first' if verdict == 'drive' else verdict}."


def _shown(request: Request, visit: Visit, told: dict[str, Any] | None) -> Response:
    garage: Garage = request.app.state.garage
    return page(
        request, "codes.html",
        {"visit": visit, "stages": stages_of(visit.here, "codes"), "told": told,
         "practice": garage.is_practice(visit.key), "adapter": garage.reached(visit.key),
         "place": read_rules(garage.rules_file).place if garage.rules_file else ""},
    )  # fmt: skip
