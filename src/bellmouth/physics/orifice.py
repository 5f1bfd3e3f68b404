"""Compressible flow of air through holes: leaks, throttle gaps and pneumatic passages."""

import math

import numpy as np
from numpy.typing import ArrayLike

from bellmouth.physics._arrays import Floats, floats
from bellmouth.physics.air import GAMMA, R_DRY

__all__ = [
    "CHOKED_FLOW_FUNCTION",
    "CRITICAL_PRESSURE_RATIO",
    "LEAK_DISCHARGE_COEFFICIENT",
    "critical_pressure_ratio",
    "effective_area_from_flow_m2",
    "flow_function",
    "iso_6358_mass_flow_kg_s",
    "leak_area_m2",
    "leak_diameter_m",
    "mass_flow_kg_s",
    "signed_mass_flow_kg_s",
]

LEAK_DISCHARGE_COEFFICIENT = 0.8
_ISO_REFERENCE_DENSITY_KG_M3 = 1.185
_ISO_REFERENCE_TEMPERATURE_K = 293.15


def critical_pressure_ratio(gamma: ArrayLike = GAMMA) -> Floats:
    """Downstream over upstream pressure at and below which the throat is sonic.

    ``(2 / (gamma + 1)) ** (gamma / (gamma - 1))``, 0.528282 for air. [-]

    Parameters
    ----------
    gamma
        Ratio of specific heats, above 1. [-]

    References
    ----------
    .. [1] NACA Report 1135 (1953), eq. for p*/p_t.
    """
    g = floats(gamma)
    return (2.0 / (g + 1.0)) ** (g / (g - 1.0))


CRITICAL_PRESSURE_RATIO = float(critical_pressure_ratio())
CHOKED_FLOW_FUNCTION = math.sqrt(GAMMA) * (2.0 / (GAMMA + 1.0)) ** (
    (GAMMA + 1.0) / (2.0 * (GAMMA - 1.0))
)

_PREFACTOR = 2.0 * GAMMA / (GAMMA - 1.0)
_EXPONENT = (GAMMA - 1.0) / GAMMA


def flow_function(pressure_ratio: ArrayLike) -> Floats:
    r"""Dimensionless flow through an orifice against its pressure ratio.

    ``Psi`` in ``mass flow = effective area × upstream pressure / sqrt(R T) × Psi``: 0.684731 at
    and below the critical ratio, 0 at 1 and above. [-] No reverse flow; see
    :func:`signed_mass_flow_kg_s`.

    Parameters
    ----------
    pressure_ratio
        Downstream over upstream absolute pressure, any shape. NaN gives NaN. [-]

    References
    ----------
    .. [1] J. B. Heywood, Internal Combustion Engine Fundamentals, eq. C.8 and C.9 (quoted from
       memory). Valid for steady isentropic flow of an ideal gas with constant gamma.
    """
    # Past the critical ratio the throat stays sonic, whatever happens downstream.
    given = floats(pressure_ratio)
    ratio = np.minimum(np.maximum(given, CRITICAL_PRESSURE_RATIO), 1.0)
    # One power instead of two: r^(2/g) - r^((g+1)/g) = (r / t)^2 (1 - t) with t = r^((g-1)/g).
    thermal = ratio**_EXPONENT
    return (ratio / thermal) * np.sqrt(_PREFACTOR * (1.0 - thermal))


def mass_flow_kg_s(
    effective_area_m2: ArrayLike,
    upstream_pa: ArrayLike,
    downstream_pa: ArrayLike,
    upstream_k: ArrayLike,
) -> Floats:
    """Mass flow of air through an orifice, choked or not.

    Arguments broadcast; the result has their common shape. [kg/s]

    Parameters
    ----------
    effective_area_m2
        Discharge coefficient times geometric area, at least 0. [m²]
    upstream_pa, downstream_pa
        Absolute pressures, downstream at most upstream. [Pa]
    upstream_k
        Stagnation temperature upstream. [K]

    Raises
    ------
    ValueError
        If downstream exceeds upstream anywhere: reverse flow is the caller's to decide.

    References
    ----------
    .. [1] J. B. Heywood, Internal Combustion Engine Fundamentals, app. C (quoted from memory).
    """
    upstream = floats(upstream_pa)
    downstream = floats(downstream_pa)
    if np.any(downstream > upstream):
        raise ValueError(
            "orifice.mass_flow_kg_s: downstream_pa exceeds upstream_pa; "
            "swap them or use signed_mass_flow_kg_s."
        )
    temperature = floats(upstream_k)
    speed = np.sqrt(R_DRY * temperature)
    area = floats(effective_area_m2)
    return area * upstream / speed * flow_function(downstream / upstream)


