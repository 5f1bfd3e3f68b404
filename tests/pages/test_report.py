"""The report: one file, nothing from a network, everything in it twice told (picture and table)."""

import re
from dataclasses import fields, replace
from html.parser import HTMLParser
from importlib.resources import files
from pathlib import Path

import pytest
from jinja2 import meta

from bellmouth.finding.result import Finding, Picture, Size
from bellmouth.pages.page_templates import template_environment
from bellmouth.pages.report import ReportPage, report_page, write_report
from tests.example_finding import example_car, example_finding, example_recording


def _written(folder: Path, finding: Finding) -> str:
    page = folder / "report.html"
    write_report(page, finding, example_recording(), example_car())
    return page.read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def html(tmp_path_factory: pytest.TempPathFactory) -> str:
    return _written(tmp_path_factory.mktemp("report"), example_finding())


class _Outline(HTMLParser):
    """Open tags, ids and whatever points outside the file."""

    _VOID = frozenset({"meta", "br", "img", "link", "input", "hr"})

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.ids: list[str] = []
        self.outside: list[str] = []
        self.uses: list[str] = []
        self.tags: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        if tag not in self._VOID:
            self.open.append(tag)
        for name, value in attrs:
            if name == "id" and value:
                self.ids.append(value)
            if name in {"href", "src", "srcset", "action", "data"} and value:
                (self.uses if value.startswith("#") else self.outside).append(value)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in self._VOID:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


@pytest.fixture(scope="module")
def outline(html: str) -> _Outline:
    parser = _Outline()
    parser.feed(html)
    parser.close()
    return parser


def test_every_tag_is_closed_and_every_id_unique(outline: _Outline) -> None:
    assert outline.open == []
    assert len(outline.ids) == len(set(outline.ids))
    assert {use[1:] for use in outline.uses} <= set(outline.ids)


def test_nothing_comes_from_a_network(html: str, outline: _Outline) -> None:
    assert outline.outside == []
    assert not {"script", "link", "iframe", "object"} & set(outline.tags)
    assert re.findall(r"(?:https?:)?//[\w.]", html) == []
    assert re.findall(r"url\((?!#)", html) == []
    assert "@import" not in html


def test_what_is_declared_is_what_is_shown() -> None:
    folder = files("bellmouth.pages") / "templates"
    used: set[str] = set()
    for name in ("report.html", "finding_body.html"):
        source = (folder / name).read_text(encoding="utf-8")
        used |= meta.find_undeclared_variables(template_environment().parse(source))
    # The page at the car adds its own way to the pictures' numbers.
    at_the_car = {"plots", "path"}
    assert used - at_the_car - {"_", "speak"} == {field.name for field in fields(ReportPage)}


def test_the_finding_is_there_in_words_pictures_and_numbers(html: str) -> None:
    text = " ".join(re.sub(r"<[^>]+>", " ", html).split())
    for part in (
        "Very probably (81 %): air leaks in",
        "Total trim against airflow",
        "Airflow by three routes",
        "Operating points in numbers",
        "How big",
        "12 % below what is right",
        "This recording cannot tell leak from leak + meter low.",
        "Low pressure only; open air.",
        "--result smoke=OUTCOME . OUTCOME is none or seen.",
        "Trim falls from +43 % at idle",
        "From 0 s to 31 s: the engine was cold.",
        "Run the engine only in open air",
        "the blue one",
        "Cabin temperature",
        "Made by Bellmouth",
    ):
        assert part in text
    assert html.count("<svg") == 3
    assert html.count('role="img"') >= 3


def test_each_picture_has_a_title_for_those_who_cannot_see_it(html: str) -> None:
    assert html.count("<svg") == len(re.findall(r"<svg[^>]*><title>[^<]+</title>", html))


def test_no_colour_of_a_picture_is_fixed(html: str) -> None:
    drawings = "".join(re.findall(r"<svg.*?</svg>", html, re.DOTALL))
    assert re.findall(r"(?:fill|stroke): #\w+", drawings) == []


def test_curves_differ_in_more_than_colour(html: str) -> None:
    drawing = html[html.index('id="trim-figure_1"') :]
    assert (
        len(set(re.findall(r"stroke-dasharray: ([\d., ]+)", drawing[: drawing.index("</svg>")])))
        >= 2
    )


