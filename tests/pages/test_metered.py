"""A car that meters pressure has no airflow meter: no screen says it has."""

from dataclasses import replace

from bellmouth.finding.result import Evidence
from bellmouth.pages.metered import as_metered
from bellmouth.pages.report import report_page
from bellmouth.pages.words import headline
from tests.example_finding import example_car, example_finding, example_recording


def test_a_finding_of_a_metered_car_stays_as_it_is() -> None:
    finding = example_finding()
    assert as_metered(finding, example_car()) is finding


def test_the_computed_air_stands_where_there_is_no_meter() -> None:
    finding = example_finding()
    meter = next(one for one in finding.causes if one.cause == "meter_low")
    said = Evidence("meter low: total trim +12.0 % at 700 rpm", 3.0, ("engine_speed",))
    finding = replace(finding, causes=(meter, *finding.causes), evidence=(said,))
    car = replace(example_car(), metering="pressure")
    assert "airflow computed from pressure is too low" in headline(as_metered(finding, car))
    page = report_page(finding, example_recording(), car)
    assert page.bars[0].name == "computed air low"
    assert page.evidence[0].what.startswith("computed air low: total trim")
    told = repr(replace(page, charts=()))
    assert "meter low" not in told
    assert "meter_low" not in told
    assert "if computed air low" in page.charts[0].head
