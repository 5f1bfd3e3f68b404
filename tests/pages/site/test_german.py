"""The newer pages in German: what may stay English is marked as English."""

import re

import pytest
from fastapi.testclient import TestClient

from tests.pages.site.test_job import begin

#: Names, signs and words that are alike in both languages.
ALIKE = re.compile(
    r"Bellmouth.*|English|Deutsch|US|CSV|Parquet|MDF|Start|bellmouth .*|[\W\d_]*|slcan|Garage|"
    r"Müller's.*|[A-E]"
)


def words(html: str) -> set[str]:
    """Texts of a page, those left out that are marked as another language."""
    body = html.split("<body", 1)[1].split(">", 1)[1]
    body = re.sub(r'<(\w+)[^>]* lang="\w+"[^>]*>.*?</\1>', "", body, flags=re.DOTALL)
    found = (" ".join(one.split()) for one in re.findall(r">([^<]+)<", body))
    return {one for one in found if one and not ALIKE.fullmatch(one.replace("&#39;", "'"))}


@pytest.mark.parametrize(
    "path",
    ["/", "/survey", "/procedures", "/procedures?work=throttle_cleaned", "{car}/codes",
     "{car}/book", "{car}/record", "{car}/finding", "{car}/learning", "{car}/proof"],
)  # fmt: skip
def test_no_word_of_a_page_stays_english_in_german(client: TestClient, path: str) -> None:
    where = path.format(car=begin(client))
    english = words(client.get(where, headers={"accept-language": "en"}).text)
    german = words(client.get(where, headers={"accept-language": "de"}).text)
    assert english & german == set()
