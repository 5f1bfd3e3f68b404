"""How much air the cylinders of a four-stroke engine take, and how the standard reports it.

Engine speed is in revolutions a second throughout: rpm over 60.
"""

import numpy as np
from numpy.typing import ArrayLike

from bellmouth.physics._arrays import Floats, floats
from bellmouth.physics.air import GAMMA, R_DRY

__all__ = [
    "LOAD_DENSITY_KG_M3",
    "absolute_load_pct",
    "calculated_load_pct",
    "charging_efficiency",
    "flow_from_absolute_load_kg_s",
    "flow_from_calculated_load_kg_s",
    "manifold_pressure_rate_pa_s",
    "mass_per_stroke_kg",
    "mean_value_filling",
    "mean_value_throttle_factor",
    "speed_density_kg_s",
    "volumetric_efficiency",
]

LOAD_DENSITY_KG_M3 = 1.184  # SAE J1979 appendix B, absolute load; from memory of the standard
_STANDARD_BAROMETER_PA = 29.92 * 3386.389  # inHg; SAE J1979 appendix B, calculated load
_REVOLUTIONS_A_CYCLE = 2.0  # of a four-stroke engine


def speed_density_kg_s(
    filling: ArrayLike,
    manifold_pa: ArrayLike,
    displacement_m3: ArrayLike,
    speed_rev_s: ArrayLike,
    charge_k: ArrayLike,
) -> Floats:
    """Air flow into the cylinders: ``filling × p V n / (2 R T)``. [kg/s]

    Arguments broadcast; the result has their common shape.

    Parameters
    ----------
    filling
        Volumetric efficiency, referred to the manifold. [-]
    manifold_pa
        Absolute manifold pressure. [Pa]
    displacement_m3
        Displacement of the whole engine. [m³]
    speed_rev_s
        Engine speed. [1/s]
    charge_k
        Temperature of the air in the manifold. [K]

    References
    ----------
    .. [1] J. B. Heywood, Internal Combustion Engine Fundamentals, eq. 2.27 (quoted from memory).
    """
    density = floats(manifold_pa) / (R_DRY * floats(charge_k))
    swept = floats(displacement_m3) * floats(speed_rev_s) / _REVOLUTIONS_A_CYCLE
    return floats(filling) * density * swept


def volumetric_efficiency(
    flow_kg_s: ArrayLike,
    manifold_pa: ArrayLike,
    displacement_m3: ArrayLike,
    speed_rev_s: ArrayLike,
    charge_k: ArrayLike,
) -> Floats:
    """Filling that a flow means: the inverse of :func:`speed_density_kg_s`. [-]

    Parameters
    ----------
    flow_kg_s
        Air flow into the cylinders. [kg/s]
    manifold_pa, displacement_m3, speed_rev_s, charge_k
        As for :func:`speed_density_kg_s`. [Pa], [m³], [1/s], [K]
    """
    full = speed_density_kg_s(1.0, manifold_pa, displacement_m3, speed_rev_s, charge_k)
    return floats(flow_kg_s) / full


def mass_per_stroke_kg(
    flow_kg_s: ArrayLike, cylinders: ArrayLike, speed_rev_s: ArrayLike
) -> Floats:
    """Air taken by one cylinder in one intake stroke. [kg]

    Parameters
    ----------
    flow_kg_s
        Air flow into all cylinders. [kg/s]
    cylinders
        Their number. [-]
    speed_rev_s
        Engine speed. [1/s]
    """
    strokes = floats(cylinders) * floats(speed_rev_s) / _REVOLUTIONS_A_CYCLE
    return floats(flow_kg_s) / strokes


def absolute_load_pct(
    flow_kg_s: ArrayLike, displacement_m3: ArrayLike, speed_rev_s: ArrayLike
) -> Floats:
    """Absolute load: air mass a stroke over that of the swept volume at 1.184 kg/m³. [%]

    The number of cylinders cancels.

    Parameters
    ----------
    flow_kg_s
        Air flow into the cylinders. [kg/s]
    displacement_m3
        Displacement of the whole engine. [m³]
    speed_rev_s
        Engine speed. [1/s]

    References
    ----------
    .. [1] SAE J1979 appendix B, parameter 43 (quoted from memory).
    """
    swept = floats(displacement_m3) * floats(speed_rev_s) / _REVOLUTIONS_A_CYCLE
    return 100.0 * floats(flow_kg_s) / (LOAD_DENSITY_KG_M3 * swept)


def flow_from_absolute_load_kg_s(
    load_pct: ArrayLike, displacement_m3: ArrayLike, speed_rev_s: ArrayLike
) -> Floats:
    """Air flow that a reported absolute load means: inverse of :func:`absolute_load_pct`.

    Parameters
    ----------
    load_pct
        Absolute load. [%]
    displacement_m3, speed_rev_s
        As for :func:`absolute_load_pct`. [m³], [1/s]
    """
    swept = floats(displacement_m3) * floats(speed_rev_s) / _REVOLUTIONS_A_CYCLE
    return floats(load_pct) / 100.0 * LOAD_DENSITY_KG_M3 * swept


