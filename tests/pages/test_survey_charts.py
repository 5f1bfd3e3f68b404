"""The pictures of a survey: what they show, and that nothing in them is black on black."""

from io import StringIO

import polars as pl
import pytest
from matplotlib.figure import Figure
from rich.console import Console

from bellmouth.fleet.rows import SCHEMA, refusal
from bellmouth.pages.card_words import ENGLISH, Words
from bellmouth.pages.drawing import below, drawn_in
from bellmouth.pages.recognised import DATA_BEGINS, DATA_ENDS
from bellmouth.pages.survey_charts import causes_by_family, drift, sizes, worst_cars
from bellmouth.pages.survey_page import summary_page
from bellmouth.pages.survey_screen import as_shown, counts, print_survey, worst
from bellmouth.pages.teller import Teller


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


def test_a_car_without_an_airflow_meter_is_told_of_computed_air() -> None:
    rows = []
    for number in range(6):
        metering = "pressure" if number < 3 else "airflow"
        row = refusal(f"{number}.csv", "1", f"van {number}", "mixed", "", metering)
        row |= {"error": None, "cause": "meter_low", "probability": 0.9}
        row |= {"meter_low_value": 0.9, "meter_low_low": 0.85, "meter_low_high": 0.95}
        rows.append(row)
    table = pl.DataFrame(rows, schema=dict(SCHEMA), orient="row")
    page = summary_page(table)
    assert {told[1:3] for told in page.families} == {("computed air low", 3), ("meter low", 3)}
    said = {one.car: (one.cause, one.size) for one in page.worst}
    assert said["van 0"] == ("computed air low", "-10 % (-15 to -5)")
    assert said["van 5"] == ("meter low", "-10 % (-15 to -5)")
    for drawn in (causes_by_family(table), sizes(table), worst_cars(worst(table))):
        assert drawn is not None
        assert ">computed air low<" in drawn
        assert ">meter low<" in drawn
    out = StringIO()
    print_survey(table, Teller(Console(file=out, width=100), ENGLISH))
    assert out.getvalue().count("computed air low") == 4
    assert "cause" in table.columns, "the name of the contract stays"
    assert set(table["cause"]) == {"meter_low"}
    german = summary_page(table, Words("de"))
    assert "berechnete Luft zu niedrig" in {told[1] for told in german.families}


def test_findings_of_before_tell_of_a_meter(table: pl.DataFrame) -> None:
    old = as_shown(table.with_columns(pl.lit("meter_low+leak").alias("cause")))
    assert set(old["shown"]) == {"meter low + leak"}
    assert old["recording"].to_list() == table["recording"].to_list()


def test_a_legend_takes_as_many_columns_as_there_is_room_for() -> None:
    def columns(labels: list[str], words: Words) -> int:
        figure = Figure(figsize=(4.3, 2.0), layout="constrained")
        axes = figure.add_subplot()
        for label in labels:
            axes.plot([0, 1], [0, 1], label=label)
        with drawn_in(words):
            below(axes, 3)
        (made,) = figure.legends
        figure.draw_without_rendering()
        for one in made.get_texts():
            assert one.get_window_extent().x1 <= figure.bbox.x1
        return len({round(one.get_window_extent().x0) for one in made.get_texts()})

    assert columns(["leak", "deposit", "healthy"], Words()) == 3
    long = ["computed air high + fuel low", "computed air low", "stale learning + pressure high"]
    assert columns(long, Words()) == 1
    assert columns(["computed air low", "healthy", "meter low"], Words("de")) < 3


def test_causes_of_one_count_stand_in_one_order(table: pl.DataFrame) -> None:
    rows = table.filter(pl.col("error").is_null()).head(4)
    mixed = rows.with_columns(pl.Series("cause", ["leak", "deposit", "healthy", "deposit"]))
    assert counts(mixed)["shown"].to_list() == ["deposit", "healthy", "leak"]
    assert counts(mixed.reverse()).equals(counts(mixed))


def test_names_of_cars_and_families_stay_in_every_language(table: pl.DataFrame) -> None:
    own = table.with_columns(
        pl.col("car").replace("van 3", "idle & car 3"), pl.lit("pressure test").alias("family")
    )
    for words in (Words(), Words("de"), Words("de", "us")):
        with drawn_in(words):
            judged = own.filter(pl.col("error").is_null())
            drawn = [worst_cars(worst(own)), causes_by_family(judged), drift(judged)]
        first, second, third = map(str, drawn)
        assert ">idle &amp; car 3<" in first
        assert ">pressure test<" in second
        assert ">idle &amp; car 3<" in third
        assert ("Leck<" in first) == (words.language == "de")
        assert not set(DATA_BEGINS + DATA_ENDS) & set(first + second + third)
