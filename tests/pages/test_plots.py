"""Pictures as data: what they hold is what finding, proof and forecast say, and no more."""

import csv
import io
import json
from dataclasses import replace
from datetime import date

import pytest

from bellmouth import find
from bellmouth.book.forecast import forecast
from bellmouth.book.visits import CarVisits, Read, Visit
from bellmouth.car.reader import car_from_mapping
from bellmouth.finding.prove import prove
from bellmouth.finding.result import Finding, Picture
from bellmouth.pages.finding_plots import finding_plots
from bellmouth.pages.forecast_plots import forecast_plot
from bellmouth.pages.plot_words import PLOT_TEXTS
from bellmouth.pages.plots import Axis, Line, Plot, plot_csv, plot_json, plot_rows
from bellmouth.pages.proof_plots import proof_plots
from bellmouth.pages.words import name_words
from tests.finding.worked import healthy, meter_reads_low

CAR = car_from_mapping({"displacement_l": 2.0, "metering": "airflow", "idle_rpm": 700.0})

Z90 = 1.645


@pytest.fixture(scope="module")
def finding() -> Finding:
    return find(meter_reads_low(), CAR)


def plain(text: str) -> str:
    """A reader's language in which every fixed text must be in the catalogue."""
    return text


def test_each_reading_and_each_curve_is_in_the_picture_of_trims(finding: Finding) -> None:
    plot = finding_plots(finding, plain)["trim"]
    *curves, read = plot.lines
    trims = [one.total_trim_pct for one in finding.picture.points if one.total_trim_pct]
    assert read.y == tuple(value for value, _ in trims)
    assert read.high[0] == pytest.approx(trims[0][0] + Z90 * trims[0][1])
    assert {len(line.x) for line in curves} == {
        len(curve) for curve in finding.picture.trim_curves.values()
    }
    assert len({line.style for line in plot.lines}) == len(plot.lines), "never by colour alone"


def test_three_routes_stand_beside_each_other_at_each_point(finding: Finding) -> None:
    plot = finding_plots(finding, plain)["routes"]
    assert set(plot.x.places) == {str(n) for n in range(1, len(finding.picture.points) + 1)}
    for line in plot.lines:
        assert {str(round(x)) for x in line.x} <= set(plot.x.places)
        assert all(
            low <= y <= high for low, y, high in zip(line.low, line.y, line.high, strict=True)
        )


def test_a_finding_without_readings_has_no_picture(finding: Finding) -> None:
    nothing = replace(finding, picture=Picture((), {}))
    assert finding_plots(nothing, plain) == {}


def test_before_and_after_are_joined_in_the_order_of_airflow() -> None:
    plots = proof_plots(prove(meter_reads_low(), healthy(), CAR), plain)
    for plot in plots.values():
        assert [line.name for line in plot.lines] == ["before", "after"]
        for line in plot.lines:
            assert list(line.x) == sorted(line.x)
    assert plots["throttle"].lines[0].low == (), "no spread is made up"


def test_the_forecast_shows_every_visit_and_where_to_inspect() -> None:
    visits = (
        Visit(20_000.0, date(2024, 1, 1), Read(4.0, 1.0), cleaned=True),
        Visit(40_000.0, date(2025, 1, 1), Read(5.0, 1.0)),
    )
    found = forecast(CarVisits("van", 10.0, visits))
    lines = {line.name: line for line in forecast_plot(found, plain).lines}
    assert lines["findings (90 %)"].x == (20_000.0, 40_000.0)
    assert lines["findings (90 %)"].low[0] == pytest.approx(4.0 - Z90)
    assert lines["cleaned"].x == (20_000.0,)
    assert lines["inspect"].x == (found.inspect_at_km.value,)
    assert lines["nine in ten"].high[-1] > lines["one in two"].high[-1]
    miles = {line.name: line for line in forecast_plot(found, plain, unit="mi", km=1.609344).lines}
    assert miles["cleaned"].x[0] == pytest.approx(12_427.4, abs=0.1)


def test_every_fixed_word_is_in_the_catalogue(finding: Finding) -> None:
    asked: list[str] = []

    def note(text: str) -> str:
        asked.append(text)
        return text

    visits = (Visit(20_000.0, None, Read(4.0, 1.0), cleaned=True),)
    found = forecast(CarVisits("van", 10.0, visits))
    plots = [
        *finding_plots(finding, note).values(), forecast_plot(found, note),
        *proof_plots(prove(meter_reads_low(), healthy(), CAR), note).values(),
    ]  # fmt: skip
    plot_csv(plots[0], note)
    causes = {name_words(one) for one in finding.picture.trim_curves}
    assert set(asked) - set(PLOT_TEXTS) <= causes


def test_table_download_and_script_are_told_the_same() -> None:
    line = Line('if "x", y', "points", 1, (1.23456789,), (2.0,), (1.0,), (3.0,), ("1 idle",))
    plot = Plot("Title", Axis("Airflow", "g/s", log=True), Axis("Trim", "%"), (line,))
    head, rows = plot_rows(plot, plain)
    assert head[1:3] == ("Airflow [g/s]", "Trim [%]")
    assert rows == [('if "x", y', "1.23457", "2", "1", "3", "1 idle")]
    assert [tuple(one) for one in csv.reader(io.StringIO(plot_csv(plot, plain)))] == [head, *rows]
    assert json.loads(plot_json(plot))["lines"][0]["x"] == [1.23457]
