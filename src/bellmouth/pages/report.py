"""A finding as one self-contained page: pictures, tables, cautions, and nothing from a network."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields, replace
from pathlib import Path

from markupsafe import Markup

from bellmouth import __version__
from bellmouth.car.description import Car, Known
from bellmouth.finding.result import Evidence, Finding, NextCheck, PicturePoint, Size
from bellmouth.pages import charts
from bellmouth.pages.card_words import ENGLISH, Words
from bellmouth.pages.drawing import drawn_in
from bellmouth.pages.finding_plots import routes_title
from bellmouth.pages.metered import as_metered
from bellmouth.pages.next_checks import confirming, worth_making
from bellmouth.pages.page_templates import write_page
from bellmouth.pages.words import (
    CAUTIONS,
    alternatives,
    at_odds,
    cause_words,
    chance,
    chosen,
    headline,
    interval_words,
    led_there,
    led_title,
    misfit_words,
    name_words,
    percent_words,
    size_words,
    sizes_words,
    unit_words,
)
from bellmouth.recording.series import Recording

__all__ = [
    "BarRow",
    "Chart",
    "ReportPage",
    "SizeRow",
    "report_page",
    "write_report",
]

_TRIM_READING = (
    "A leak's share falls as the engine breathes more; a wrong meter or fuel delivery shifts every "
    "point alike. The line that the points follow is the cause."
)
_TRIM_READING_COMPUTED = (
    "Without an airflow meter a leak gets its fuel and hardly shows here; computed air that is "
    "wrong, or a wrong fuel delivery, shifts every point alike. The line that the points follow is "
    "the cause."
)


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
    at_odds: str
    subject: str
    bars: tuple[BarRow, ...]
    confusable: str
    checks: tuple[NextCheck, ...]
    confirming: bool
    cautions: tuple[str, ...]
    charts: tuple[Chart, ...]
    points: tuple[PicturePoint, ...]
    sizes: tuple[SizeRow, ...]
    evidence_title: str
    evidence: tuple[Evidence, ...]
    misfit: str
    excluded: tuple[str, ...]
    warnings: tuple[str, ...]
    car: Mapping[str, str]
    recording: Mapping[str, str]
    prior: Mapping[str, str]
    complaint: str
    version: str


def report_page(
    finding: Finding, recording: Recording, car: Car, speak: Words = ENGLISH
) -> ReportPage:
    """Gather what the page shows, in the reader's language and units."""
    say = speak.told
    confirms, checks = confirming(finding), worth_making(finding)
    finding = as_metered(finding, car)
    shown, rest = chosen(finding)
    bars = [
        BarRow(
            say(name_words(entry.cause)),
            say(cause_words(entry.cause)),
            say(chance(entry.probability)),
            round(100 * entry.probability, 1),
            sizes_words(entry, say),
        )
        for entry in shown
    ]
    if rest:
        bars.append(BarRow(say("all others"), "", say(chance(rest)), round(100 * rest, 1), ""))
    confusable = finding.causes[0].confusable_with
    return ReportPage(
        headline=say(headline(finding)),
        at_odds=say(at_odds(finding)),
        subject=" · ".join(filter(None, (car.name, recording.source))),
        bars=tuple(bars),
        confusable=say(alternatives(map(name_words, confusable))) if confusable else "",
        checks=tuple(
            replace(one, why=say(one.why), how=say(one.how), caution=say(one.caution))
            for one in checks
        ),
        confirming=confirms,
        cautions=tuple(map(say, CAUTIONS)),
        charts=_charts(finding, car.metering, speak),
        points=tuple(replace(one, kind=say(one.kind)) for one in finding.picture.points),
        sizes=_size_rows(finding, speak),
        evidence_title=say(led_title(finding)),
        evidence=tuple(replace(one, what=say(one.what)) for one in led_there(finding)),
        # How well the best known cause fits contradicts a headline that says that none does.
        misfit="" if _lost(finding) else say(misfit_words(finding.misfit)),
        excluded=(
            *map(say, finding.excluded),
            *(say(note) for note in recording.notes if note not in finding.warnings),
        ),
        warnings=tuple(map(say, finding.warnings)),
        car=_car_rows(car, speak),
        recording=_recording_rows(recording, speak),
        prior={
            say(name_words(cause)): say(chance(weight)) for cause, weight in finding.prior.items()
        },
        complaint=say(finding.complaint),
        version=__version__,
    )


def write_report(
    path: Path, finding: Finding, recording: Recording, car: Car, speak: Words = ENGLISH
) -> None:
    """Write the page as one HTML file, in the reader's language and units.

    Raises
    ------
    OSError
        If the file cannot be written.
    """
    write_page(path, "report.html", report_page(finding, recording, car, speak), speak)


def _number(value: float | None, digits: int = 1) -> str:
    return "–" if value is None or value != value else f"{value:.{digits}f}"  # noqa: PLR0124


def _charts(finding: Finding, metering: str, speak: Words) -> tuple[Chart, ...]:
    with drawn_in(speak):
        drawn = _drawn(_in_units(finding, speak), metering)
    return tuple(
        replace(
            one,
            title=speak.told(one.title),
            reading=speak.told(one.reading),
            head=tuple(map(speak.told, one.head)),
            rows=tuple(tuple(map(speak.told, row)) for row in one.rows),
        )
        for one in drawn
    )


