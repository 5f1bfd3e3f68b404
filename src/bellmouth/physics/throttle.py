"""The throttle plate: area against angle, what deposit takes from it, and the flow through it.

Angles are the plate's, from the plane across the bore: it is closed at a few degrees and wide
open at 90.
"""

import math

import numpy as np
from numpy.typing import ArrayLike

from bellmouth.physics import orifice
from bellmouth.physics._arrays import Floats, floats

__all__ = [
    "deposit_loss_m2",
    "effective_area_m2",
    "mass_flow_kg_s",
    "open_area_m2",
    "plate_deg_at_area",
    "plate_deg_from_position",
]

_HALVINGS = 60  # of 90 degrees: below the rounding of a double


def open_area_m2(
    plate_deg: ArrayLike, closed_deg: ArrayLike, bore_m: ArrayLike, shaft_m: ArrayLike
) -> Floats:
    r"""Geometric open area: the bore's circle less the union of plate and shaft, seen along it.

    With ``a = d / D``, ``k = cos(plate) / cos(closed)`` and
    ``s(t) = t sqrt(1 - t²) + asin t``::

        A / A0 = 1 - k + (2 / pi) (k s(a / k) - s(a))    while k > a
        A / A0 = 1 - (2 / pi) s(a)                       once the plate hides behind its shaft

    Arguments broadcast; the result has their common shape. Zero at and below the closed angle,
    where the plate would bind, and the same beyond 90 degrees as before it. [m²]

    Parameters
    ----------
    plate_deg
        Angle of the plate from the plane across the bore. [deg]
    closed_deg
        Angle at which the plate touches the bore, 0 to below 90. [deg]
    bore_m, shaft_m
        Diameters of bore and shaft, the shaft's from 0 to the bore's. [m]

    Raises
    ------
    ValueError
        If a shaft is thicker than its bore.

    References
    ----------
    .. [1] Own derivation, checked against numerical integration. The geometry is that of
       J. B. Heywood, Internal Combustion Engine Fundamentals, sec. 7.6.1, after Harrington and
       Bolt, SAE 700082; his closed form, as remembered, has two signs the other way round and
       does not equal this area.
    """
    bore = floats(bore_m)
    a = floats(shaft_m) / bore
    if np.any((a < 0.0) | (a > 1.0)):
        raise ValueError(
            "throttle.open_area_m2: shaft_m must lie between 0 and bore_m; check the units."
        )
    touching = floats(closed_deg)
    plate = np.clip(floats(plate_deg), touching, 180.0 - touching)
    closed = np.cos(np.radians(touching))
    k = np.minimum(np.abs(np.cos(np.radians(plate))) / closed, 1)
    # Edge on, the plate has no width: keep the division defined, its term vanishes.
    k = np.maximum(k, 1e-300)
    share = 1.0 - k + (2.0 / math.pi) * (k * _segment(a / k) - _segment(a))
    return math.pi / 4.0 * bore**2 * share


def _segment(t: Floats) -> Floats:
    inside = np.minimum(t, 1.0)
    return inside * np.sqrt(1.0 - inside**2) + np.arcsin(inside)


def deposit_loss_m2(
    plate_deg: ArrayLike, closed_deg: ArrayLike, deposit_m2: ArrayLike, fade_deg: ArrayLike
) -> Floats:
    """Effective area that deposit takes: all of it closed, fading as the plate opens. [m²]

    ``deposit × exp(-(plate - closed) / fade)``, held at ``deposit`` below the closed angle.

    Parameters
    ----------
    plate_deg, closed_deg
        Angle of the plate, and that at which it touches the bore. [deg]
    deposit_m2
        Effective area lost at the closed angle. [m²]
    fade_deg
        Opening over which the loss falls to 37 %, above 0. [deg]

    References
    ----------
    .. [1] The project's own shape, for want of a published one: a rim of deposit of even
       thickness narrows the gap less and less as the plate leaves it.
    """
    opening = floats(plate_deg) - floats(closed_deg)
    faded = np.exp(-np.maximum(opening, 0.0) / floats(fade_deg))
    return floats(deposit_m2) * faded


