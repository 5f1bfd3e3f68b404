"""The checks as data: names, outcomes, how often each outcome comes, words and cautions."""

import math
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from importlib.resources import files
from types import MappingProxyType

__all__ = ["CHECKS", "Check", "CheckResult", "as_known", "counted"]


@dataclass(frozen=True)
class CheckResult:
    """What a check showed: one of its outcomes, or a number where it takes one.

    ``sd`` is how far a number may be off beside the check's own error; ``from_car`` says that no
    check was made and the car file holds it.
    """

    check: str
    outcome: str
    value: float | None = None
    sd: float = 0.0
    from_car: bool = False


@dataclass(frozen=True)
class Check:
    """One check.

    ``given`` maps a cause to the probability of each outcome when it is there, ``otherwise``
    holds them when it is not. ``half_seen`` is the size at which a fault is seen half the time.
    ``needs`` are causes without which the check makes no sense, ``confirms`` those it shows;
    ``metering`` is how the car must measure its air, where only some cars can be checked so.
    ``ends`` are checks that can no longer be made after this one, or after it showed ``ends_when``.
    A check that ``reads`` a number has an ``error``, a range, and the ``edges`` between its words;
    those of one ``from_idle`` count from the lowest warm idle that was recorded.
    One that puts something right first ``fails`` that often to have an effect, and an ``other``
    reason changes what is read by ``other_sd`` or so.
    ``shared`` is the correlation of its error with that of the same check made ``again``.
    """

    name: str
    outcomes: tuple[str, ...]
    minutes: float
    why: str
    how: str
    shared: float
    again: str
    caution: str = ""
    given: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    otherwise: tuple[float, ...] = ()
    half_seen: float | None = None
    reads: str = ""
    error: float = 0.0
    edges: tuple[float, ...] = ()
    from_idle: bool = False
    fails: float = 0.0
    other: float = 0.0
    other_sd: float = 0.0
    low: float = 0.0
    high: float = 0.0
    needs: tuple[str, ...] = ()
    metering: str = ""
    ends: tuple[str, ...] = ()
    ends_when: str = ""
    confirms: tuple[str, ...] = ()
    synonyms: Mapping[str, str] = field(default_factory=dict)


def _load() -> Mapping[str, Check]:
    text = files("bellmouth.finding").joinpath("checks.toml").read_text(encoding="utf-8")
    checks = {}
    for name, table in tomllib.loads(text).items():
        given = {cause: tuple(values) for cause, values in table.pop("given", {}).items()}
        for key in ("outcomes", "otherwise", "edges", "needs", "confirms", "ends"):
            if key in table:
                table[key] = tuple(table[key])
        checks[name] = Check(name=name, given=given, **table)
    return MappingProxyType(checks)


CHECKS: Mapping[str, Check] = _load()


def as_known(check: Check, results: Sequence[CheckResult]) -> Check:
    """The check, erring by as much more as its results are known less well."""
    sd = max((one.sd for one in results), default=0.0)
    return replace(check, error=math.hypot(check.error, sd)) if sd else check


def counted(results: Sequence[CheckResult]) -> tuple[str, ...]:
    """Which checks the finding has in it, so that nobody has to guess."""
    made = [one for one in results if not one.from_car]
    if not made:
        return ()
    told = ", ".join(
        f"{one.check}: {one.outcome}".replace("_", " ")
        if one.value is None
        else f"{one.check.replace('_', ' ')}: {one.value:g}"
        for one in made
    )
    return (f"Checks counted: {told}.",)