def signed_mass_flow_kg_s(
    effective_area_m2: ArrayLike,
    inlet_pa: ArrayLike,
    outlet_pa: ArrayLike,
    inlet_k: ArrayLike,
    outlet_k: ArrayLike | None = None,
) -> Floats:
    """Mass flow of air from inlet to outlet, negative where the outlet's pressure is higher.

    Arguments broadcast; the result has their common shape. [kg/s]

    Parameters
    ----------
    effective_area_m2
        Discharge coefficient times geometric area, the same both ways. [m²]
    inlet_pa, outlet_pa
        Absolute pressures. [Pa]
    inlet_k, outlet_k
        Stagnation temperature on either side; the outlet's is taken as the inlet's unless
        given. [K]
    """
    inlet, outlet = np.broadcast_arrays(floats(inlet_pa), floats(outlet_pa))
    upstream_k = np.where(outlet > inlet, inlet_k if outlet_k is None else outlet_k, inlet_k)
    size = mass_flow_kg_s(
        effective_area_m2, np.maximum(inlet, outlet), np.minimum(inlet, outlet), upstream_k
    )
    return np.where(outlet > inlet, -size, size)


def effective_area_from_flow_m2(
    flow_kg_s: ArrayLike, upstream_pa: ArrayLike, downstream_pa: ArrayLike, upstream_k: ArrayLike
) -> Floats:
    """Effective area that passes a given mass flow: the inverse of :func:`mass_flow_kg_s`.

    Infinite (or NaN for no flow) where the pressures are equal. [m²]

    Parameters
    ----------
    flow_kg_s
        Mass flow of air. [kg/s]
    upstream_pa, downstream_pa
        Absolute pressures, downstream at most upstream. [Pa]
    upstream_k
        Stagnation temperature upstream. [K]

    Raises
    ------
    ValueError
        If downstream exceeds upstream anywhere.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        return floats(flow_kg_s) / mass_flow_kg_s(1.0, upstream_pa, downstream_pa, upstream_k)


def leak_area_m2(
    diameter_m: ArrayLike, discharge_coefficient: ArrayLike = LEAK_DISCHARGE_COEFFICIENT
) -> Floats:
    """Effective area of a round hole. [m²]

    Parameters
    ----------
    diameter_m
        Diameter of the hole. [m]
    discharge_coefficient
        Effective over geometric area; 0.8 is this project's convention for leaks. [-]
    """
    diameter = floats(diameter_m)
    return floats(discharge_coefficient) * (math.pi / 4.0) * diameter**2


def leak_diameter_m(
    effective_area_m2: ArrayLike, discharge_coefficient: ArrayLike = LEAK_DISCHARGE_COEFFICIENT
) -> Floats:
    """Diameter of the round hole with this effective area: the inverse of :func:`leak_area_m2`.

    Parameters
    ----------
    effective_area_m2
        Discharge coefficient times geometric area, at least 0. [m²]
    discharge_coefficient
        Effective over geometric area. [-]
    """
    area = floats(effective_area_m2)
    return np.sqrt(area / floats(discharge_coefficient) * (4.0 / math.pi))


def iso_6358_mass_flow_kg_s(
    sonic_conductance_m3_s_pa: ArrayLike,
    critical_ratio: ArrayLike,
    upstream_pa: ArrayLike,
    downstream_pa: ArrayLike,
    upstream_k: ArrayLike,
) -> Floats:
    """Mass flow through a pneumatic passage by the ellipse of ISO 6358-1.

    Arguments broadcast; the result has their common shape. [kg/s]

    Parameters
    ----------
    sonic_conductance_m3_s_pa
        Choked volume flow at reference conditions over upstream pressure. [m³/(s Pa)]
    critical_ratio
        Pressure ratio at and below which the passage is choked, 0 to below 1. [-]
    upstream_pa, downstream_pa
        Absolute stagnation pressures, downstream at most upstream. [Pa]
    upstream_k
        Stagnation temperature upstream. [K]

    References
    ----------
    .. [1] ISO 6358-1:2013, flow equations and reference conditions 1.185 kg/m³, 293.15 K
       (quoted from memory).
    """
    b = floats(critical_ratio)
    upstream = floats(upstream_pa)
    ratio = np.clip(floats(downstream_pa) / upstream, b, 1.0)
    ellipse = np.sqrt(1.0 - ((ratio - b) / (1.0 - b)) ** 2)
    cooling = np.sqrt(_ISO_REFERENCE_TEMPERATURE_K / floats(upstream_k))
    conductance = floats(sonic_conductance_m3_s_pa)
    return conductance * _ISO_REFERENCE_DENSITY_KG_M3 * upstream * cooling * ellipse
