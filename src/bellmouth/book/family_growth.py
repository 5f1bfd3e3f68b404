"""How fast deposit grows on an engine family, from the histories of its cars, for its file."""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from bellmouth.book.assumptions import QUARTILE, Assumptions, load_assumptions
from bellmouth.book.growth import filtered, grid_of
from bellmouth.book.kinds import kind_of
from bellmouth.book.visits import CarVisits
from bellmouth.errors import BookError
from bellmouth.finding.family import Growth

__all__ = ["assumed_of", "learn_growth"]

#: Fewer histories say more of themselves than of their family.
LEAST_CARS = 4


def learn_growth(cars: Sequence[CarVisits]) -> Growth:
    """What cars that were seen at two odometers or more show of their family's growth.

    Raises
    ------
    BookError
        If fewer than four have them.
    """
    told = [car for car in cars if car.tells_growth]
    if len(told) < LEAST_CARS:
        raise BookError(
            f"Cars of the family that were read at two odometers or more: {len(told)}. At least "
            f"{LEAST_CARS} are needed to tell how fast they get dirty. Leave growth out until then."
        )
    assumed = load_assumptions()
    grid = grid_of(assumed)
    found = [filtered(car.visits, car.level_mm2, grid, assumed) for car in told]
    kind, scales = kind_of(found, grid, assumed)
    rates = grid.log_rates
    by_middle, by_scale = kind.sum(axis=1), kind.sum(axis=0)
    middle = float(by_middle @ rates)
    between = float(by_middle @ (rates - middle) ** 2)
    within = float(by_scale @ scales**2)
    whole = between + within
    spread = QUARTILE * math.sqrt(whole)
    km = (1000.0 * math.exp(-middle - spread), 1000.0 * math.exp(-middle + spread))
    return Growth(km, float(np.clip(between / whole, 0.01, 0.99)), len(told))


def assumed_of(growth: Growth | None) -> Assumptions:
    """The forecast's assumptions with what was learnt of the family in the rule's place."""
    assumed = load_assumptions()
    if growth is None:
        return assumed
    own = {"km_to_level": list(growth.km_to_level), "kind_share": growth.kind_share}
    return replace(assumed, growth={**assumed.growth, **own}, family_cars=growth.cars)
