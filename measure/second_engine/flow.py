"""Air through holes, past the plate and into the cylinders. SI units throughout.

Sources: J. B. Heywood, Internal Combustion Engine Fundamentals (1988), eq. C.8 and C.9 (orifice),
7.18 (plate, thin shaft), 6.2 (residuals and filling); L. Guzzella and C. Onder, Introduction to
Modeling and Control of Internal Combustion Engine Systems (2010), ch. 2; quoted from memory.
"""

import math
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = [
    "CHOKED", "CRITICAL", "GAMMA", "R", "closed_angle", "deposit_area", "discharging", "filling",
    "orifice", "plate_area", "psi", "waves",
]  # fmt: skip

Floats = NDArray[np.float64]

GAMMA: Final = 1.4
R: Final = 287.05
CRITICAL: Final = (2.0 / (GAMMA + 1.0)) ** (GAMMA / (GAMMA - 1.0))
CHOKED: Final = math.sqrt(GAMMA * (2.0 / (GAMMA + 1.0)) ** ((GAMMA + 1.0) / (GAMMA - 1.0)))
_LINEAR: Final = 0.985
_SHAPE_REACH: Final = math.radians(20.0)


def psi(ratio: ArrayLike) -> Floats:
    """Flow function against the pressure ratio [-]: constant when choked, zero at 1 and above.

    Near 1, where its slope has no bound, a straight line keeps the time steps stable.
    """
    pr = np.clip(np.asarray(ratio, dtype=np.float64), CRITICAL, _LINEAR)
    power = pr ** (1.0 / GAMMA)
    flow = power * np.sqrt(2.0 * GAMMA / (GAMMA - 1.0) * (1.0 - pr / power))
    return flow * np.clip((1.0 - np.asarray(ratio)) / (1.0 - _LINEAR), 0.0, 1.0)


def orifice(
    area: ArrayLike, upstream: ArrayLike, downstream: ArrayLike, kelvin: ArrayLike
) -> Floats:
    """Mass flow [kg/s] through an effective area [m2] from a pressure [Pa] to a lower one."""
    before = np.asarray(upstream, dtype=np.float64)
    rate = before / np.sqrt(R * np.asarray(kelvin, dtype=np.float64))
    return np.asarray(area) * rate * psi(np.asarray(downstream) / before)


def closed_angle(bore: float, slope: float) -> float:
    """Angle of the closed plate [rad] at which it opens ``slope`` [m2/rad] first: the derivative
    of `plate_area` at nothing is (pi D²/4) tan(closed angle)."""
    return math.atan(slope / (math.pi * bore**2 / 4.0))


def plate_area(bore: Floats, closed: Floats, opening: Floats) -> Floats:
    """Open area [m2] of a round plate in a bore [m]: the plate's shadow is an ellipse, so that
    (pi D²/4) (1 - cos(closed + opening) / cos(closed)) is left, angles in rad."""
    turned = np.clip(closed + np.maximum(opening, 0.0), 0.0, math.pi / 2)
    return np.asarray(math.pi / 4.0 * bore**2 * (1.0 - np.cos(turned) / np.cos(closed)))


def discharging(first: Floats, shape: Floats, opening: Floats) -> Floats:
    """Discharge coefficient [-] at an opening [rad]: from ``first`` at closed it changes by up to
    ``shape`` of itself, two thirds of that within 20 degrees."""
    return np.asarray(first * (1.0 + shape * (1.0 - np.exp(-opening / _SHAPE_REACH))))


def deposit_area(lost: Floats, reach: Floats, opening: Floats, there: Floats) -> Floats:
    """Effective area [m2] that a rim of deposit takes of what is ``there``: all of ``lost`` near
    closed, nothing once the plate's edge stands clear of it, and never the last twentieth."""
    fading = np.exp(-((opening / reach) ** 2))
    return np.minimum(lost * fading, 0.95 * there)


def waves(amplitude: Floats, phase: Floats, speed: Floats) -> Floats:
    """Factor of the filling from the standing wave in the runners: its period is in cycles of
    the pipe a cycle of the engine, that is in the inverse of speed [rad/s] (Heywood 6.3)."""
    order = 420.0 / np.maximum(speed, 40.0)
    return 1.0 + amplitude * (0.7 * np.cos(2.4 * order + phase) + 0.3 * np.cos(5.1 * order))


def filling(full: Floats, residual: Floats, exhaust_over_manifold: Floats) -> Floats:
    """Share of the swept volume [-] filled from the manifold. What is left in the clearance
    volume and flows back in the overlap expands to manifold pressure and takes its place: with
    ``residual`` = 1/(compression - 1) and no overlap this is the ideal cycle."""
    back = np.maximum(exhaust_over_manifold, 1.0) ** (1.0 / GAMMA) - 1.0
    return full * np.clip(1.0 - residual * back, 0.2, 1.0)
