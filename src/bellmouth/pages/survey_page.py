"""A survey as one self-contained page: causes by family, sizes, the worst cars first, drift."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import polars as pl
from markupsafe import Markup

from bellmouth import __version__
from bellmouth.pages import survey_charts
from bellmouth.pages.card_words import ENGLISH, Words
from bellmouth.pages.drawing import drawn_in
from bellmouth.pages.page_templates import write_page
from bellmouth.pages.report import Chart
from bellmouth.pages.survey_screen import NO_FAMILY, counts, size_text, worst
from bellmouth.pages.words import CAUTIONS, chance

__all__ = ["SurveyPage", "WorstRow", "summary_page", "write_summary"]

_WORST_SHOWN = 200
_ERRORS_SHOWN = 200


@dataclass(frozen=True)
class WorstRow:
    """A recording whose likeliest cause is a fault."""

    car: str
    recording: str
    family: str
    cause: str
    chance: str
    size: str


@dataclass(frozen=True)
class SurveyPage:
    """Everything the page shows; the template uses every field and nothing else."""

    headline: str
    charts: tuple[Chart, ...]
    families: tuple[tuple[str, str, int, str], ...]
    worst: tuple[WorstRow, ...]
    errors: tuple[tuple[str, str], ...]
    cautions: tuple[str, ...]
    version: str


def summary_page(table: pl.DataFrame, speak: Words = ENGLISH) -> SurveyPage:
    """Gather what the page shows from the findings of a survey, in the reader's language and
    units."""
    say = speak.told
    judged = table.filter(pl.col("error").is_null())
    failed = table.filter(pl.col("error").is_not_null())
    return SurveyPage(
        headline=say(_headline(judged.height, judged["car"].n_unique())),
        charts=_charts(judged, speak),
        families=tuple(
            (_family(family, say), say(cause), many, say(chance(mean)))
            for family, cause, many, mean in counts(table).iter_rows()
        ),
        worst=tuple(
            WorstRow(
                str(row["car"]),
                row["recording"],
                row["family"] or "",
                say(row["shown"]),
                say(chance(row["probability"])),
                say(size_text(row)),
            )
            for row in worst(table).head(_WORST_SHOWN).iter_rows(named=True)
        ),
        errors=tuple(
            (row["recording"] or row["car"], say(row["error"]))
            for row in failed.head(_ERRORS_SHOWN).iter_rows(named=True)
        ),
        cautions=tuple(map(say, CAUTIONS)),
        version=__version__,
    )


def write_summary(path: Path, table: pl.DataFrame, speak: Words = ENGLISH) -> None:
    """Write the page as one HTML file, in the reader's language and units.

    Raises
    ------
    OSError
        If the file cannot be written.
    """
    write_page(path, "survey.html", summary_page(table, speak), speak)


def _headline(recordings: int, cars: int) -> str:
    if cars != 1:
        return f"{recordings} recordings of {cars} cars"
    return "1 recording of 1 car" if recordings == 1 else f"{recordings} recordings of 1 car"


def _family(name: str, say: Callable[[str], str]) -> str:
    """A family's own name stays."""
    return say(NO_FAMILY) if name == NO_FAMILY else name


def _charts(judged: pl.DataFrame, speak: Words) -> tuple[Chart, ...]:
    if "distance_km" in judged.columns:
        judged = judged.with_columns(pl.col("distance_km") * speak.scaled(1.0, "km"))
    with drawn_in(speak):
        drawn = _drawn(judged)
    return tuple(
        replace(one, title=speak.told(one.title), reading=speak.told(one.reading)) for one in drawn
    )


def _drawn(judged: pl.DataFrame) -> tuple[Chart, ...]:
    # The SVG is made by our own charts from numbers and escaped names, so it may go in as it is.
    drawn = (
        (
            "Likeliest cause by engine family",
            survey_charts.causes_by_family(judged),
            "A family whose bar stands out has a fault of its own, or priors that do not fit it.",
        ),
        (
            "How big the causes are",
            survey_charts.sizes(judged),
            "The box holds the middle half of the cars with that cause on top, each over the "
            "median.",
        ),
        (
            "Cars to look at first",
            survey_charts.worst_cars(worst(judged)),
            "The longer the bar, the surer the fault; their sizes stand in the table below.",
        ),
        (
            "Throttle at idle over distance",
            survey_charts.drift(judged),
            "A rising line is deposit, wear or an oil-fogging vent: look before cleaning.",
        ),
    )
    return tuple(
        Chart(title, Markup(svg), reading)  # noqa: S704
        for title, svg, reading in drawn
        if svg
    )
