"""A job card as the page's form asks for it: works, the manual's value, bolts, own learning."""

from dataclasses import dataclass

from markupsafe import Markup
from starlette.datastructures import QueryParams
from starlette.requests import Request

from bellmouth.car.description import Car
from bellmouth.errors import BellmouthError
from bellmouth.finding.result import Finding
from bellmouth.pages.card_drawing import flange_svg
from bellmouth.pages.card_view import CardPage
from bellmouth.pages.site.garage import Garage
from bellmouth.work import Before, make_card
from bellmouth.work.card import Card
from bellmouth.work.works import WorkError, work_titles

__all__ = ["AskedCard", "asked_card", "asked_in", "card_of", "flanges"]

_BOLTS = "Bolts of the throttle's flange are 3, 4 or 6, or not told."
_FIELDS = {
    "--torque": "A tightening torque is a number with its unit, short, as the manual writes it: "
    "8 N m.",
    "--manual-section": "The manual's section has no room on the card. Write it shorter.",
    "--bolts": _BOLTS,
}


@dataclass(frozen=True)
class AskedCard:
    """What was asked for; empty is not told. ``bolts`` of the throttle's flange, as written."""

    works: tuple[str, ...] = ()
    torque: str = ""
    section: str = ""
    bolts: str = ""
    learning: tuple[str, ...] = ()


def asked_card(request: Request) -> AskedCard:
    """What an address asks for."""
    return asked_in(request.query_params)


def asked_in(query: QueryParams) -> AskedCard:
    """What a query asks for; works that there are none of are passed over."""
    return AskedCard(
        works=tuple(one for one in query.getlist("work") if one in work_titles()),
        torque=query.get("torque", "").strip(),
        section=query.get("section", "").strip(),
        bolts=query.get("bolts", "").strip(),
        learning=tuple(dict.fromkeys(query.getlist("learning"))),
    )


def card_of(
    garage: Garage,
    car: Car,
    finding: Finding | None,
    asked: AskedCard,
    before: Before | None = None,
) -> Card:
    """The card; ``before`` is the recording that the finding was made from.

    Raises
    ------
    BellmouthError
        If it cannot be made as it is asked for.
    """
    if finding is None and not asked.works:
        raise BellmouthError("A job card needs a finding or at least one work. Tick the work.")
    bolts = None
    if asked.bolts:
        if not asked.bolts.isdecimal():
            raise BellmouthError(_BOLTS)
        bolts = int(asked.bolts)
    # By the file's own place, never by a path that came from outside.
    learning = [garage.procedures.place(name) for name in asked.learning]
    if asked.torque or bolts is not None:
        bare = make_card(car, finding, asked.works)
        if "renew_gasket" not in bare.works:
            raise BellmouthError(
                "A tightening torque and bolts are for the throttle's flange, and this work leaves "
                "it on. Tick the new gasket as well, or leave both empty."
            )
    try:
        return make_card(
            car, finding, asked.works, torque=asked.torque or None,
            manual_section=asked.section or None, bolts=bolts, learning=learning,
            before=before,
        )  # fmt: skip
    except WorkError as error:
        raise BellmouthError(_sentence(str(error))) from error


def _sentence(error: str) -> str:
    """What the commands say of an option, as the page says it of a field."""
    for option, sentence in _FIELDS.items():
        if error.startswith(f"{option} "):
            return sentence
    return error


def flanges(card: CardPage) -> list[tuple[Markup, str]]:
    """The order in which to tighten each flange, drawn, and its title."""
    return [
        (flange_svg(flange, title), title)
        for flange, title in zip(card.tightening, card.flange_titles, strict=True)
    ]
