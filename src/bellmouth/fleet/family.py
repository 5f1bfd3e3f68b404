"""Learn what an engine family's cars have in common from their recordings, faulty ones and all.

Empirical Bayes: the family's mean and covariance of the car's unknowns, and its shares of causes,
are those under which all recordings together are likeliest (Dempster, Laird and Rubin, J. R. Stat.
Soc. B 39 (1977) 1-38, quoted from memory). Nobody says which cars are healthy: each counts under
every cause as much as its recording allows, and as one of the family as much as it is like the
rest. Between rounds the recordings are studied again under what was learnt, because the physics
is not linear over the whole range of all cars.
"""

from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime

import numpy as np
from numpy.typing import NDArray

from bellmouth import __version__
from bellmouth.car.description import Car, Known
from bellmouth.errors import BellmouthError, FindingError
from bellmouth.finding.belonging import Asked
from bellmouth.finding.family import Family, Growth
from bellmouth.finding.habit import Habit
from bellmouth.finding.nuisance import LEARNED
from bellmouth.fleet.crowd import Crowd, Expected, State, begin, converge, crowd_of, expect, unsure
from bellmouth.fleet.left_out import LeftOut, leave_out
from bellmouth.fleet.studies import Broad, Study, ask, broad_of, study_many
from bellmouth.recording.stretch import Stretch

__all__ = ["LEAST_CARS", "Example", "Learned", "learn_family"]

Floats = NDArray[np.float64]

#: Fewer cars say more of themselves than of their family.
LEAST_CARS = 8
_ROUNDS = 3
_TOGETHER = 25  # recordings inferred in one go
_LEAST_IDLES = 4.0


# Where a family's mean can lie: trims multiply or add or something between; of the others, no
# design is further off than any car of a thousand.
_CAN_BE = {"trim_sum": (0.0, 1.0)}
_FURTHEST = 3.0


@dataclass(frozen=True)
class Example:
    """A recording to learn from: whose it is, its stretches, what is known of the car."""

    identity: str
    stretches: Sequence[Stretch]
    car: Car
    source: str = "recording"


@dataclass(frozen=True)
class Learned:
    """A family, what was left out and why, and how probable each used recording (by its place
    among the examples) is of a car like the rest. ``left_out`` holds each recording, in order of
    ``belongs``, against the family of the other cars."""

    family: Family
    refused: tuple[str, ...]
    belongs: dict[int, float]
    left_out: LeftOut

    def slightly_off(self) -> dict[int, tuple[str, float]]:
        """Recordings of cars that are of the family and stand off it: by place, the unknown that
        is furthest off and by how many standard deviations."""
        found, off = self.left_out, {}
        for at, (place, chance) in enumerate(self.belongs.items()):
            if chance >= 0.5 and found.slightly_off(at):
                off[place] = (found.furthest[at], float(found.off[at]))
        return off


def learn_family(
    examples: Sequence[Example],
    name: str,
    *,
    growth: Growth | None = None,
    made: date | None = None,
    tell: Callable[[int, int], None] | None = None,
) -> Learned:
    """Learn a family from recordings of its cars.

    Several recordings of one car count as one car. ``growth`` is what their histories show of
    deposit; ``tell`` hears how many studies are done of how many.

    Raises
    ------
    FindingError
        If fewer than `LEAST_CARS` cars can be judged, or they are not of one engine.
    """
    first = _one_engine(examples, name)
    refused: dict[int, str] = {}
    asked = _ask_all(examples, refused)
    if not asked:
        _enough(examples, {}, refused, name)
    broad = broad_of(next(iter(asked.values())))
    family: Family | None = None
    state, bounds = begin(len(LEARNED)), _bounds(broad)
    told = _Telling(tell, _ROUNDS * len(asked))
    any_car: Floats = np.zeros(0)
    for _ in range(_ROUNDS):
        studies = _study_all(examples, asked, broad, family, refused, told)
        _enough(examples, studies, refused, name)
        crowd = crowd_of(list(studies.values()), [examples[place].identity for place in studies])
        if family is None:
            any_car = crowd.whole(crowd.log_evidence, state.shares)
            # The first broad study is what any later one is held against.
        state = converge(crowd, state, any_car, bounds)
        family = _family(name, first.car, examples, studies, crowd, state, any_car, broad, made)
    if family is None:
        raise RuntimeError("no round was made")
    belongs = dict(zip(studies, map(float, crowd.belongs(state, any_car)), strict=True))
    told_last = expect(crowd, state, any_car)
    left_out = leave_out(crowd, state, told_last, any_car, unsure(crowd, state, told_last), bounds)
    return Learned(replace(family, growth=growth), tuple(refused.values()), belongs, left_out)


def _bounds(broad: Broad) -> Floats:
    """Least and greatest mean of each coordinate, in broad ones, (2, coordinates)."""
    bounds = np.tile([[-_FURTHEST], [_FURTHEST]], len(LEARNED))
    for name, can_be in _CAN_BE.items():
        place = LEARNED.index(name)
        bounds[:, place] = (np.array(can_be) - broad.mean[place]) / broad.sd[place]
    return bounds


class _Telling:
    def __init__(self, tell: Callable[[int, int], None] | None, total: int) -> None:
        self._tell, self._total, self._done = tell, total, 0

    def more(self, count: int) -> None:
        self._done += count
        if self._tell is not None:
            self._tell(self._done, self._total)


