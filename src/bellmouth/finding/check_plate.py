"""What checks of the plate would read: how far it stands open, and what cleaning changes."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from bellmouth.finding.made_up import made_up_pct
from bellmouth.finding.plate_law import above_slopes

if TYPE_CHECKING:
    from bellmouth.finding.check_sizes import Nodes

__all__ = ["Plate", "fall_by_cleaning", "opening_over_stop", "plate_of"]

Floats = NDArray[np.float64]

# Of the surplus air that stale learning remembers, idle feedback has closed some already: what is
# left for learning to close, and its spread (common practice, no source; priors: stale_closable).
_STALE_LEFT = 0.75
_STALE_LEFT_SD = 0.3
_ABOVE = ("opening", "slope", "fade")  # what the plate stands above its stop depends on


@dataclass(frozen=True)
class Plate:
    """The plate at every node: the car's own opening at idle, the deposit's fade, bypass over
    slope, and what deposit makes up, in % of reading. ``doubt`` (nodes, 3, 3) is the covariance of
    the logarithms of opening, slope and fade."""

    opening: Floats
    fade: Floats
    bypass: Floats
    made_up: Floats
    doubt: Floats

    def spread(self, gain: Floats) -> Floats:
        """Standard deviation of what moves by ``gain`` (nodes, 3) with those logarithms. [%]"""
        return np.asarray(np.sqrt(np.einsum("ni,nij,nj->n", gain, self.doubt, gain)))

    @property
    def gains(self) -> Floats:
        """How opening and made-up opening together move with those logarithms, (nodes, 3)."""
        slopes = above_slopes({"own": self.opening, "made_up": self.made_up, "fade": self.fade})
        return np.stack([slopes[name] for name in _ABOVE], axis=1)

    @property
    def own_gains(self) -> Floats:
        """How the car's own opening does, (nodes, 3)."""
        return np.outer(self.opening, [1.0, 0.0, 0.0])


def opening_over_stop(nodes: "Nodes") -> tuple[Floats, Floats]:
    """Throttle reading at the lowest idle less the reading held closed [%].

    Judged alone, what deposit took is made up on top of the car's own opening; against a
    reference, the opening is known from how far the reading stands from the reference's. What is
    left of the doubt of the car's unknowns is in it: an area is worth as many per cent of reading
    as the plate's slope says.
    """
    case, plate = nodes.case, nodes.plate
    made_up, gains = plate.made_up, plate.gains
    if not case.model.reference_is_judged:
        o = case.observations
        judged = o.throttle_pct[o.judged & np.isfinite(o.throttle_pct)]
        rise = judged.min() - case.model.throttle_reference_pct if len(judged) else 0.0
        made_up, gains = np.full_like(made_up, rise), plate.own_gains
    opening = plate.opening + made_up
    return opening, np.minimum(plate.spread(gains), opening)


def fall_by_cleaning(nodes: "Nodes") -> tuple[Floats, Floats]:
    """Throttle reading at idle before the plate was cleaned and idle learned, less after [%].

    Deposit no longer has to be made up for, and what stale learning held open is closed.
    """
    plate = nodes.plate
    share, holds = nodes.holding("learned_stale")
    surplus = np.where(holds, np.exp(share) * (plate.bypass + plate.opening), 0.0)
    left = _STALE_LEFT * surplus
    doubt = np.minimum(plate.spread(plate.gains - plate.own_gains), plate.made_up)
    return plate.made_up + left, np.hypot(doubt, surplus * _STALE_LEFT_SD)


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
    opening, slope, fade, bypass = (np.exp(value[:, u.index(name)]) for name in (*_ABOVE, "bypass"))
    area, holds = nodes.holding("deposit")
    made_up = made_up_pct(opening, np.where(holds, np.exp(area) / slope, 0.0), fade)
    rows = np.stack([u.row(name) for name in _ABOVE])
    doubt = (rows @ inverse @ rows.T)[nodes.hypothesis]
    return Plate(opening, fade, bypass / slope, made_up, doubt)
