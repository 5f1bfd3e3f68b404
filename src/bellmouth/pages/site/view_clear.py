"""Clearing codes from the page, as ``bellmouth clear`` does it: what is lost is read and shown
first, it is refused while the engine runs or the car moves, and it is asked.

Only a form that was sent from what was shown clears, once, and with the word typed. The car is read
again before, and holds the same codes, or nothing is cleared.
"""

from typing import TYPE_CHECKING, Annotated, Any

from fastapi import APIRouter, Form, Query
from starlette.requests import Request
from starlette.responses import Response

from bellmouth.errors import BellmouthError
from bellmouth.pages.clearing_words import (
    CLEAR,
    STAYS,
    clearing_words,
    is_the_word,
    stored_codes,
)
from bellmouth.pages.site.flow import stages_of
from bellmouth.pages.site.garage import Garage
from bellmouth.pages.site.reaching import adapter_for
from bellmouth.pages.site.rendering import go, page, words_of
from bellmouth.pages.site.typed import count_of

if TYPE_CHECKING:
    from bellmouth.bus.reports import Cleared, Clearing

__all__ = ["router"]

router = APIRouter(include_in_schema=False)

_Text = Annotated[str, Form(max_length=200)]


@router.post("/car/{key}/clear")
def would_clear(
    request: Request,
    key: str,
    interface: _Text = "",
    channel: _Text = "",
    bitrate: Annotated[str, Form(max_length=9)] = "",
    off: _Text = "",
) -> Response:
    """Read what would be lost, and what speaks against it; nothing is changed.

    ``off`` switches a practice car's engine off first, which nobody can do for a real one.
    """
    from bellmouth.bus.opening import open_client  # noqa: PLC0415 - loads the CAN libraries

    garage: Garage = request.app.state.garage
    garage.visit(key)
    speed = count_of(bitrate, "Bit rate")
    adapter = adapter_for(garage, key, interface, channel, speed, off=bool(off))
    with open_client(adapter.interface, adapter.channel, adapter.bitrate) as car:
        clearing = car.would_clear()
    told = {
        "lost": clearing_words(clearing), "against": clearing.against,
        "stays": STAYS if any(clearing.codes.permanent.values()) else "",
        "codes": stored_codes(clearing.codes),
        "interface": interface, "channel": channel, "bitrate": speed,
    }  # fmt: skip
    return go(f"/car/{key}/clear?read={garage.read.keep('clear', key, told)}")


@router.get("/car/{key}/clear")
def about_to_clear(
    request: Request, key: str, read: Annotated[str, Query(max_length=40)] = ""
) -> Response:
    """What was read just now of what clearing would lose; the question where nothing is against."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    told = garage.read.get("clear", key, read)
    if told is None:
        return go(f"/car/{key}/codes#clear")
    more = {"visit": visit, "stages": stages_of(visit.here, "codes"), "word": CLEAR, "read": read}
    return page(request, "clear.html", {**told, **more, "practice": garage.is_practice(key)})


@router.post("/car/{key}/clear/now")
def clear_now(
    request: Request,
    key: str,
    read: _Text = "",
    word: _Text = "",
) -> Response:
    """Clear, where the word was typed and the car still holds the codes that were shown."""
    from bellmouth.bus.opening import open_client  # noqa: PLC0415 - loads the CAN libraries

    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    if not is_the_word(word, words_of(request)):
        raise BellmouthError("The word was not typed. Nothing was cleared.")
    shown = garage.read.get("clear", key, read)
    if shown is None:
        raise BellmouthError(
            "What would be lost was read too long ago. Nothing was cleared. Read it again."
        )
    where = (shown["interface"], shown["channel"], shown["bitrate"])
    adapter = adapter_for(garage, key, *where, off=False)
    with open_client(adapter.interface, adapter.channel, adapter.bitrate) as car:
        clearing = car.would_clear()
        if stored_codes(clearing.codes) != shown["codes"]:
            raise BellmouthError(
                "The car holds other codes than those that were shown. Nothing was cleared. "
                "Read again what would be lost."
            )
        cleared = car.clear(clearing)
    garage.read.drop(read)
    garage.book.add(visit.name, "note", _document(clearing, cleared))
    return go(f"/car/{key}/cleared")


@router.get("/car/{key}/cleared")
def cleared(request: Request, key: str) -> Response:
    """What the last clearing did, from the book."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    done = [one for one in visit.everywhere("note") if "cleared" in one.document]
    told = {"visit": visit, "stages": stages_of(visit.here, "codes"), "done": done[-1:]}
    return page(request, "cleared.html", told)


def _document(clearing: "Clearing", done: "Cleared") -> dict[str, Any]:
    """What the book keeps of it: what was given up, who cleared and who refused."""
    given_up = ", ".join(stored_codes(clearing.codes)) or "none"
    text = f"Codes cleared: {given_up}." if done.cleared else f"Codes not cleared: {given_up}."
    return {
        "text": text, "given_up": list(stored_codes(clearing.codes)),
        "cleared": [f"{one:02X}" for one in done.cleared],
        "refused": {f"{one:02X}": why for one, why in done.refused.items()},
    }  # fmt: skip
