"""The printable card says what the text one says, on one sheet."""

import re

import pytest

from bellmouth.learning.packs import packs
from bellmouth.learning.procedure import Procedure
from bellmouth.pages.card_words import Words
from bellmouth.pages.coach_card import coach_card
from bellmouth.pages.coach_card_html import coach_card_html

ALL = pytest.mark.parametrize("procedure", packs(), ids=lambda one: one.name)


def _plain(html: str) -> str:
    body = html[html.index("<body>") :]
    text = re.sub(r"<[^>]*>", "", body).replace("&#39;", "'").replace("&#34;", '"')
    return re.sub(r"\s+", " ", text.replace("&gt;", ">").replace("&amp;", "&"))


@ALL
def test_the_page_says_all_that_the_text_says(procedure: Procedure) -> None:
    page = _plain(coach_card_html(procedure)).lower()
    seconds = re.findall(r"^ *([\d.]+|\d+ h \d+) +\[______\] +(.*?)(?: \(optional\))?$",
                         coach_card(procedure), re.M)  # fmt: skip
    assert len(seconds) == len(procedure.steps)
    for at, say in seconds:
        assert f"{at}{say.lower()}" in page
    stands = [condition.say for condition in procedure.conditions]
    signs = [sign.what for sign in procedure.signs]
    shown = [step.show for step in procedure.steps] + [step.caution for step in procedure.steps]
    for text in (*procedure.cautions, *stands, *signs, *shown, procedure.safe_state):
        assert " ".join(Words().told(text).split()).lower() in page


@ALL
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_it_is_one_sheet_with_nothing_from_a_network(procedure: Procedure, paper: str) -> None:
    weasyprint = pytest.importorskip("weasyprint")
    html = coach_card_html(procedure)
    assert not re.search(r"https?://|<script|src=|url\(", html)
    sized = weasyprint.CSS(string=f"@page {{ size: {paper} }}")
    assert len(weasyprint.HTML(string=html).render(stylesheets=[sized]).pages) == 1
