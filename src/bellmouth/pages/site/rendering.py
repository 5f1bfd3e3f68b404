"""Templates and answers of the page, each in the reader's own language and units."""

import json
import re
from collections.abc import Iterable, Mapping
from datetime import date, datetime
from typing import Any, get_args

from jinja2 import pass_context
from jinja2.runtime import Context
from markupsafe import escape
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse

from bellmouth import __version__
from bellmouth.j1979.parameters import names, unit_of
from bellmouth.pages.bound import bound
from bellmouth.pages.card_catalogue import LANGUAGES
from bellmouth.pages.card_words import Units, Words
from bellmouth.pages.metered import shown_cause
from bellmouth.pages.page_templates import said, template_environment
from bellmouth.pages.site.assets import static
from bellmouth.pages.site.flow import key_of
from bellmouth.pages.site.once import marked, told_in
from bellmouth.pages.us_units import unit_of_reading
from bellmouth.pages.words import SAFETY, chance, name_words, spoken
from bellmouth.work.phrases import Quantity

__all__ = ["LANGUAGE", "UNITS", "called", "go", "light_of", "moment", "page", "sheet", "warm",
           "words_of"]  # fmt: skip

#: Cookies that hold what the reader chose.
LANGUAGE, UNITS = "bellmouth_language", "bellmouth_units"
#: One more, which the page's script sets.
_LIGHT, _LIGHTS = "bellmouth_light", frozenset({"day", "sun", "garage"})

#: What a form's page was told in, as its mark has it.
_TOLD_IN = {
    f"{language}.{units}": Words(language, units)
    for language in LANGUAGES for units in get_args(Units)
}  # fmt: skip

#: What a practice car is called in the book, whatever the language.
_PRACTICE_NAME = re.compile(r"Practice car \d+(?: \(\d+\))?")


@pass_context
def _called(context: Context, name: str) -> str:
    return called(name, context["speak"])


def called(name: str, speak: Words) -> str:
    """What a car is called: as people call it, but a practice car in the reader's language."""
    return speak.told(name) if _PRACTICE_NAME.fullmatch(name) else name


def moment(stamp: str) -> str:
    """When an entry was written, to the minute by this machine's clock; the book keeps UTC."""
    return datetime.fromisoformat(stamp).astimezone().strftime("%Y-%m-%d %H:%M")


_templates = template_environment()
_templates.filters["key"] = key_of
_templates.filters["chance"] = chance
_templates.filters["cause"] = name_words
_templates.filters["metered"] = shown_cause
_templates.filters["spoken"] = spoken
_templates.filters["called"] = _called
_templates.filters["moment"] = moment
_templates.globals["static"] = static()


def warm(*templates: str) -> None:
    """Make templates ready, so that the first who asks does not wait for it."""
    for template in templates:
        _templates.get_template(f"site/{template}")


def words_of(request: Request) -> Words:
    """The reader's language and units: those of the form that was sent, else as chosen, else as the
    browser asks for."""
    if request.method == "POST" and (form := _TOLD_IN.get(told_in(request.url.query))):
        return form
    asked = [part.split(";")[0].strip()[:2].lower()
             for part in request.headers.get("accept-language", "").split(",")]  # fmt: skip
    chosen = request.cookies.get(LANGUAGE, "")
    language = next((one for one in (chosen, *asked) if one in LANGUAGES), "en")
    units: Units = "us" if request.cookies.get(UNITS) == get_args(Units)[1] else "metric"
    return Words(language, units)


def light_of(request: Request) -> str:
    """The light that was chosen; empty where none was."""
    light = request.cookies.get(_LIGHT, "")
    return light if light in _LIGHTS else ""


def page(
    request: Request, template: str, told: Mapping[str, Any], status: int = 200
) -> HTMLResponse:
    """Render a template of ``templates/site``."""
    speak = words_of(request)

    def distance(km: float | None) -> str:
        return "–" if km is None else speak.quantity(Quantity(km, "km"))

    def month(day: str | None) -> str:
        """A day that lies years ahead is known no better."""
        from babel.dates import format_date  # noqa: PLC0415 - its calendars are large

        told = date.fromisoformat(day) if day else None
        return str(format_date(told, "MMM y", locale=speak.language)) if told else "–"

    def in_units(value: float | None, unit: str) -> str:
        return "–" if value is None else speak.quantity(Quantity(value, unit))

    def procedures(names: Iterable[str]) -> str:
        titles = {one.name: one.title for one in request.app.state.garage.procedures.every()}
        return "; ".join(speak.told(titles.get(one, one.replace("-", " "))) for one in names)

    def parameters() -> str:
        """Every reading's name and unit, and the scale and offset from its metric unit to it."""
        return json.dumps({
            name: (
                speak.told(name.replace("_", " ")),
                speak.unit(unit := unit_of_reading(name, unit_of(name))), *speak.scale(unit),
            )
            for name in names()
        })  # fmt: skip

    def translated(words: Mapping[str, str]) -> str:
        return json.dumps({name: speak.told(word) for name, word in words.items()})

    whole = {
        **said(speak), "version": __version__, "safety": SAFETY, "path": request.url.path,
        "language": speak.language, "distance": distance, "translated": translated,
        "procedures": procedures, "parameters": parameters,
        "most_bytes": request.app.state.settings.most_bytes,
        "in_units": in_units, "unit_of_reading": unit_of_reading, "month": month,
        "light": light_of(request), **told,
    }  # fmt: skip
    html = _templates.get_template(f"site/{template}").render(whole)
    # In English and metric the rooms' own sentences stand as they are, but for this sign.
    html = bound(html).replace("\u00a0degC", "\u00a0°C")
    return HTMLResponse(marked(html, f"{speak.language}.{speak.units}"), status)


def sheet(request: Request, html: str, back: str) -> HTMLResponse:
    """A page that is made to be printed, with a way back to ours: put on a home screen, a page has
    no button of the browser's. Paper does not show it."""
    link = (
        f"<style>@media print {{ .back {{ display: none; }} }} .back a {{ color: inherit; "
        f'display: inline-block; padding: .6em .8em; }}</style><nav class="back"><a href="'
        f'{escape(back)}">← {escape(words_of(request).told("Back"))}</a></nav>'
    )
    return HTMLResponse(html.replace("<body>", f"<body>{link}", 1))


def go(address: str) -> RedirectResponse:
    """After a form: see another page; the browser's back button does not send it again."""
    return RedirectResponse(address, 303)
