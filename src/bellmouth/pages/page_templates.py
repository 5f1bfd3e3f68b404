"""The templates of findings, proofs and surveys, and what they ask of the reader's words."""

from collections.abc import Iterable, Sequence
from dataclasses import fields
from pathlib import Path
from typing import TYPE_CHECKING, Any

from jinja2 import ChoiceLoader, Environment, PackageLoader, StrictUndefined, pass_context
from jinja2.runtime import Context

from bellmouth.pages.bound import bound
from bellmouth.pages.card_words import Words
from bellmouth.pages.plots import Z90

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

__all__ = ["said", "template_environment", "write_page"]


def template_environment() -> Environment:
    """Templates of this package: everything escaped, a missing name an error."""
    environment = Environment(
        # The style sheet is served to the page at the car as it is, and put into these pages.
        loader=ChoiceLoader(
            [PackageLoader("bellmouth.pages"), PackageLoader("bellmouth.pages", "static")]
        ),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["alternatives"] = _alternatives
    environment.filters["spoken_outcomes"] = _outcomes
    environment.filters["typed_outcomes"] = _typed
    environment.filters["number"] = _figure
    environment.filters["figure"] = _figure_in
    environment.filters["span"] = _span
    environment.filters["nine_in_ten"] = _nine_in_ten
    environment.filters["upper_first"] = lambda text: text[:1].upper() + text[1:]
    return environment


def said(speak: Words) -> dict[str, Any]:
    """What every template of these pages asks of the reader's words."""
    return {"_": speak.told, "speak": speak}


def write_page(path: Path, template: str, page: "DataclassInstance", speak: Words) -> None:
    """Write what a page declares to one HTML file, in the reader's language and units.

    Raises
    ------
    OSError
        If the file cannot be written.
    """
    declared = {field.name: getattr(page, field.name) for field in fields(page)}
    html = template_environment().get_template(template).render(said(speak), **declared)
    path.write_text(bound(html), encoding="utf-8")


@pass_context
def _alternatives(context: Context, names: Iterable[str]) -> str:
    """Names that may stay English ones, in the reader's sentence."""
    *others, last = names
    joined = context["_"]("{0} or {1}").replace("{0}", ", ".join(others)).replace("{1}", last)
    return str(joined if others else last)


@pass_context
def _outcomes(context: Context, outcomes: Iterable[str]) -> list[str]:
    """What a check can show, in words; ``value`` in one stands for a number."""
    return [context["_"](one.replace("_", " ")) for one in outcomes]


@pass_context
def _typed(context: Context, outcomes: Iterable[str]) -> str:
    return str(context["speak"].typed(outcomes))


@pass_context
def _figure(context: Context, value: float | None, places: int = 1) -> str:
    return str(context["speak"].figure(value, "", places))


@pass_context
def _figure_in(context: Context, value: float | None, unit: str, places: int = 1) -> str:
    return str(context["speak"].figure(value, unit, places))


@pass_context
def _span(context: Context, triple: Sequence[float], unit: str, places: int = 1) -> str:
    """A value with the ends that hold it nine times in ten."""
    # The shape is put into the language, not the figures: these are written in it already.
    shape = str(context["_"]("{0} ({1} to {2})"))
    return shape.format(*(context["speak"].figure(one, unit, places) for one in triple))


def _nine_in_ten(told: tuple[float, float]) -> tuple[float, float, float]:
    """A value and its standard error as the value with the ends that hold it nine times in ten."""
    value, error = told
    return value, value - Z90 * error, value + Z90 * error
