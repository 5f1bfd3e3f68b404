"""The finding on a terminal: readable in ten seconds, at any width, with or without colour."""

import io
import re
from dataclasses import replace

import pytest
from rich.console import Console

from bellmouth.finding.result import Evidence, Finding
from bellmouth.pages.card_words import ENGLISH, Units, Words
from bellmouth.pages.lists import console
from bellmouth.pages.screen import print_finding
from tests.example_finding import example_car, example_finding, example_recording


def _shown(
    finding: Finding,
    width: int = 80,
    *,
    colour: bool = False,
    ascii_: bool = False,
    again: str = "",
    speak: Words = ENGLISH,
) -> str:
    raw = io.BytesIO()
    file = io.TextIOWrapper(raw, encoding="ascii" if ascii_ else "utf-8", errors="replace")
    out = Console(file=file, width=width, force_terminal=colour, highlight=False, markup=False)
    print_finding(finding, example_recording(), example_car(), out, again, speak)
    file.flush()
    return raw.getvalue().decode("utf-8")


def test_the_answer_comes_first() -> None:
    text = _shown(example_finding())
    assert " ".join(text.split()).startswith("Very probably (81 %): air leaks in after the meter")
    assert text.index("Next check") < text.index("What led there") < text.index("What was left out")


def test_a_check_that_disagrees_is_said_with_the_answer() -> None:
    told = "But what was checked disagrees with the recording (smoke test): see Mind."
    finding = example_finding()
    assert "But what was checked" not in _shown(finding)
    text = _shown(replace(finding, disagreeing={"smoke_test": "recording"}))
    head = text[: text.index("How likely each cause is")]
    assert told in " ".join(head.split())


def test_everything_a_mechanic_needs_is_there() -> None:
    text = " ".join(_shown(example_finding()).split())
    for part in (
        "leak + meter low 11 %",
        "2.1 mm (1.8 to 2.5)",
        "This recording cannot tell leak from leak + meter low.",
        "smoke: about 20 minutes",
        "Caution: Low pressure only; open air.",
        "--result smoke=OUTCOME, where OUTCOME is none or seen.",
        "From 0 s to 31 s: the engine was cold.",
        "2 rows with a time seen before were left out.",
        "Columns that were not used: Cabin temperature.",
        "Barometric pressure is not reported",
        "Trim falls from +43 % at idle",
        "Run the engine only in open air",
    ):
        assert part in text


@pytest.mark.parametrize("width", [40, 60, 72, 80, 96])
def test_no_line_is_wider_than_the_terminal_and_no_chance_is_cut(width: int) -> None:
    text = _shown(example_finding(), width)
    assert max(map(len, text.splitlines())) <= width
    assert "…" not in text
    for chance in ("81 %", "11 %", "5 %", "2 %", "1 %"):
        assert chance in text


def test_colour_says_nothing_that_is_not_also_written() -> None:
    coloured = _shown(example_finding(), colour=True)
    plain = _shown(example_finding())
    assert "\x1b[" in coloured
    assert "\x1b[" not in plain


