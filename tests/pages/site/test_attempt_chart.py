"""The picture of a judged attempt."""

import re
from itertools import pairwise
from typing import Any
from xml.etree import ElementTree as ET

import pytest

from bellmouth.pages.card_words import Words
from bellmouth.pages.site.attempt_chart import attempt_svg


def line(step: str, window: tuple[float | None, float | None], **more: Any) -> dict[str, Any]:
    return {
        "step": step, "judgement": "met", "measured": None, "window": list(window), "at_s": None,
        **more,
    }  # fmt: skip


def drawn(*lines: dict[str, Any], language: str = "en") -> ET.Element:
    text = attempt_svg({"steps": lines}, {"hold": 'Press & "hold"'}, Words(language))
    return ET.fromstring(text)  # noqa: S314 - our own


def texts(svg: ET.Element) -> list[tuple[str, float, float]]:
    return [(one.text or "", float(one.get("x", 0)), float(one.get("y", 0)))
            for one in svg.iter("text")]  # fmt: skip


def test_it_says_in_words_what_it_shows() -> None:
    svg = drawn(line("hold", (6.5, 7.5), measured={"value": 7.9, "low": 7.5, "high": 8.2}))
    assert svg.get("role") == "img"
    assert svg.get("aria-label") == 'Press & "hold": met'
    found = [text for text, _, _ in texts(svg)]
    assert '1 ✓ Press & "hold": met' in found
    assert "7.9 s" in found
    assert "6.5 … 7.5 s" in found


@pytest.mark.parametrize("window", [(2.0, 2.2), (2.0, 9.0), (0.0, 3.0), (10.0, None)])
def test_no_figure_stands_on_another(window: tuple[float, float | None]) -> None:
    svg = drawn(line("hold", window, measured={"value": 2.1, "low": 2.0, "high": 2.3}))
    places: dict[float, list[tuple[float, float]]] = {}
    for one in svg.iter("text"):
        x, wide = float(one.get("x", 0)), 8.5 * len(one.text or "")
        left = x - wide if one.get("text-anchor") == "end" else x
        places.setdefault(float(one.get("y", 0)), []).append((left, left + wide))
    for row in places.values():
        row.sort()
        assert all(before[1] <= after[0] for before, after in pairwise(row))
        assert all(left >= 0 and right <= 362 for left, right in row)


def test_numbers_of_steps_close_together_take_turns() -> None:
    svg = drawn(*(line("hold", (None, None), at_s=at) for at in (0.0, 50.0, 50.2, 100.0)))
    numbers = [(text, x, y) for text, x, y in texts(svg) if re.fullmatch(r"\d", text)]
    assert [text for text, _, _ in numbers] == ["1", "2", "3", "4"]
    assert numbers[1][2] != numbers[2][2]


def test_what_was_longer_than_seen_has_no_point() -> None:
    svg = drawn(line("hold", (20.0, None), measured={"value": 0.0, "low": -0.1, "high": None}))
    assert not [text for text, _, _ in texts(svg) if text == "0.0 s"]


def test_a_step_without_any_window_is_a_line_of_text() -> None:
    svg = drawn(line("hold", (None, None)))
    assert not list(svg.iter("rect"))


def test_its_figures_are_written_as_the_reader_writes_them() -> None:
    """German pages had a decimal point here, and a comma in the table below."""
    held = line("hold", (2.5, 9.25), at_s=1.0, measured={"value": 7.9, "low": 7.5, "high": 8.2})
    svg = drawn(held, line("hold", (None, None), at_s=46.4), language="de")
    found = [text for text, _, _ in texts(svg)]
    assert {"7,9 s", "2,5 s", "9,25 s", "45,4 s"} <= set(found)
    assert not [text for text in found if "." in text]