def _in_units(finding: Finding, speak: Words) -> Finding:
    """The finding with its picture's airflow and pressure in the reader's units."""

    def scaled(value: float | None, unit: str) -> float | None:
        return None if value is None else speak.scaled(value, unit)

    def span(triple: tuple[float, float, float] | None) -> tuple[float, float, float] | None:
        if triple is None:
            return None
        value, low, high = (speak.scaled(one, "g/s") for one in triple)
        return value, low, high

    points = tuple(
        replace(
            one,
            airflow_meter_g_s=scaled(one.airflow_meter_g_s, "g/s"),
            airflow_speed_density_g_s=span(one.airflow_speed_density_g_s),
            airflow_throttle_g_s=span(one.airflow_throttle_g_s),
            true_airflow_g_s=scaled(one.true_airflow_g_s, "g/s"),
            manifold_pressure_kpa=scaled(one.manifold_pressure_kpa, "kPa"),
        )
        for one in finding.picture.points
    )
    curves = {
        cause: tuple((speak.scaled(flow, "g/s"), trim) for flow, trim in curve)
        for cause, curve in finding.picture.trim_curves.items()
    }
    return replace(finding, picture=replace(finding.picture, points=points, trim_curves=curves))


def _drawn(finding: Finding, metering: str) -> tuple[Chart, ...]:
    # The SVG is made by our own charts from numbers and escaped names, so it may go in as it is.
    found = []
    if svg := charts.trim_against_airflow(finding):
        reading = _TRIM_READING if metering == "airflow" else _TRIM_READING_COMPUTED
        head, rows = _trim_table(finding)
        found.append(Chart("Total trim against airflow", Markup(svg), reading, head, rows, "trim"))  # noqa: S704
    if svg := charts.routes(finding):
        reading = (
            "Each route tells the airflow in its own way. Those by pressure and by throttle lean "
            "on this car's filling and plate, which nobody knows exactly: look at how the routes "
            "part from one point to the next, not at one gap."
        )
        title = routes_title(finding.picture.points)
        found.append(Chart(title, Markup(svg), reading, name="routes"))  # noqa: S704
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


def _size_rows(finding: Finding, speak: Words) -> tuple[SizeRow, ...]:
    rows: dict[str, SizeRow] = {}
    for entry in chosen(finding)[0]:
        for cause, size in entry.sizes.items():
            # A cause's size is shown from the likeliest entry that holds it.
            rows.setdefault(cause, _size_row(cause, size, speak.told))
    return tuple(rows.values())


def _size_row(cause: str, size: Size, say: Callable[[str], str]) -> SizeRow:
    if size.unit == "ratio":
        reach = max(0.1, *(abs(x - 1) * 1.15 for x in (size.low, size.high)))
        start, end = 1 - reach, 1 + reach
        ends = (f"{percent_words(-reach)} %", "right", f"{percent_words(reach)} %")
    else:
        start, end = 0.0, max(size.high * 1.2, 1e-9)
        ends = ("none", "", f"{end:.1f} {unit_words(size.unit)}")
    low, value, high = (
        round(min(100.0, max(0.0, 100 * (x - start) / (end - start))), 2)
        for x in (size.low, size.value, size.high)
    )
    first, middle, last = map(say, ends)
    return SizeRow(
        say(name_words(cause)), say(size_words(cause, size)), say(interval_words(size)),
        first, middle, last, value, low, high,
    )  # fmt: skip


_CAR_UNITS = {
    "l": "L", "mm": "mm", "rpm": "rpm", "pct": "%", "kpa": "kPa", "m": "m", "c": "degC",
}  # fmt: skip


def _lost(finding: Finding) -> bool:
    return finding.causes[0].cause == "unexplained"


def _car_rows(car: Car, speak: Words) -> dict[str, str]:
    rows = {}
    for field in fields(car):
        value = getattr(car, field.name)
        words, _, end = field.name.rpartition("_")
        name = (words if end in _CAR_UNITS else field.name).replace("_", " ")
        if isinstance(value, Known):
            rows[speak.told(name)] = _known(value, _CAR_UNITS[end], speak)
        elif field.name == "source":
            rows[speak.told(name)] = str(value)
        elif field.name not in {"name", "complaint"}:
            told = "unknown" if value is None else str(value)
            rows[speak.told(name)] = speak.told(told)
    return rows


def _known(known: Known, unit: str, speak: Words) -> str:
    if unit == "kPa" and speak.units == "us":
        # Words alone would not say that it is the barometer's.
        spread = f" ± {speak.figure(known.sd, unit)}" if known.sd else ""
        return f"{speak.figure(known.value, unit)}{spread} {speak.unit(unit)}"
    spread = f" ± {known.sd:g}" if known.sd else ""
    return speak.told(f"{known.value:g}{spread} {unit}")


def _recording_rows(recording: Recording, speak: Words) -> dict[str, str]:
    say = speak.told
    ends = [series.time_s[-1] for series in recording.series.values() if series.time_s.size]
    rows = {
        say("file"): recording.source,
        say("length"): f"{max(ends, default=0.0):.0f} s",
        say("samples"): say(f"{recording.samples_per_s:.1f} a second in all"),
        say("parameters"): ", ".join(say(name.replace("_", " ")) for name in recording.series),
    }
    if recording.unmapped:
        rows[say("columns not used")] = ", ".join(recording.unmapped)
    return rows
