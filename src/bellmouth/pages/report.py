"""A finding as one self-contained page: pictures, tables, cautions, and nothing from a network."""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from pathlib import Path

from jinja2 import ChoiceLoader, Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from bellmouth import __version__
from bellmouth.car.description import Car, Known
from bellmouth.finding.result import Evidence, Finding, NextCheck, PicturePoint, Size
from bellmouth.pages import charts
from bellmouth.pages.words import (
    CAUTIONS,
    alternatives,
    cause_words,
    chance,
    chosen,
    headline,
    interval_words,
    misfit_words,
    name_words,
    size_words,
)
from bellmouth.recording.series import Recording

__all__ = [
    "BarRow",
    "Chart",
    "ReportPage",
    "SizeRow",
    "report_page",
    "template_environment",
    "write_report",
]


@dataclass(frozen=True)
class BarRow:
    """One cause with its probability; ``width`` is the bar's length. [%]"""

    name: str
    words: str
    chance: str
    width: float
    sizes: str


@dataclass(frozen=True)
class SizeRow:
    """One size on its scale: where value and interval stand between its ends. [%]"""

    name: str
    words: str
    interval: str
    scale_low: str
    scale_middle: str
    scale_high: str
    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Chart:
    """A picture with its title, the sentence that says how to read it, and its numbers where
    the table of operating points does not hold them."""

    title: str
    svg: Markup
    reading: str
    head: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    name: str = ""


@dataclass(frozen=True)
class ReportPage:
    """Everything the page shows; the template uses every field and nothing else."""

    headline: str
    subject: str
    bars: tuple[BarRow, ...]
    confusable: str
    checks: tuple[NextCheck, ...]
    cautions: tuple[str, ...]
    charts: tuple[Chart, ...]
    points: tuple[PicturePoint, ...]
    sizes: tuple[SizeRow, ...]
    evidence: tuple[Evidence, ...]
    misfit: str
    excluded: tuple[str, ...]
    warnings: tuple[str, ...]
    car: Mapping[str, str]
    recording: Mapping[str, str]
    prior: Mapping[str, str]
    complaint: str
    version: str


def report_page(finding: Finding, recording: Recording, car: Car) -> ReportPage:
    """Gather what the page shows."""
    shown, rest = chosen(finding)
    bars = [
        BarRow(
            name_words(entry.cause),
            cause_words(entry.cause),
            chance(entry.probability),
            round(100 * entry.probability, 1),
            "; ".join(interval_words(size) for size in entry.sizes.values()),
        )
        for entry in shown
    ]
    if rest:
        bars.append(BarRow("all others", "", chance(rest), round(100 * rest, 1), ""))
    confusable = finding.causes[0].confusable_with
    return ReportPage(
        headline=headline(finding),
        subject=" · ".join(filter(None, (car.name, recording.source))),
        bars=tuple(bars),
        confusable=alternatives(map(name_words, confusable)) if confusable else "",
        checks=finding.next_checks,
        cautions=CAUTIONS,
        charts=_charts(finding),
        points=finding.picture.points,
        sizes=_size_rows(finding),
        evidence=tuple(sorted(finding.evidence, key=lambda item: -abs(item.strength))),
        misfit=misfit_words(finding.misfit),
        excluded=(
            *finding.excluded,
            *(note for note in recording.notes if note not in finding.warnings),
        ),
        warnings=finding.warnings,
        car=_car_rows(car),
        recording=_recording_rows(recording),
        prior={name_words(cause): chance(weight) for cause, weight in finding.prior.items()},
        complaint=finding.complaint,
        version=__version__,
    )


def write_report(path: Path, finding: Finding, recording: Recording, car: Car) -> None:
    """Write the page as one HTML file.

    Raises
    ------
    OSError
        If the file cannot be written.
    """
    page = report_page(finding, recording, car)
    declared = {field.name: getattr(page, field.name) for field in fields(page)}
    html = template_environment().get_template("report.html").render(declared)
    path.write_text(html, encoding="utf-8")