def _one_engine(examples: Sequence[Example], name: str) -> Example:
    if not examples:
        raise FindingError(f'family "{name}": no recording was given to learn from.')
    first = examples[0]
    for one in examples:
        same = one.car.metering == first.car.metering
        ratio = one.car.displacement_l.value / first.car.displacement_l.value
        if not same or not 0.95 < ratio < 1.05:
            raise FindingError(
                f'family "{name}": {one.identity} ({one.car.displacement_l.value:g} L, metered by '
                f"{one.car.metering}) and {first.identity} ({first.car.displacement_l.value:g} L, "
                f"{first.car.metering}) are not of one engine. Give each its own family."
            )
    return first


def _ask_all(examples: Sequence[Example], refused: dict[int, str]) -> dict[int, Asked]:
    """What there is to infer from each that can be judged, by place."""
    asked: dict[int, Asked] = {}
    for place, one in enumerate(examples):
        try:
            asked[place] = ask(one.stretches, one.car, one.source)
        except BellmouthError as error:
            refused[place] = f"{one.source}: {error}"
    return asked


def _study_all(
    examples: Sequence[Example],
    asked: Mapping[int, Asked],
    broad: Broad,
    family: Family | None,
    refused: dict[int, str],
    told: _Telling,
) -> dict[int, Study]:
    """Studies of all that can be judged, by place; the others' reasons go to ``refused``."""
    places = [place for place in asked if place not in refused]
    studies: dict[int, Study] = {}
    for first in range(0, len(places), _TOGETHER):
        some = places[first : first + _TOGETHER]
        try:
            found = study_many([asked[place] for place in some], broad, family)
            studies.update(zip(some, found, strict=True))
        except np.linalg.LinAlgError:
            for place in some:
                _study_alone(place, asked[place], broad, family, studies)
                if place not in studies:
                    refused[place] = f"{examples[place].source}: cannot be inferred."
        told.more(len(some))
    return studies


def _study_alone(
    place: int, asked: Asked, broad: Broad, family: Family | None, studies: dict[int, Study]
) -> None:
    with suppress(np.linalg.LinAlgError):  # what has no study is told as refused
        studies[place] = study_many([asked], broad, family)[0]


def _enough(
    examples: Sequence[Example], studies: dict[int, Study], refused: dict[int, str], name: str
) -> None:
    cars = {examples[place].identity for place in studies}
    if len(cars) < LEAST_CARS:
        why = f" {len(refused)} recordings could not be judged." if refused else ""
        raise FindingError(
            f'family "{name}": {len(cars)} {"car" if len(cars) == 1 else "cars"} to learn from, at '
            f"least {LEAST_CARS} are needed to "
            f"tell a family from its cars.{why} Give more cars, or leave the family out."
        )


def _family(
    name: str,
    car: Car,
    examples: Sequence[Example],
    studies: dict[int, Study],
    crowd: Crowd,
    state: State,
    any_car: Floats,
    broad: Broad,
    made: date | None,
) -> Family:
    told = expect(crowd, state, any_car)
    covariance = state.covariance + unsure(crowd, state, told)
    sd = np.minimum(np.sqrt(np.diag(covariance)), 1.5)
    root = np.sqrt(np.diag(covariance))
    return Family(
        name=name,
        made=(made or datetime.now(tz=UTC).date()).isoformat(),
        software=__version__,
        cars=len({examples[place].identity for place in studies}),
        recordings=len(studies),
        like_the_rest=float(np.average(crowd.belongs(state, any_car), weights=crowd.weight)),
        displacement_l=car.displacement_l.value,
        metering=car.metering,
        coordinates=LEARNED,
        mean=broad.mean + broad.sd * state.mean,
        sd=broad.sd * sd,
        correlation=covariance / np.outer(root, root),
        shares=state.shares,
        habit=_habit(crowd, told),
    )


def _habit(crowd: Crowd, told: Expected) -> Habit:
    """How they idle where nothing is wrong with it, each recording counted by how likely that
    is; spreads by quantiles, which a few under load or off their mark do not move."""
    idling = [one.idling for one in crowd.studies]
    rows = crowd.car[crowd.kept]
    plain = np.concatenate([one.plain for one in idling])[crowd.kept]
    air = np.concatenate([one.log_air for one in idling])[crowd.kept]
    timing = np.array([one.timing_deg for one in idling])[rows]
    rpm = np.array([one.told_rpm for one in idling])
    return Habit(
        rpm=_middle(rpm, crowd.weight, 5.0),
        timing_deg=_middle(timing, told.weight * plain, 0.7),
        log_air=_middle(air, told.weight * plain, 0.03),
    )


def _middle(value: Floats, weight: Floats, least_sd: float) -> Known | None:
    """Weighted median and spread, None where too little is known."""
    seen = np.isfinite(value) & (weight > 1e-6)
    value, weight = value[seen], weight[seen]
    if weight.sum() < _LEAST_IDLES:
        return None
    order = np.argsort(value)
    share = (np.cumsum(weight[order]) - 0.5 * weight[order]) / weight.sum()
    low, middle, high = np.interp((0.16, 0.5, 0.84), share, value[order])
    sd = max(0.5 * (high - low), least_sd) * (1.0 + 1.0 / weight.sum())
    return Known(float(middle), float(sd))
