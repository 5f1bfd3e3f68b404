"""The card as a page, as text and as JSON: one dataclass, three faces."""

import json
import re
from dataclasses import replace
from html.parser import HTMLParser
from io import StringIO
from pathlib import Path

import jsonschema
import pytest
from rich.console import Console

from bellmouth.pages.card_drawing import flange_letters, flange_svg, turns
from bellmouth.pages.card_html import card_html, write_html
from bellmouth.pages.card_text import print_card
from bellmouth.pages.card_view import CardPage, card_document, card_page
from bellmouth.pages.card_words import Units, Words
from bellmouth.pages.document import to_json
from bellmouth.work import make_card
from bellmouth.work.card import Tightening
from tests.example_finding import example_car, example_finding
from tests.work.together import AIR_WORKS

_VOID = {"meta", "input", "line", "circle", "polyline", "br"}


def made(
    language: str = "en", units: Units = "metric", works: tuple[str, ...] = AIR_WORKS, **given: str
) -> CardPage:
    card = make_card(example_car(), example_finding(), works, **given)  # type: ignore[arg-type]
    return card_page(card, Words(language, units))


def _text(page: CardPage, width: int = 80) -> str:
    shown = StringIO()
    print_card(page, Console(file=shown, width=width, highlight=False, markup=False))
    return shown.getvalue()


class _Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.targets: list[str] = []
        self.ids: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        values = dict(attrs)
        self.targets += [value for key, value in attrs if key in ("href", "src") and value]
        if name := values.get("id"):
            self.ids.append(name)
        if tag not in _VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """A tag that closes itself holds nothing."""

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


@pytest.mark.parametrize("language", ["en", "de"])
def test_the_page_is_whole_and_needs_nothing_from_outside(language: str) -> None:
    html = card_html(made(language))
    tags = _Tags()
    tags.feed(html)
    assert tags.open == []
    assert all(target.startswith("#") for target in tags.targets)
    assert {target[1:] for target in tags.targets} <= set(tags.ids)
    assert "<script" not in html
    assert "http" not in html.replace("http-equiv", "")
    assert f'<html lang="{language}" dir="ltr">' in html


def test_the_style_has_no_left_and_no_right(root: Path) -> None:
    style = (root / "src/bellmouth/pages/templates/card.css").read_text("utf-8")
    assert re.findall(r"(?<![\w-])(?:[\w-]*-)?(?:left|right)\b", style) == []


@pytest.mark.parametrize("language", ["en", "de"])
def test_page_and_text_hold_every_step_and_caution(language: str) -> None:
    page = made(language)
    html = card_html(page).replace("&#39;", "'").replace("&gt;", ">")
    shown = " ".join(_text(page, 400).split())
    for step in (step for stage in page.stages for step in stage.steps):
        for text in (step.say, *step.cautions, *step.blanks, step.timer):
            assert text in html
            assert " ".join(text.split()) in shown
    for row in (*page.materials, *page.solvents, *page.memories):
        assert all(cell in html for cell in row)
        assert row[0] in shown


def test_no_english_is_left_in_german() -> None:
    english, german = made("en"), made("de")
    shared = {
        step.say
        for before, after in zip(english.stages, german.stages, strict=True)
        for step, other in zip(before.steps, after.steps, strict=True)
        if step.say == other.say
    }
    assert shared == set()
    left = [name for name, text in english.labels.items() if german.labels[name] == text]
    assert left == []


def test_the_customers_part_names_neither_car_nor_owner() -> None:
    card = make_card(replace(example_car(), name="ABC-123 Smith"), None, AIR_WORKS)
    html = card_html(card_page(card, Words()))
    assert "ABC-123 Smith" in html
    assert "ABC-123 Smith" not in html[html.index('class="tear"') :]
    text = _text(card_page(card, Words()))
    assert "ABC-123" not in text[text.index("For the customer") :]


