"""A proof as one self-contained page: the verdict, what changed, pictures before over after."""

from dataclasses import dataclass, fields
from pathlib import Path

from markupsafe import Markup

from bellmouth import __version__
from bellmouth.car.description import Car
from bellmouth.finding.proof_result import Need, PairPoint, Proof
from bellmouth.finding.result import Size
from bellmouth.pages import proof_charts
from bellmouth.pages.proof_words import (
    change_words,
    course_words,
    leak_words,
    learning_words,
    proof_headline,
)
from bellmouth.pages.report import BarRow, Chart, template_environment
from bellmouth.pages.words import CAUTIONS, chance, name_words
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
    learning: str
    leak: str
    needs: tuple[Need, ...]
    courses: tuple[tuple[str, str], ...]
    charts: tuple[Chart, ...]
    points: tuple[PairPoint, ...]
    warnings: tuple[str, ...]
    cautions: tuple[str, ...]
    version: str


def proof_page(proof: Proof, before: Recording, after: Recording, car: Car) -> ProofPage:
    """Gather what the page shows."""
    subject = filter(None, (car.name, f"{before.source} before, {after.source} after"))
    return ProofPage(
        headline=proof_headline(proof),
        subject=" · ".join(subject),
        verdict=proof.verdict,
        bars=tuple(
            BarRow(name, "", chance(p), round(100 * p, 1), "")
            for name, p in sorted(proof.outcomes.items(), key=lambda item: -item[1])
        ),
        changes=tuple(_change_row(proof, number) for number in range(len(proof.changes))),
        learning=learning_words(proof),
        leak=leak_words(proof),
        needs=proof.needs,
        courses=tuple(
            (course_words(name), chance(p)) for name, p in proof.courses.items() if p >= 0.01
        ),
        charts=_charts(proof),
        points=proof.points,
        warnings=proof.warnings,
        cautions=CAUTIONS,
        version=__version__,
    )


def write_report(path: Path, proof: Proof, before: Recording, after: Recording, car: Car) -> None:
    """Write the page as one HTML file.

    Raises
    ------
    OSError
        If the file cannot be written.
    """
    page = proof_page(proof, before, after, car)
    declared = {field.name: getattr(page, field.name) for field in fields(page)}
    html = template_environment().get_template("proof.html").render(declared)
    path.write_text(html, encoding="utf-8")


def _change_row(proof: Proof, number: int) -> ChangeRow:
    change = proof.changes[number]
    name, before, after, moved = change_words(change)
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

    return ChangeRow(name_words(name), before, after, moved, span(sizes[0]), span(sizes[1]))


def _charts(proof: Proof) -> tuple[Chart, ...]:
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
