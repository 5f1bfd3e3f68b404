"""Plain words for a finding, shared by the screen and the report: what, how big, how sure."""

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace

from bellmouth.finding.causes import called
from bellmouth.finding.result import CauseProbability, Evidence, Finding, Size

__all__ = [
    "CAUTIONS",
    "SAFETY",
    "alternatives",
    "at_odds",
    "cause_words",
    "chance",
    "chosen",
    "headline",
    "how_sure",
    "interval_words",
    "led_there",
    "led_title",
    "look_again",
    "misfit_words",
    "name_words",
    "number",
    "percent_words",
    "size_words",
    "sizes_words",
    "spoken",
    "unit_words",
]

_WORDS = {
    "healthy": "nothing is wrong with the air path",
    "leak": "air leaks in after the meter and the throttle",
    "meter_low": "the airflow reading is too low",
    "meter_high": "the airflow reading is too high",
    "fuel_low": "too little fuel is delivered",
    "fuel_high": "too much fuel is delivered",
    "deposit": "deposit narrows the gap round the closed throttle plate",
    "learned_stale": "the learned idle opening is out of date",
    "computed_air_low": "the airflow computed from pressure is too low",
    "computed_air_high": "the airflow computed from pressure is too high",
    "pressure_low": "the manifold pressure sensor reads low",
    "pressure_high": "the manifold pressure sensor reads high",
    "boost_low": "the boost pressure sensor reads low",
    "boost_high": "the boost pressure sensor reads high",
    "unexplained": "no cause known here fits these readings",
}
SAFETY = (
    "The car maker's manual and local law come first. Run the engine only in open air or with "
    "extraction; keep clear of hot parts, belts and fans."
)
CAUTIONS = (
    "The car maker's manual, local law and licensed practice come before anything here. If the "
    "car has a high-voltage drive or can start by itself, follow the manual's service mode.",
    "Run the engine only in open air or with extraction: exhaust gas kills.",
    "Park brake on, wheels chocked, P or N. Keep hands, hair and leads clear of belts and fans; "
    "they can move with the key off. Mind hot parts.",
    "No flame or spark near fuel or solvent vapour; an extinguisher in reach; eyes and hands "
    "protected. No fingers in the bore while anything could move the plate.",
    "Do not clean anything when too little fuel or a misfire is the likeliest cause.",
)
_ABBREVIATED = {"egr": "EGR", "vvt": "VVT", "nox": "NOx", "nmhc": "NMHC"}
_MISFIT = 3.0
_UNITS = {"mm": "mm", "mm2": "mm²", "g/s": "g/s", "ratio": "%"}


def cause_words(cause: str) -> str:
    """A cause in plain words; the members of a pair are joined with "and"."""
    return ", and ".join(_WORDS.get(part, part.replace("_", " ")) for part in cause.split("+"))


def name_words(cause: str) -> str:
    """A cause's name as it is shown: ``leak + meter low`` for ``leak+meter_low``."""
    return called(cause).replace("+", " + ")


def spoken(name: str) -> str:
    """A name of the standard as people say it: ``EGR or VVT`` for ``egr_or_vvt``."""
    return " ".join(_ABBREVIATED.get(word, word) for word in name.split("_"))


def alternatives(names: Iterable[str]) -> str:
    """Names as in a sentence: ``a, b or c``."""
    *others, last = names
    return f"{', '.join(others)} or {last}" if others else last


def chance(probability: float) -> str:
    """A probability as a whole percentage; never 0 % or 100 %, which nobody can know."""
    if probability < 0.01:
        return "under 1 %"
    if probability > 0.99:
        return "over 99 %"
    return f"{probability:.0%}".replace("%", " %")


def how_sure(probability: float) -> str:
    """The words that go with a probability."""
    for least, words in ((0.9, "Almost certainly"), (0.75, "Very probably"), (0.5, "Probably")):
        if round(probability, 2) >= least:
            return words
    return "Not settled, but likeliest"


def unit_words(unit: str) -> str:
    """The unit of a size as it is shown: mm² for mm2, per cent for a ratio (how far it is off)."""
    return _UNITS.get(unit, unit)


def number(value: float, unit: str) -> str:
    """A size to the digits that matter in its unit: -12 %, 2.1 mm, 14 mm²."""
    if unit == "ratio":
        return percent_words(value - 1.0)
    return (
        f"{value:.2f}" if abs(value) < 1 else f"{value:.1f}" if abs(value) < 10 else f"{value:.0f}"
    )


def percent_words(off: float, digits: int = 0) -> str:
    """A share as a signed percentage without its sign: ``-12`` for -0.12."""
    return f"{round(off * 100, digits) + 0.0:+.{digits}f}"


def interval_words(size: Size) -> str:
    """Value and interval: ``2.1 mm (1.8 to 2.5)``; of a ratio how far it is off, ``-12 % (-15 to
    -9)``."""
    if size.unit == "ratio":
        ends = [one - 1.0 for one in (size.value, size.low, size.high)]
        digits = 0 if round(ends[1], 2) != round(ends[2], 2) else 1
        value, low, high = (percent_words(one, digits) for one in ends)
        return f"{value} % ({low} to {high})"
    value, low, high = (number(one, size.unit) for one in (size.value, size.low, size.high))
    if low == high:  # narrower than the usual digits show
        value, low, high = (f"{one:.3g}" for one in (size.value, size.low, size.high))
    return f"{value} {unit_words(size.unit)} ({low} to {high})"


def _percent_off(ratio: float) -> str:
    return f"{abs(ratio - 1):.0%}".replace("%", " %")


