"""What checks of the plate would read: how far it stands open, and what cleaning changes."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from bellmouth.finding.made_up import made_up_pct

if TYPE_CHECKING:
    from bellmouth.finding.check_sizes import Nodes

__all__ = ["Plate", "fall_by_cleaning", "opening_over_stop", "plate_of"]

Floats = NDArray[np.float64]

# Of the surplus air that stale learning remembers, idle feedback has closed some already: what is
# left for learning to close, and its spread (common practice, no source; priors: stale_closable).
_STALE_LEFT = 0.75
_STALE_LEFT_SD = 0.3


@dataclass(frozen=True)
class Plate:
    """The plate at every node: the car's own opening at idle, its relative standard deviation and
    that of the slope, bypass over slope, and what deposit makes up. Openings in % of reading."""

    opening: Floats
    opening_sd: Floats
    slope_sd: Floats
    bypass: Floats
    made_up: Floats


def opening_over_stop(nodes: "Nodes") -> tuple[Floats, Floats]:
    """Throttle reading at the lowest idle less the reading held closed [%].

    Judged alone, what deposit took is made up on top of the car's own opening; against a
    reference, the opening is known from how far the reading stands from the reference's.
    """
    case, plate = nodes.case, nodes.plate
    made_up = plate.made_up
    if not case.model.reference_is_judged:
        o = case.observations
        judged = o.throttle_pct[o.judged & np.isfinite(o.throttle_pct)]
        rise = judged.min() - case.model.throttle_reference_pct if len(judged) else 0.0
        made_up = np.full_like(made_up, rise)
    return plate.opening + made_up, plate.opening * plate.opening_sd


def fall_by_cleaning(nodes: "Nodes") -> tuple[Floats, Floats]:
    """Throttle reading at idle before the plate was cleaned and idle learned, less after [%].

    Deposit no longer has to be made up for, and what stale learning held open is closed.
    """
    plate = nodes.plate
    share, holds = nodes.holding("learned_stale")
    surplus = np.where(holds, np.exp(share) * (plate.bypass + plate.opening), 0.0)
    left = _STALE_LEFT * surplus
    sd = np.hypot(plate.made_up * plate.slope_sd, surplus * _STALE_LEFT_SD)
    return plate.made_up + left, sd


def plate_of(nodes: "Nodes") -> Plate:
    """The plate as each node has it: the car's unknowns move with the size as the fit lets them."""
    case = nodes.case
    u = case.model.unknowns
    curvature = case.posterior.curvature
    inverse = np.linalg.inv(curvature[:, : u.size, : u.size])
    by_size = -inverse @ curvature[:, : u.size, u.size :]
    moved = np.nan_to_num(nodes.sizes - case.posterior.sizes[nodes.hypothesis])
    coordinate = case.posterior.coordinates[nodes.hypothesis]
    coordinate = coordinate + (by_size[nodes.hypothesis] @ moved[:, :, None])[:, :, 0]
    value = u.values(np.clip(coordinate, -3.0, 3.0))

    def sd(name: str) -> Floats:
        row = u.row(name)
        found = np.sqrt(np.einsum("i,hij,j->h", row, inverse, row))
        return np.asarray(np.minimum(found, 1.0)[nodes.hypothesis])

    opening, slope, fade, bypass = (
        np.exp(value[:, u.index(name)]) for name in ("opening", "slope", "fade", "bypass")
    )
    area, holds = nodes.holding("deposit")
    made_up = made_up_pct(opening, np.where(holds, np.exp(area) / slope, 0.0), fade)
    return Plate(opening, sd("opening"), sd("slope"), bypass / slope, made_up)