def test_no_color_is_respected(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    monkeypatch.setenv("FORCE_COLOR", "1")
    assert console().no_color


def test_a_terminal_without_unicode_gets_plain_bars() -> None:
    assert "####" in _shown(example_finding(), ascii_=True)


def test_brackets_in_a_users_text_are_not_markup() -> None:
    odd = replace(example_finding(), evidence=(Evidence("mass_air_flow [g/s] [/bold]", 1.0),))
    assert "mass_air_flow [g/s] [/bold]" in _shown(odd)


def test_a_number_never_parts_from_its_unit_at_the_end_of_a_line() -> None:
    finding = example_finding()
    for width in range(60, 100):
        lines = _shown(replace(finding, causes=finding.causes[2:]), width).splitlines()
        assert not any(line.strip().startswith(("%", "mm ")) for line in lines[:4]), width


def test_a_check_that_tells_hardly_more_only_confirms() -> None:
    finding = example_finding()
    assert "Next check\n" in _shown(finding)
    first = replace(finding.next_checks[0], bits=0.01)
    sure = _shown(replace(finding, next_checks=(first,)))
    assert "Next check\n" not in sure
    assert "To confirm\n" in sure


def test_a_check_that_neither_tells_nor_confirms_is_not_offered() -> None:
    """With a leak left, a relearned idle has learned the leak."""
    finding = example_finding()
    leak = next(one for one in finding.causes if one.cause == "leak")
    checks = tuple(
        replace(finding.next_checks[0], check=name, bits=bits)
        for name, bits in (("smoke_test", 0.01), ("hose_pinched", 0.01), ("relearn", 0.01),
                           ("bore_look", 0.03))
    )  # fmt: skip
    shown = _shown(replace(finding, causes=(leak, *finding.causes), next_checks=checks))
    assert "hose pinched" in shown
    assert "bore look" in shown
    assert "relearn" not in shown


def test_the_command_after_a_capture_stands_in_one_piece() -> None:
    again = "bellmouth find 'a rather long name.parquet' --car garage/car.toml"
    lines = _shown(example_finding(), 40, again=again).splitlines()
    assert f"    {again} --result smoke=OUTCOME" in lines
    assert "find again with" not in " ".join(lines)


@pytest.mark.parametrize("width", [60, 80])
@pytest.mark.parametrize("units", ["metric", "us"])
def test_german_fits_the_terminal_and_its_bars_line_up(width: int, units: Units) -> None:
    lines = _shown(example_finding(), width, speak=Words("de", units)).splitlines()
    assert max(map(len, lines)) <= width
    bars = [re.search("[█·]+", line) for line in lines]
    spans = {found.span() for found in bars if found}
    assert len(spans) == 1
    assert sum(found is not None for found in bars) == 5


def test_a_size_stands_beside_its_bar_or_all_of_them_stand_below() -> None:
    finding = example_finding()
    words = Words("de", "us")
    beside = [line for line in _shown(finding, 80, speak=words).splitlines() if "█" in line]
    assert "0,083 in (0,071 bis 0,098)" in beside[0]
    below = [line for line in _shown(finding, 72, speak=words).splitlines() if "█" in line]
    assert not any(" in" in line for line in below)


def test_a_finding_is_told_in_the_readers_language_and_units() -> None:
    text = " ".join(_shown(example_finding(), speak=Words("de", "us")).split())
    for part in (
        "Sehr wahrscheinlich (81 %): hinter LMM und Drosselklappe tritt Luft ein",
        "0,083 in (0,071 bis 0,098)",
        "Diese Aufzeichnung kann Leck nicht von Leck + Luftmessung zu niedrig unterscheiden.",
        "Nicht verwendete Spalten: Cabin temperature.",
        "Motor nur im Freien",
    ):
        assert part in text


def test_what_is_typed_stays_and_is_explained() -> None:
    """Outcomes are typed in English; beside each stands what it means."""
    finding = example_finding()
    text = " ".join(_shown(finding, speak=Words("de")).split())
    assert "mit --result smoke=OUTCOME; OUTCOME ist none (keine) oder seen (gesehen)." in text
    number = replace(finding.next_checks[0], outcomes=("no_change", "a number: total trim in %"))
    text = " ".join(
        _shown(replace(finding, next_checks=(number,)), speak=Words("de", "us")).split()
    )
    assert "no_change (keine Änderung) oder eine Zahl: Gesamtkorrektur in %" in text


def test_what_is_typed_stands_on_one_line() -> None:
    for width in range(50, 100):
        lines = _shown(example_finding(), width).splitlines()
        assert any("--result smoke=OUTCOME" in line for line in lines), width


def test_a_check_that_was_made_is_offered_once_more() -> None:
    finding = example_finding()
    made = replace(finding.next_checks[0], made=1)
    shown = replace(finding, next_checks=(made,))
    assert "smoke, once more: about 20 minutes" in _shown(shown)
    assert ", noch einmal: etwa 20 Minuten" in _shown(shown, speak=Words("de"))