def template_environment() -> Environment:
    """Templates of this package: everything escaped, a missing name an error."""
    environment = Environment(
        # The style sheet is served to the page at the car as it is, and put into these pages.
        loader=ChoiceLoader(
            [PackageLoader("bellmouth.pages"), PackageLoader("bellmouth.pages", "static")]
        ),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["alternatives"] = alternatives
    environment.filters["number"] = _number
    return environment


def _number(value: float | None, digits: int = 1) -> str:
    return "–" if value is None or value != value else f"{value:.{digits}f}"  # noqa: PLR0124


def _charts(finding: Finding) -> tuple[Chart, ...]:
    # The SVG is made by our own charts from numbers and escaped names, so it may go in as it is.
    found = []
    if svg := charts.trim_against_airflow(finding):
        reading = (
            "A leak's share falls as the engine breathes more; a wrong meter or fuel delivery "
            "shifts every point alike. The line that the points follow is the cause."
        )
        head, rows = _trim_table(finding)
        found.append(Chart("Total trim against airflow", Markup(svg), reading, head, rows, "trim"))  # noqa: S704
    if svg := charts.routes(finding):
        reading = (
            "Meter, speed with pressure, and throttle opening each tell the airflow. The last two "
            "lean on this car's filling and plate, which nobody knows exactly: look at how the "
            "routes part from one point to the next, not at one gap."
        )
        found.append(Chart("Airflow by three routes", Markup(svg), reading, name="routes"))  # noqa: S704
    if svg := charts.operating_points(finding):
        reading = "The steady stretches that the finding rests on, numbered as in the table."
        found.append(Chart("Operating points", Markup(svg), reading))  # noqa: S704
    return tuple(found)


def _trim_table(finding: Finding) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    """What the picture of trims shows, in numbers: read, and if each cause were so. [%]"""
    points = finding.picture.points
    told = {cause for point in points for cause in point.total_trim_by_cause_pct}
    causes = [entry.cause for entry in finding.causes if entry.cause in told][:5]
    rows = tuple(
        (
            str(number),
            _number(point.total_trim_pct[0]),
            *(_number(point.total_trim_by_cause_pct.get(cause)) for cause in causes),
        )
        for number, point in enumerate(points, 1)
        if point.total_trim_pct is not None
    )
    return ("No.", "read", *(f"if {name_words(cause)}" for cause in causes)), rows


def _size_rows(finding: Finding) -> tuple[SizeRow, ...]:
    rows: dict[str, SizeRow] = {}
    for entry in chosen(finding)[0]:
        for cause, size in entry.sizes.items():
            # A cause's size is shown from the likeliest entry that holds it.
            rows.setdefault(cause, _size_row(cause, size))
    return tuple(rows.values())


def _size_row(cause: str, size: Size) -> SizeRow:
    if size.unit == "ratio":
        reach = max(0.1, *(abs(x - 1) * 1.15 for x in (size.low, size.high)))
        start, end = 1 - reach, 1 + reach
        ends = (f"{start:.2f}", "1 is right", f"{end:.2f}")
    else:
        start, end = 0.0, max(size.high * 1.2, 1e-9)
        ends = ("none", "", f"{end:.1f}")
    low, value, high = (
        round(min(100.0, max(0.0, 100 * (x - start) / (end - start))), 2)
        for x in (size.low, size.value, size.high)
    )
    return SizeRow(
        name_words(cause), size_words(cause, size), interval_words(size), *ends, value, low, high
    )


def _car_rows(car: Car) -> dict[str, str]:
    rows = {}
    for field in fields(car):
        value = getattr(car, field.name)
        if isinstance(value, Known):
            spread = f" ± {value.sd:g}" if value.sd else ""
            rows[field.name.replace("_", " ")] = f"{value.value:g}{spread}"
        elif field.name not in {"name", "complaint"}:
            rows[field.name.replace("_", " ")] = "unknown" if value is None else str(value)
    return rows


def _recording_rows(recording: Recording) -> dict[str, str]:
    ends = [series.time_s[-1] for series in recording.series.values() if series.time_s.size]
    rows = {
        "file": recording.source,
        "length": f"{max(ends, default=0.0):.0f} s",
        "samples": f"{recording.samples_per_s:.1f} a second in all",
        "parameters": ", ".join(recording.series),
    }
    if recording.unmapped:
        rows["columns not used"] = ", ".join(recording.unmapped)
    return rows
