"""A proof as one self-contained page: the verdict, what changed, pictures before over after."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from markupsafe import Markup

from bellmouth import __version__
from bellmouth.car.description import Car
from bellmouth.finding.proof_result import Change, Need, PairPoint, Proof
from bellmouth.finding.result import Size
from bellmouth.pages import proof_charts
from bellmouth.pages.card_words import ENGLISH, Words
from bellmouth.pages.drawing import drawn_in
from bellmouth.pages.page_templates import write_page
from bellmouth.pages.proof_words import (
    change_words,
    course_words,
    leak_words,
    learning_words,
    outcome_words,
    proof_headline,
)
from bellmouth.pages.report import BarRow, Chart
from bellmouth.pages.words import CAUTIONS, chance
from bellmouth.recording.series import Recording

__all__ = ["ChangeRow", "ProofPage", "proof_page", "write_report"]


@dataclass(frozen=True)
class ChangeRow:
    """One cause's size before and after on one scale: where value and interval stand. [%]"""

    name: str
    before: str
    after: str
    change: str
    before_span: tuple[float, float, float]
    after_span: tuple[float, float, float]


@dataclass(frozen=True)
class ProofPage:
    """Everything the page shows; the template uses every field and nothing else."""

    headline: str
    subject: str
    verdict: str
    bars: tuple[BarRow, ...]
    changes: tuple[ChangeRow, ...]
    halves: str
    learning: str
    leak: str
    needs: tuple[Need, ...]
    courses: tuple[tuple[str, str], ...]
    charts: tuple[Chart, ...]
    points: tuple[PairPoint, ...]
    warnings: tuple[str, ...]
    cautions: tuple[str, ...]
    version: str


def proof_page(
    proof: Proof, before: Recording, after: Recording, car: Car, speak: Words = ENGLISH
) -> ProofPage:
    """Gather what the page shows, in the reader's language and units."""
    say = speak.told
    subject = filter(None, (car.name, say(f"{before.source} before, {after.source} after")))
    return ProofPage(
        headline=say(proof_headline(proof, car.metering)),
        subject=" · ".join(subject),
        verdict=say(proof.verdict),
        bars=tuple(
            BarRow(say(name), "", say(chance(p)), round(100 * p, 1), "")
            for name, p in sorted(proof.outcomes.items(), key=lambda item: -item[1])
        ),
        changes=tuple(_change_row(change, car.metering, say) for change in proof.changes),
        halves=say(outcome_words(proof)),
        learning=say(learning_words(proof)),
        leak=say(leak_words(proof)),
        needs=tuple(Need(say(one.what), say(one.why)) for one in proof.needs),
        courses=tuple(
            (say(course_words(name, car.metering)), say(chance(p)))
            for name, p in proof.courses.items()
            if p >= 0.01
        ),
        charts=_charts(proof, speak),
        points=proof.points,
        warnings=tuple(map(say, proof.warnings)),
        cautions=tuple(map(say, CAUTIONS)),
        version=__version__,
    )


def write_report(
    path: Path,
    proof: Proof,
    before: Recording,
    after: Recording,
    car: Car,
    speak: Words = ENGLISH,
) -> None:
    """Write the page as one HTML file, in the reader's language and units.

    Raises
    ------
    OSError
        If the file cannot be written.
    """
    write_page(path, "proof.html", proof_page(proof, before, after, car, speak), speak)


def _change_row(change: Change, metering: str, say: Callable[[str], str]) -> ChangeRow:
    name, before, after, moved = map(say, change_words(change, metering, with_unit=True))
    sizes = (change.before, change.after)
    nothing = 1.0 if change.change.unit == "ratio" else 0.0
    ends = [nothing, *(x for size in sizes for x in (size.low, size.high))]
    low, high = min(ends), max(ends)
    spread = max(high - low, 1e-9)

    def span(size: Size) -> tuple[float, float, float]:
        low_at, at, high_at = (
            round(100.0 * (x - low) / spread, 2) for x in (size.low, size.value, size.high)
        )
        return low_at, at, high_at

    return ChangeRow(name, before, after, moved, span(sizes[0]), span(sizes[1]))


def _charts(proof: Proof, speak: Words) -> tuple[Chart, ...]:
    points = tuple(
        replace(
            one,
            airflow_g_s=None if one.airflow_g_s is None else speak.scaled(one.airflow_g_s, "g/s"),
        )
        for one in proof.points
    )
    with drawn_in(speak):
        drawn = _drawn(replace(proof, points=points))
    return tuple(
        replace(one, title=speak.told(one.title), reading=speak.told(one.reading)) for one in drawn
    )


def _drawn(proof: Proof) -> tuple[Chart, ...]:
    # The SVG is made by our own charts from numbers and escaped names, so it may go in as it is.
    found = []
    if svg := proof_charts.trim_before_and_after(proof):
        reading = (
            "What the trims had to make up, before and after. Nearer to zero at every airflow is "
            "better; zero just after a reset says nothing."
        )
        found.append(Chart("Total trim against airflow", Markup(svg), reading, name="trims"))  # noqa: S704
    if svg := proof_charts.throttle_against_airflow(proof):
        reading = (
            "How far the plate has to open for its air. A clean plate needs less; an idle that "
            "stands far to the right passes more air than it wants."
        )
        found.append(Chart("Throttle against airflow", Markup(svg), reading, name="throttle"))  # noqa: S704
    return tuple(found)
