"""What the templates of findings and proofs make of figures, in the reader's words."""

import pytest

from bellmouth.pages.card_words import Units, Words
from bellmouth.pages.page_templates import said, template_environment


@pytest.mark.parametrize(
    ("template", "language", "units", "shown"),
    [
        ("{{ (2.3, 2.1, 2.5) | span('g/s', 2) }}", "en", "metric", "2.30 (2.10 to 2.50)"),
        ("{{ (2.3, 2.1, 2.5) | span('g/s', 2) }}", "de", "us", "0,304 (0,278 bis 0,331)"),
        ("{{ (-3.0, 2.0) | nine_in_ten | span('%') }}", "en", "metric", "-3.0 (-6.3 to 0.3)"),
        ("{{ 35.0 | figure('kPa') }}", "de", "metric", "35,0"),
        ("{{ none | figure('kPa') }}", "de", "metric", "–"),
        ("{{ -0.04 | figure('%') }}", "en", "metric", "0.0"),
        ("{{ 3.25 | number(2) }}", "de", "us", "3,25"),
        ("{{ ['a', 'b', 'c'] | alternatives }}", "de", "metric", "a, b oder c"),
        ("{{ ['a'] | alternatives }}", "de", "metric", "a"),
        ("{{ ['no_change'] | spoken_outcomes | alternatives }}", "de", "metric", "keine Änderung"),
        ("{{ _('smoke test') | upper_first }}", "en", "metric", "Smoke test"),
    ],
)
def test_a_figure_is_written_once_in_language_and_units(
    template: str, language: str, units: Units, shown: str
) -> None:
    made = template_environment().from_string(template)
    assert made.render(said(Words(language, units))) == shown