def test_a_torque_stands_where_it_was_given_and_a_line_where_not() -> None:
    assert "<strong>8 N m</strong>" in card_html(made(torque="8 N m"))
    assert "Torque, from the manual only: 8 N m" in _text(made(torque="8 N m"))
    assert "Torque, from the manual only: ____" in _text(made())
    assert "N m" not in card_html(made())


def test_what_a_user_wrote_is_escaped() -> None:
    html = card_html(made(manual_section="<b>&1"))
    assert "&lt;b&gt;&amp;1" in html
    assert "<b>" not in html


def test_us_units_reach_every_face() -> None:
    page = made(units="us")
    for face in (card_html(page), _text(page)):
        assert "158–203\u00a0°F" in face
        assert "°C" not in face


def test_a_finding_without_work_says_whom_to_turn_to() -> None:
    top = replace(example_finding().causes[0], cause="pressure_low", probability=1.0, sizes={})
    finding = replace(example_finding(), causes=(top,), present={"pressure_low": 1.0})
    page = card_page(make_card(example_car(), finding), Words())
    for face in (card_html(page), _text(page, 200)):
        assert "No work is proposed" in face
        assert "The manifold pressure sensor is in doubt" in face
        assert "Sign-off" not in face


@pytest.mark.parametrize("works", [AIR_WORKS, ("relearn",), ("clean_meter",), ()])
def test_the_document_follows_its_schema(works: tuple[str, ...], root: Path) -> None:
    schema = json.loads((root / "docs" / "card.schema.json").read_text("utf-8"))
    jsonschema.validate(json.loads(to_json(card_document(made(works=works)))), schema)


def test_the_document_is_json_and_holds_what_is_shown() -> None:
    document = json.loads(to_json(card_document(made("de"))))
    assert document["language"] == "de"
    assert document["work_names"] == list(AIR_WORKS)
    assert document["software"]["name"] == "bellmouth"
    assert "labels" not in document
    steps = [step["number"] for stage in document["stages"] for step in stage["steps"]]
    assert steps == list(range(1, len(steps) + 1))


def test_text_fits_a_narrow_terminal() -> None:
    assert max(map(len, _text(made("de"), 60).splitlines())) <= 60


def test_writing_a_page_replaces_the_old_one(tmp_path: Path) -> None:
    path = tmp_path / "card.html"
    path.write_text("old", "utf-8")
    write_html(path, made())
    assert path.read_text("utf-8").startswith("<!DOCTYPE html>")


@pytest.mark.parametrize("order", [(1, 2, 3), (1, 3, 2, 4), (1, 4, 2, 5, 3, 6)])
def test_the_drawing_shows_each_turn_at_its_bolt(order: tuple[int, ...]) -> None:
    flange = Tightening(len(order), order)
    svg = flange_svg(flange, "<flange>")
    assert sorted(map(int, re.findall(r">(\d)</text>", svg))) == sorted(order)
    assert "&lt;flange&gt;" in svg
    assert sorted("".join(flange_letters(flange)).replace(" ", "").replace("(-)", "")) == sorted(
        map(str, order)
    )
    if len(order) % 2 == 0:
        places = [(x, y) for _, x, y in turns(flange)]
        for (x, y), (across_x, across_y) in zip(places[::2], places[1::2], strict=True):
            assert (x, y) == pytest.approx((-across_x, -across_y))


@pytest.mark.parametrize("language", ["en", "de"])
def test_a_check_that_disagrees_is_said_before_the_work(language: str) -> None:
    again = {"en": "Look again first", "de": "Erst noch einmal nachsehen"}[language]
    check = {"en": "(smoke test)", "de": "(Rauchtest)"}[language]
    odd = replace(example_finding(), disagreeing={"smoke_test": "recording"})
    page = card_page(make_card(example_car(), odd, AIR_WORKS), Words(language))
    assert check in page.look_again
    for face in (card_html(page), _text(page)):
        plain = " ".join(face.split())
        assert again in plain
        assert plain.index(again) < plain.index(page.stages[0].title)
    assert made(language).look_again == ""
    assert again not in card_html(made(language))
    assert again not in _text(made(language))