def effective_area_m2(
    plate_deg: ArrayLike,
    closed_deg: ArrayLike,
    bore_m: ArrayLike,
    shaft_m: ArrayLike,
    discharge_coefficient: ArrayLike = 0.8,
    clearance_m2: ArrayLike = 0.0,
    deposit_m2: ArrayLike = 0.0,
    fade_deg: ArrayLike = 4.0,
) -> Floats:
    """Effective area: discharge × geometric area + clearance - deposit, never below zero. [m²]

    Arguments broadcast; the result has their common shape.

    Parameters
    ----------
    plate_deg, closed_deg, bore_m, shaft_m
        As for :func:`open_area_m2`. [deg], [deg], [m], [m]
    discharge_coefficient
        Effective over geometric area; real bodies 0.65 to 0.98. [-]
    clearance_m2
        Effective area of clearance and bleed, open at every angle. [m²]
    deposit_m2, fade_deg
        As for :func:`deposit_loss_m2`. [m²], [deg]

    Raises
    ------
    ValueError
        If a shaft is thicker than its bore.
    """
    geometric = open_area_m2(plate_deg, closed_deg, bore_m, shaft_m)
    clean = floats(discharge_coefficient) * geometric + floats(clearance_m2)
    lost = deposit_loss_m2(plate_deg, closed_deg, deposit_m2, fade_deg)
    return np.maximum(clean - lost, 0.0)


def mass_flow_kg_s(
    area_m2: ArrayLike, ambient_pa: ArrayLike, manifold_pa: ArrayLike, ambient_k: ArrayLike
) -> Floats:
    """Air past the throttle into the manifold, negative where the manifold blows back. [kg/s]

    Parameters
    ----------
    area_m2
        Effective area, from :func:`effective_area_m2`. [m²]
    ambient_pa, manifold_pa
        Absolute pressures before and after the plate (boost pressure, if there is any). [Pa]
    ambient_k
        Temperature before the plate. [K]
    """
    return orifice.signed_mass_flow_kg_s(area_m2, ambient_pa, manifold_pa, ambient_k)


def plate_deg_at_area(
    area_m2: ArrayLike, closed_deg: ArrayLike, bore_m: ArrayLike, shaft_m: ArrayLike
) -> Floats:
    """Smallest angle at which the geometric area is reached: inverse of :func:`open_area_m2`.

    By halving, to the last bit. An area of zero or less gives the closed angle, an area beyond
    wide open 90 degrees. [deg]

    Parameters
    ----------
    area_m2
        Geometric open area. [m²]
    closed_deg, bore_m, shaft_m
        As for :func:`open_area_m2`. [deg], [m], [m]
    """
    wanted, closed, bore, shaft = np.broadcast_arrays(
        *(floats(x) for x in (area_m2, closed_deg, bore_m, shaft_m))
    )
    low, high = closed.copy(), np.full_like(closed, 90.0)
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        short = open_area_m2(middle, closed, bore, shaft) < wanted
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return np.where(np.isnan(wanted), np.nan, high)


def plate_deg_from_position(
    position_pct: ArrayLike,
    closed_position_pct: ArrayLike,
    closed_deg: ArrayLike,
    open_position_pct: ArrayLike = 85.0,
) -> Floats:
    """Plate angle from a reported throttle position, linear from closed to wide open. [deg]

    Both ends differ from car to car: closed readings of 0.4 to 22 % have been seen, and the
    default for wide open is common practice, no source.

    Parameters
    ----------
    position_pct, closed_position_pct
        Reported position; what the car reports when closed. [%]
    closed_deg
        Angle at which the plate touches the bore. [deg]
    open_position_pct
        What the car reports when wide open. [%]
    """
    closed_reading = floats(closed_position_pct)
    span = floats(open_position_pct) - closed_reading
    closed = floats(closed_deg)
    share = (floats(position_pct) - closed_reading) / span
    return closed + (90.0 - closed) * share