def calculated_load_pct(
    flow_kg_s: ArrayLike, peak_flow_kg_s: ArrayLike, barometer_pa: ArrayLike, ambient_k: ArrayLike
) -> Floats:
    """Calculated load: air flow over the peak flow at this speed, corrected for weather. [%]

    Parameters
    ----------
    flow_kg_s
        Air flow. [kg/s]
    peak_flow_kg_s
        Flow with the throttle wide open at this engine speed, at 25 degC and 29.92 inHg. [kg/s]
    barometer_pa
        Barometric pressure. [Pa]
    ambient_k
        Ambient temperature. [K]

    References
    ----------
    .. [1] SAE J1979 appendix B, parameter 04, as quoted on a public page. The factor is
       ``sqrt(298 / (T + 273))`` with T in degC.
    """
    return 100.0 * floats(flow_kg_s) / _peak_here(peak_flow_kg_s, barometer_pa, ambient_k)


def flow_from_calculated_load_kg_s(
    load_pct: ArrayLike, peak_flow_kg_s: ArrayLike, barometer_pa: ArrayLike, ambient_k: ArrayLike
) -> Floats:
    """Air flow that a reported calculated load means: inverse of :func:`calculated_load_pct`.

    Parameters
    ----------
    load_pct
        Calculated load. [%]
    peak_flow_kg_s, barometer_pa, ambient_k
        As for :func:`calculated_load_pct`. [kg/s], [Pa], [K]
    """
    here = _peak_here(peak_flow_kg_s, barometer_pa, ambient_k)
    return floats(load_pct) / 100.0 * here


def _peak_here(peak: ArrayLike, barometer_pa: ArrayLike, ambient_k: ArrayLike) -> Floats:
    # The standard counts kelvin from 273, not 273.15.
    warm = np.sqrt(298.0 / (floats(ambient_k) - 0.15))
    return floats(peak) * (floats(barometer_pa) / _STANDARD_BAROMETER_PA) * warm


def charging_efficiency(
    compression_ratio: ArrayLike,
    exhaust_pa: ArrayLike,
    manifold_pa: ArrayLike,
    gamma: ArrayLike = GAMMA,
) -> Floats:
    """Share of the swept volume that fresh air fills, residual gas having expanded first. [-]

    ``(r - (exhaust / manifold) ** (1 / gamma)) / (r - 1)``: why filling falls with manifold
    pressure. Wave effects, heating and valve overlap are left out.

    Parameters
    ----------
    compression_ratio
        Above 1. [-]
    exhaust_pa, manifold_pa
        Absolute pressures. [Pa]
    gamma
        Ratio of specific heats of the residual gas. [-]

    References
    ----------
    .. [1] L. Eriksson and L. Nielsen, Modeling and Control of Engines and Drivelines (2014),
       ch. 7 (quoted from memory).
    """
    r = floats(compression_ratio)
    expanded = (floats(exhaust_pa) / floats(manifold_pa)) ** (1.0 / floats(gamma))
    return (r - expanded) / (r - 1.0)


def mean_value_filling(
    manifold_pa: ArrayLike, slope: ArrayLike = 0.961, offset_pa: ArrayLike = -7_000.0
) -> Floats:
    """Volumetric efficiency of the mean-value model: ``slope + offset / p``. [-]

    Parameters
    ----------
    manifold_pa
        Absolute manifold pressure. [Pa]
    slope, offset_pa
        Of filling times pressure against pressure. The defaults are one 1.275 L engine's: use
        them for shape only. [-], [Pa]

    References
    ----------
    .. [1] E. Hendricks et al., SAE 960037 (quoted from memory).
    """
    return floats(slope) + floats(offset_pa) / floats(manifold_pa)


def mean_value_throttle_factor(pressure_ratio: ArrayLike) -> Floats:
    """Flow factor of the mean-value throttle, 1 when choked. [-]

    ``sqrt(x ** 0.4404 - x ** 2.3143) / 0.7404``, 1 at and below a ratio of 0.4125. A fit to one
    throttle: 6 % below isentropic flow at a ratio of 0.7 and 10 % below at 0.95.

    Parameters
    ----------
    pressure_ratio
        Manifold over ambient pressure, held to at most 1. [-]

    References
    ----------
    .. [1] E. Hendricks et al., SAE 960037, beta 2 (quoted from memory).
    """
    x = np.minimum(floats(pressure_ratio), 1.0)
    held = np.maximum(x, 0.4125)
    fitted = np.sqrt(held**0.4404 - held**2.3143) / 0.7404
    return np.where(x <= 0.4125, 1.0, fitted)


def manifold_pressure_rate_pa_s(
    inflow_kg_s: ArrayLike, outflow_kg_s: ArrayLike, volume_m3: ArrayLike, manifold_k: ArrayLike
) -> Floats:
    """Rate of manifold pressure at constant temperature: ``R T / V × (in - out)``. [Pa/s]

    Parameters
    ----------
    inflow_kg_s, outflow_kg_s
        Air into the manifold (throttle and leaks) and out of it (cylinders). [kg/s]
    volume_m3
        Volume of the manifold. [m³]
    manifold_k
        Temperature in it. [K]

    References
    ----------
    .. [1] Mass balance of an ideal gas; J. B. Heywood, Internal Combustion Engine Fundamentals,
       sec. 7.6.2 (quoted from memory).
    """
    net = floats(inflow_kg_s) - floats(outflow_kg_s)
    return R_DRY * floats(manifold_k) / floats(volume_m3) * net