def test_a_users_text_cannot_become_part_of_the_page(tmp_path: Path) -> None:
    odd = replace(example_finding(), warnings=("<script>alert(1)</script> & co",))
    text = _written(tmp_path, odd)
    assert "<script>" not in text
    assert "&lt;script&gt;" in text


def test_a_recording_without_points_still_gives_a_page(tmp_path: Path) -> None:
    bare = replace(
        example_finding(), picture=Picture((), {}), next_checks=(), evidence=(), excluded=(),
        warnings=(), misfit=float("nan"),
    )  # fmt: skip
    text = _written(tmp_path, bare)
    assert "<svg" not in text
    assert "No check known here would tell more." in text
    assert "nan" not in re.sub(r"<[^>]+>", " ", text).lower().split()


def test_what_no_cause_fits_is_not_said_to_fit() -> None:
    """Its misfit is that of the best cause there is, which may be small."""
    known = example_finding()
    top = replace(known.causes[0], cause="unexplained", sizes={})
    lost = replace(known, causes=(top, *known.causes[1:]), misfit=0.5)
    assert report_page(lost, example_recording(), example_car()).misfit == ""
    assert report_page(known, example_recording(), example_car()).misfit


def test_without_trims_the_other_pictures_remain() -> None:
    finding = example_finding()
    points = tuple(
        replace(point, total_trim_pct=None, manifold_pressure_kpa=None, airflow_throttle_g_s=None)
        for point in finding.picture.points
    )
    finding = replace(finding, picture=replace(finding.picture, points=points))
    page = report_page(finding, example_recording(), example_car())
    assert [chart.title for chart in page.charts] == ["Airflow by two routes", "Operating points"]


def test_pictures_of_a_car_that_meters_pressure_tell_of_no_meter() -> None:
    finding = example_finding()
    points = tuple(replace(one, airflow_meter_g_s=None) for one in finding.picture.points)
    finding = replace(finding, picture=replace(finding.picture, points=points))
    page = report_page(finding, example_recording(), replace(example_car(), metering="pressure"))
    trims, routes, _ = page.charts
    assert trims.reading.startswith("Without an airflow meter a leak gets its fuel")
    assert routes.title == "Airflow by two routes"
    assert "meter" not in routes.reading.lower()


def test_a_ratio_stands_on_a_scale_with_right_in_the_middle() -> None:
    page = report_page(example_finding(), example_recording(), example_car())
    meter = page.sizes[1]
    assert meter.scale_middle == "right"
    assert 0 <= meter.low < meter.value < meter.high < 50


def test_a_size_that_is_off_its_scale_stays_on_the_page() -> None:
    finding = example_finding()
    top = replace(finding.causes[0], sizes={"leak": Size(-1.0, -2.0, 0.0, "mm")})
    page = report_page(
        replace(finding, causes=(top, *finding.causes[1:])), example_recording(), example_car()
    )
    assert 0 <= page.sizes[0].low <= page.sizes[0].high <= 100


def test_the_picture_of_trims_is_told_in_numbers_too() -> None:
    page = report_page(example_finding(), example_recording(), example_car())
    assert page.charts[0].head == ("No.", "read", "if leak", "if meter low", "if healthy")
    assert page.charts[0].rows[0] == ("1", "30.4", "30.0", "13.6", "0.0")


def test_a_check_that_disagrees_is_said_with_the_headline(html: str, tmp_path: Path) -> None:
    assert 'href="#mind"' not in html
    told = "But what was checked again contradicts itself (smoke test): see Mind."
    odd = replace(example_finding(), disagreeing={"smoke_test": "itself"})
    text = _written(tmp_path, odd)
    assert f'<a href="#mind">{told}</a>' in text[: text.index("</header>")]
    assert 'id="mind"' in text


def test_a_trim_in_the_table_has_its_90_percent_as_the_flows_have(html: str) -> None:
    # 0.6 % is its standard error: 1.645 of them to each side.
    assert ">30.4 (29.4 to 31.4)<" in html
    assert "±" not in html[html.index('id="table"') : html.index('id="excluded"')]
    assert "Trim: short and long term together. In brackets: 90\u00a0%." in html
