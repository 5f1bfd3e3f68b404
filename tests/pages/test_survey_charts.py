"""The pictures of a survey: what they show, and that nothing in them is black on black."""

import polars as pl
import pytest

from bellmouth.fleet.rows import SCHEMA, refusal
from bellmouth.pages.card_words import Words
from bellmouth.pages.survey_charts import causes_by_family, drift, sizes, worst_cars
from bellmouth.pages.survey_page import summary_page
from bellmouth.pages.survey_screen import worst


@pytest.fixture
def table() -> pl.DataFrame:
    """Twelve recordings of four cars, ten of them with a leak, the likeliest last."""
    rows = []
    for number in range(12):
        told = {"cause": "leak", "leak_value": 1.0 + number, "leak_low": 0.5, "leak_high": 20.0}
        row = refusal(f"{number}.csv", "1", f"van {number % 4}", "two litre", "") | told
        row |= {"error": None, "probability": 0.4 + 0.05 * number, "idle_throttle_pct": 5.0}
        row |= {"distance_km": 1000.0 * number}
        rows.append(row | ({"cause": "healthy"} if number < 2 else {}))
    rows.append(refusal("", "bus", "bus", "", "no recording of this car was given"))
    return pl.DataFrame(rows, schema=dict(SCHEMA), orient="row")


def test_the_worst_cars_stand_on_top_with_their_cause(table: pl.DataFrame) -> None:
    drawn = worst_cars(worst(table))
    assert drawn is not None
    assert drawn.index(">van 3<") < drawn.index(">van 2<") < drawn.index(">van 0<")
    assert drawn.count(">leak<") == 10
    assert worst_cars(worst(table).head(0)) is None


def test_no_line_is_a_colour_that_only_suits_light_pages(table: pl.DataFrame) -> None:
    judged = table.filter(pl.col("error").is_null())
    for drawn in (causes_by_family(judged), sizes(judged), worst_cars(worst(table)), drift(judged)):
        assert drawn is not None
        assert "stroke: #000" not in drawn
        assert "#0" not in drawn.split("</title>", 1)[1].replace('"#0', "")


def test_the_page_has_all_four_pictures(table: pl.DataFrame) -> None:
    shown = summary_page(table)
    assert [one.title for one in shown.charts] == [
        "Likeliest cause by engine family", "How big the causes are", "Cars to look at first",
        "Throttle at idle over distance",
    ]  # fmt: skip
    assert shown.errors == (("bus", "no recording of this car was given"),)


def test_the_headline_counts_one_as_one(table: pl.DataFrame) -> None:
    judged = table.filter(pl.col("error").is_null())
    german = Words("de")
    assert summary_page(judged.head(1)).headline == "1 recording of 1 car"
    assert summary_page(judged.head(1), german).headline == "1 Aufzeichnung von 1 Auto"
    same = judged.filter(pl.col("car") == "van 1")
    assert summary_page(same).headline == "3 recordings of 1 car"
    assert summary_page(same, german).headline == "3 Aufzeichnungen von 1 Auto"
    assert summary_page(judged, german).headline == "12 Aufzeichnungen von 4 Autos"
