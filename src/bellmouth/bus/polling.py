"""What to ask next: what a finding needs most often, as often as the car can answer.

Every parameter has a period at which it is wanted; the next request asks for those that are most
overdue. What the causes still in play hinge on is wanted more often, and what is not answered
less and less.
"""

import functools
import tomllib
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from importlib import resources
from typing import TYPE_CHECKING

from bellmouth.j1979 import parameters
from bellmouth.j1979.messages import MOST_PARAMETERS

if TYPE_CHECKING:
    from bellmouth.bus.reports import Sample

__all__ = ["Polling", "Wish", "present", "wishes"]

# A parameter on which all that is undecided hinges is wanted so many times as often.
MOST_WEIGHT = 3.0
# From here on a parameter counts as asked for more often than usual.
HASTENED = 1.5
# With the engine standing, this is what the stretch is for. [s]
STANDING = {"intake_manifold_pressure": 0.2, "barometric_pressure": 0.5, "throttle_position": 0.3}
# Unanswered this often in a row, a parameter is asked half as often, and so on down to a limit.
PATIENCE = 4
SELDOM = 64.0
# Requests of either size before it is decided which serves better.
TRIALS = 4
# Asking one by one sharpens the stamps; it is worth losing this share of the rate.
ALONE_SHARE = 0.75


@dataclass(frozen=True)
class Wish:
    """How often a parameter is wanted [s], the causes that are told by it, and what it is asked
    for in place of."""

    every_s: float
    hinges: frozenset[str]
    instead_of: str | None = None


@functools.cache
def wishes() -> Mapping[str, Wish]:
    """The table of ``polling.toml``, by parameter."""
    text = resources.files(__package__ or "").joinpath("polling.toml").read_text("utf-8")
    return {
        name: Wish(float(row["every_s"]), frozenset(row["hinges"]), row.get("instead_of"))
        for name, row in tomllib.loads(text).items()
    }


def _known(name: str | None, supported: Collection[int]) -> bool:
    return name is not None and parameters.by_name(name).identifier in supported


def present(probability: Mapping[str, float]) -> dict[str, float]:
    """Each cause's probability, alone or in a pair, of those of the hypotheses."""
    found: dict[str, float] = {}
    for name, p in probability.items():
        for cause in name.split("+"):
            found[cause] = found.get(cause, 0.0) + p
    return found


class Polling:
    """Which parameters the next request asks for.

    Parameters
    ----------
    supported
        Identifiers that the controller claims.
    most
        Parameters that one request can hold on this link: where that is one, each is asked alone
        from the beginning, and has its own time.
    """

    def __init__(self, supported: Collection[int], most: int = MOST_PARAMETERS) -> None:
        periods: dict[int, float] = {}
        names: dict[int, list[str]] = {}
        for name, wish in wishes().items():
            identifier = parameters.by_name(name).identifier
            if identifier in supported and not _known(wish.instead_of, supported):
                periods[identifier] = min(wish.every_s, periods.get(identifier, wish.every_s))
                names.setdefault(identifier, []).append(name)
        self._base = periods
        self._names = names
        self._period = dict(periods)
        self._asked = dict.fromkeys(periods, -1e3)
        self._unanswered = dict.fromkeys(periods, 0)
        self._batch = 1 if most == 1 else MOST_PARAMETERS
        self._tries = most > 1
        self._trial: dict[int, list[float]] = {MOST_PARAMETERS: [], 1: []}

    @property
    def identifiers(self) -> tuple[int, ...]:
        """All that will ever be asked, most wanted first."""
        return tuple(sorted(self._base, key=lambda one: (self._base[one], one)))

    @property
    def names(self) -> tuple[str, ...]:
        """Parameters that may come in, most wanted first."""
        return tuple(
            row.name
            for identifier in self.identifiers
            for row in parameters.by_identifier(identifier)
            if row.kind in ("number", "flags", "choice", "monitors")
        )

    @property
    def together(self) -> int:
        """Parameters in one request."""
        return self._batch

    def next(self, now_s: float) -> tuple[int, ...]:
        """Identifiers to ask for now, most overdue first. [s]"""
        asked, period, unanswered = self._asked, self._period, self._unanswered
        overdue = {
            one: (now_s - asked[one])
            / (period[one] if unanswered[one] < PATIENCE else period[one] * self._backed_off(one))
            for one in self._base
        }
        chosen = sorted(overdue, key=overdue.__getitem__, reverse=True)[: self._batch]
        for one in chosen:
            self._asked[one] = now_s
        return tuple(chosen)

    def heard(self, asked: Collection[int], sample: "Sample") -> None:
        """What came of a request: who keeps silent is asked less often."""
        missing = set(sample.missing) | (set(asked) if sample.source is None else set())
        for one in asked:
            self._unanswered[one] = self._unanswered[one] + 1 if one in missing else 0
        if self._tries and sample.source is not None and not missing:
            self._try_sizes(len(asked), 2 * sample.half_width_s)

    def weigh(self, present: Mapping[str, float]) -> None:
        """Ask more often for what the causes still in play hinge on.

        ``present`` holds each cause's probability, alone or in a pair; one that is sure, or sure
        not to be there, asks for nothing more.
        """
        open_ = {cause: p * (1.0 - p) for cause, p in present.items()}
        most = max(open_.values(), default=0.0)
        if most <= 0:
            return
        for one, names in self._names.items():
            hinges = {cause for name in names for cause in wishes()[name].hinges}
            share = max((open_.get(cause, 0.0) for cause in hinges), default=0.0) / most
            self._period[one] = self._base[one] / (1.0 + (MOST_WEIGHT - 1.0) * share)

    @property
    def hastened(self) -> tuple[str, ...]:
        """Parameters wanted at least half as often again as the table says, most hastened first."""
        share = {one: self._base[one] / self._period[one] for one in self._base}
        hastened = sorted((one for one in share if share[one] >= HASTENED), key=lambda n: -share[n])
        return tuple(name for one in hastened for name in self._names[one])

    def engine_stands(self) -> None:
        """Key on, engine off: the manifold sensor against the barometer is what counts."""
        for one, names in self._names.items():
            self._period[one] = min(STANDING.get(name, self._base[one]) for name in names)

    def engine_runs(self) -> None:
        """Back to the periods of the table."""
        self._period = dict(self._base)

    def _backed_off(self, identifier: int) -> float:
        return float(min(2.0 ** (self._unanswered[identifier] // PATIENCE), SELDOM))

    def _try_sizes(self, count: int, seconds: float) -> None:
        """Many at once, then one at a time: keep what gives more values a second.

        A controller that takes one parameter a request has many asked one after another, and
        then each is better stamped with its own time.
        """
        if count != self._batch or count not in self._trial or len(self._trial[1]) >= TRIALS:
            return
        self._trial[count].append(seconds / count)
        if count == MOST_PARAMETERS and len(self._trial[count]) >= TRIALS:
            self._batch = 1
        elif count == 1 and len(self._trial[1]) >= TRIALS:
            many, alone = (min(self._trial[size]) for size in (MOST_PARAMETERS, 1))
            self._batch = 1 if ALONE_SHARE * alone <= many else MOST_PARAMETERS