def _ratio_words(size: Size) -> str:
    if (size.low < 1) != (size.high < 1):
        span = f"{_percent_off(size.low)} below to {_percent_off(size.high)} above"
    else:
        least, most = sorted((abs(size.low - 1), abs(size.high - 1)))
        span = f"{least * 100:.0f} to {most * 100:.0f} %"
    if size.value < 1:
        return f"{_percent_off(size.value)} below what is right ({span})"
    return f"{_percent_off(size.value)} above what is right ({span})"


def size_words(cause: str, size: Size) -> str:
    """How big a single cause is, in a phrase that can follow its words.

    ``leak`` of 2.1 mm becomes "like a round hole of 2.1 mm (1.8 to 2.5)"; a ratio becomes per
    cent above or below what is right.
    """
    if size.unit == "ratio":
        return _ratio_words(size)
    if cause == "leak" and size.unit == "mm":
        return f"like a round hole of {interval_words(size)}"
    if cause == "deposit":
        return f"{interval_words(size)} of opening lost"
    if cause == "learned_stale":
        return f"{interval_words(size)} of air too much"
    return interval_words(size)


def sizes_words(entry: CauseProbability, say: Callable[[str], str] = str) -> str:
    """The sizes of a cause; those of a pair are told by name: ``leak 2.1 mm (1.8 to 2.5); ...``."""
    several = len(entry.sizes) > 1
    return "; ".join(
        (f"{say(name_words(cause))} " if several else "") + say(interval_words(size))
        for cause, size in entry.sizes.items()
    )


def _described(entry: CauseProbability) -> str:
    parts = []
    for cause in entry.cause.split("+"):
        words = cause_words(cause)
        size = entry.sizes.get(cause)
        parts.append(f"{words}, {size_words(cause, size)}" if size else words)
    return "; and ".join(parts)


def headline(finding: Finding) -> str:
    """The finding in one sentence: how sure, what, how big."""
    top = finding.causes[0]
    if top.cause == "unexplained":
        return (
            f"No cause known here fits these readings ({chance(top.probability)}): "
            "see which disagree before replacing anything."
        )
    if finding.misfit > _MISFIT:
        return (
            f"The readings do not fit together; the least bad answer ({chance(top.probability)} of "
            f"those known here) is: {_described(top)}."
        )
    return f"{how_sure(top.probability)} ({chance(top.probability)}): {_described(top)}."


def at_odds(finding: Finding) -> str:
    """What belongs beside the headline where a check disagrees; empty where none does.

    The headline may follow the check, so what it disagrees with is the recording, not the headline.
    """

    said = []
    if names := _odd(finding.disagreeing, "recording"):
        said.append(f"But what was checked disagrees with the recording ({names}): see Mind.")
    if names := _odd(finding.disagreeing, "itself"):
        said.append(f"But what was checked again contradicts itself ({names}): see Mind.")
    return " ".join(said)


def look_again(disagreeing: Mapping[str, str]) -> str:
    """What whoever acts on a finding is told where a check in it disagrees; else empty."""
    said = []
    if names := _odd(disagreeing, "recording"):
        said.append(
            f"What was checked disagrees with the recording ({names}): check again, and record "
            "again, before any work rests on either."
        )
    if names := _odd(disagreeing, "itself"):
        said.append(
            f"What was checked again contradicts itself ({names}): find out why before any work "
            "rests on it."
        )
    return " ".join(said)


def _odd(disagreeing: Mapping[str, str], other: str) -> str:
    """The checks that disagree with this, by their names."""
    return ", ".join(name_words(check) for check, what in disagreeing.items() if what == other)


def chosen(
    finding: Finding, most: int = 6, least: float = 0.015
) -> tuple[tuple[CauseProbability, ...], float]:
    """The causes worth a line, and the probability of all others together."""
    shown = tuple(
        entry
        for place, entry in enumerate(finding.causes[:most])
        if place < 2 or entry.probability >= least
    )
    rest = sum(entry.probability for entry in finding.causes[len(shown) :])
    return shown, rest if rest >= 0.0005 else 0.0


def led_title(finding: Finding) -> str:
    """What evidence is for: of a healthy car it is what speaks for something else."""
    return "What speaks against it" if finding.causes[0].cause == "healthy" else "What led there"


def led_there(finding: Finding) -> list[Evidence]:
    """What led there: readings before reasons, the strongest first, and what speaks for several
    causes said once."""
    found: dict[str, Evidence] = {}
    names: dict[str, list[str]] = {}
    causes = {name_words(entry.cause).replace(" + ", "+") for entry in finding.causes}
    for item in sorted(finding.evidence, key=lambda one: (not one.readings, -abs(one.strength))):
        name, colon, what = item.what.partition(": ")
        told = what if colon and name in causes else item.what
        found.setdefault(told, item)
        if told is what:
            names.setdefault(told, []).append(name)
    return [
        replace(item, what=f"{', '.join(map(_spaced, names[told]))}: {told}")
        if told in names
        else item
        for told, item in found.items()
    ]


def _spaced(name: str) -> str:
    return name.replace("+", " + ")


def misfit_words(misfit: float) -> str:
    """How well the likeliest cause fits the readings; about 1 is as well as can be expected."""
    if not math.isfinite(misfit):
        return "How well the readings fit could not be told."
    if misfit < 1.5:
        verdict = "The readings fit as well as can be expected"
    elif misfit < 2.5:
        verdict = "The readings fit poorly: take the answer with care"
    else:
        verdict = "The readings do not fit: see which disagree"
    return f"{verdict} (misfit {misfit:.1f}; up to about 1 is a good fit)."
