"""The causes: what each is called, what it does to the air path, and how its size is told."""

from dataclasses import dataclass
from typing import Literal

__all__ = ["AREAS", "CAUSES", "SINGLE_CAUSES", "Cause", "called", "pairs", "singles"]

Effect = Literal["leak", "meter", "fuel", "deposit", "learned", "pressure", "boost"]

#: What has an area for its size: it is inferred as a logarithm, and bends what the readings say.
AREAS: tuple[Effect, ...] = ("leak", "deposit")


@dataclass(frozen=True)
class Cause:
    """One cause.

    ``effect`` is what it acts on, ``sign`` the direction of a ratio (+1 reads or delivers too
    much), and ``unit`` the unit of its size.
    """

    name: str
    effect: Effect
    sign: int
    unit: str


CAUSES: dict[str, Cause] = {
    cause.name: cause
    for cause in (
        Cause("leak", "leak", 1, "mm"),
        Cause("meter_low", "meter", -1, "ratio"),
        Cause("meter_high", "meter", 1, "ratio"),
        Cause("fuel_low", "fuel", -1, "ratio"),
        Cause("fuel_high", "fuel", 1, "ratio"),
        Cause("deposit", "deposit", 1, "mm2"),
        Cause("learned_stale", "learned", 1, "g/s"),
        Cause("pressure_low", "pressure", -1, "ratio"),
        Cause("pressure_high", "pressure", 1, "ratio"),
        Cause("boost_low", "boost", -1, "ratio"),
        Cause("boost_high", "boost", 1, "ratio"),
    )
}
SINGLE_CAUSES = tuple(CAUSES)
#: What a cause is called where its name with spaces for underscores is not English.
_CALLED = {"learned_stale": "stale learning"}


def called(name: str) -> str:
    """A cause, pair or course as people call it: ``leak+stale learning``.

    Names are the contract; what people read is this.
    """
    for cause, words in _CALLED.items():
        name = name.replace(cause, words)
    return name.replace("_", " ")


def singles(*, both_sensors: bool, boost: bool) -> tuple[str, ...]:
    """The single causes that can be asked about.

    A false pressure sensor is a cause only where an airflow meter stands beside it (otherwise it
    *is* the meter), a false boost sensor only where one reports.
    """
    left_out = set()
    if not both_sensors:
        left_out |= {"pressure_low", "pressure_high"}
    if not boost:
        left_out |= {"boost_low", "boost_high"}
    return tuple(name for name in SINGLE_CAUSES if name not in left_out)


def pairs(causes: tuple[str, ...]) -> tuple[tuple[str, str], ...]:
    """Every two causes that can stand together: not both ways of one effect, and not the two
    states of the same plate (deposit and the learning left over from it)."""
    found = []
    for i, first in enumerate(causes):
        for second in causes[i + 1 :]:
            effects = {CAUSES[first].effect, CAUSES[second].effect}
            if len(effects) == 2 and effects != {"deposit", "learned"}:
                found.append((first, second))
    return tuple(found)
