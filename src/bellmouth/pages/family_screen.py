"""An engine family on the terminal: what was learnt, and from how much."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from rich.table import Table
from rich.text import Text

from bellmouth.finding.family import Family
from bellmouth.pages.metered import shown_cause
from bellmouth.pages.teller import Teller
from bellmouth.pages.words import name_words

__all__ = [
    "coordinate_rows",
    "idle_words",
    "off_words",
    "print_family",
    "print_foretold",
    "print_left_out",
]

_LEAST_SHARE = 0.01
_SHOWN = 6
#: What each coordinate is, and how its mean is told: "exp" is a factor or an amount.
_WORDS = {
    "fill_level": ("filling at 35 kPa and 900 rpm", "exp", ""),
    "fill_rise": ("what filling gains up to 95 kPa", "log", ""),
    "fill_speed": ("what filling gains with speed", "log", ""),
    "bypass": ("area with the plate shut", "exp", "mm²"),
    "slope": ("area a per cent of opening is worth", "exp", "mm²"),
    "opening": ("opening at the lowest idle, clean", "exp", "%"),
    "curve": ("how the plate's area bends", "plain", "a %"),
    "fade": ("opening over which deposit fades", "exp", "%"),
    "closed": ("throttle reading at the stop", "plain", "%"),
    "meter_gain": ("metering off by", "log", ""),
    "fuel_level": ("trim of a car in order", "log", ""),
    "bank_split": ("bank 1 over bank 2", "log", ""),
    "trim_sum": ("trims multiply (0) or add (1)", "plain", ""),
}


def print_family(family: Family, to: Teller) -> None:
    """Print a family for people: shares of causes, how they idle, each unknown."""
    say, out = to.say, to.out
    out.print()
    told = say(
        f"{family.cars} cars, {family.recordings} recordings, {family.displacement_l:g} L, "
        f"metered by {family.metering}"
    )
    out.print(Text(f"{family.name}: {told}", style="bold"))
    to.section("Shares of causes, as estimated")
    for cause, share in sorted(family.shares.items(), key=lambda item: -item[1]):
        if share >= _LEAST_SHARE:
            words = name_words(shown_cause(cause, family.metering))
            out.print(Text(f"{share * 100:5.0f} %  {say(words)}"))
    to.section("How they idle when nothing is wrong")
    for line in idle_words(family):
        out.print(Text(say(line)))
    to.section("Such a car, and how far two of them differ")
    grid = Table.grid(padding=(0, 2, 0, 0))
    for words, told in coordinate_rows(family):
        grid.add_row(say(words), say(told))
    out.print(grid)
    if family.growth is not None:
        low, high = (round(km / 1000) for km in family.growth.km_to_level)
        out.print()
        to.line(
            f"A plate is worth a look after {low} to {high} thousand km "
            f"({family.growth.cars} cars)."
        )


def idle_words(family: Family) -> list[str]:
    """How its cars idle when nothing is wrong, a line each."""
    rpm, timing, air = family.habit.rpm, family.habit.timing_deg, family.habit.log_air
    told = []
    if rpm is not None:
        told.append(f"speed {rpm.value:.0f} ± {rpm.sd:.0f} rpm")
    if timing is not None:
        told.append(f"spark {timing.value:.1f} ± {timing.sd:.1f} degrees before top")
    if air is not None:
        told.append(f"air {np.exp(air.value):.2f} g/s a litre at 750 rpm, ± {100 * air.sd:.0f} %")
    return told or ["not learnt"]


def coordinate_rows(family: Family) -> list[tuple[str, str]]:
    """What each unknown of such a car is, and where it lies with its spread."""
    rows = []
    for name, mean, sd in zip(family.coordinates, family.mean, family.sd, strict=True):
        words, kind, unit = _WORDS[name]
        rows.append((words, _told(mean, sd, kind, unit)))
    return rows


def _told(mean: float, sd: float, kind: str, unit: str) -> str:
    if kind == "exp":
        return f"{np.exp(mean):.3g} {unit}".rstrip() + f", ± {100 * sd:.0f} %"
    if kind == "log":
        return f"{100 * np.expm1(mean):+.1f} %, ± {100 * sd:.1f} %"
    return f"{mean:.3g} ± {sd:.2g} {unit}".rstrip()


def print_foretold(gain: NDArray[np.float64], off: Sequence[str], to: Teller) -> None:
    """How well the others foretell each car, and which cars are slightly off."""
    to.section("Each car held against the others")
    better = int(np.count_nonzero(gain > 0.0))
    to.line(
        f"The others foretell a car's readings {np.exp(np.median(gain)):.1f} times as well as "
        f"what is known of any car does (median); {better} of {len(gain)} recordings better."
    )
    to.list("Like the rest, but slightly off (one in a hundred by chance)", off, _SHOWN)


def off_words(source: str, unknown: str, score: float) -> str:
    """A car that is slightly off, by what is furthest."""
    words, _, _ = _WORDS[unknown]
    more = "more" if score > 0 else "less"
    return f"{source}: {words}, {abs(score):.1f} standard deviations {more}"


def print_left_out(refused: Sequence[str], strange: Sequence[str], to: Teller) -> None:
    """What could not be judged, and what was judged and is not like the rest."""
    to.list("Could not be judged", refused, _SHOWN)
    to.list("Not like the rest, and hardly counted", strange, _SHOWN)
