"""Fuel: how much air it wants, what ethanol changes, and what a fuel trim means.

Trims are ratios here: 0.1 stands for the +10 % that a car reports.
"""

import numpy as np
from numpy.typing import ArrayLike

from bellmouth.physics._arrays import Floats, floats

__all__ = [
    "ETHANOL_DENSITY_KG_M3",
    "ETHANOL_RATIO",
    "GASOLINE_DENSITY_KG_M3",
    "GASOLINE_RATIO",
    "air_excess_ratio",
    "blend_density_kg_m3",
    "blend_ratio",
    "equivalence_ratio",
    "ethanol_mass_fraction",
    "expected_trim",
    "expected_trim_pressure_metered",
    "injector_time_factor",
    "stoichiometric_ratio",
    "total_trim_additive",
    "total_trim_multiplicative",
]

# Air as O2 + 3.773 N2: 34.56 kg of it for each kilomole of oxygen atoms over two, Heywood eq. 3.6.
_AIR_KG_PER_QUARTER_MOLE = 34.56
_CARBON, _HYDROGEN, _OXYGEN = 12.011, 1.008, 15.999  # kg/kmol


def stoichiometric_ratio(
    hydrogen_per_carbon: ArrayLike, oxygen_per_carbon: ArrayLike = 0.0
) -> Floats:
    """Mass of air that burns a fuel exactly, over the mass of fuel, by element balance. [-]

    For a fuel CHyOz: ``34.56 (4 + y - 2 z) / (12.011 + 1.008 y + 15.999 z)``.

    Parameters
    ----------
    hydrogen_per_carbon, oxygen_per_carbon
        Atoms of hydrogen and oxygen for each atom of carbon. [-]

    References
    ----------
    .. [1] J. B. Heywood, Internal Combustion Engine Fundamentals, eq. 3.6 (quoted from memory),
       extended to oxygen in the fuel.
    """
    y = floats(hydrogen_per_carbon)
    z = floats(oxygen_per_carbon)
    air = _AIR_KG_PER_QUARTER_MOLE * (4.0 + y - 2.0 * z)
    return air / (_CARBON + _HYDROGEN * y + _OXYGEN * z)


GASOLINE_RATIO = float(stoichiometric_ratio(1.87))
ETHANOL_RATIO = float(stoichiometric_ratio(3.0, 0.5))
# Density at 15 to 20 degC, from memory. EN 228 allows gasoline 720 to 775 kg/m³.
GASOLINE_DENSITY_KG_M3 = 745.0
ETHANOL_DENSITY_KG_M3 = 789.0


def ethanol_mass_fraction(ethanol_volume_fraction: ArrayLike) -> Floats:
    """Share of ethanol by mass in gasoline with ethanol, no volume change on mixing. [-]

    Parameters
    ----------
    ethanol_volume_fraction
        Share of ethanol by volume, 0 to 1. [-]

    Raises
    ------
    ValueError
        If a share lies outside 0 to 1.
    """
    share = _shares(ethanol_volume_fraction)
    return share * ETHANOL_DENSITY_KG_M3 / blend_density_kg_m3(share)


def blend_density_kg_m3(ethanol_volume_fraction: ArrayLike) -> Floats:
    """Density of gasoline with ethanol, no volume change on mixing. [kg/m³]

    Parameters
    ----------
    ethanol_volume_fraction
        Share of ethanol by volume, 0 to 1. [-]

    Raises
    ------
    ValueError
        If a share lies outside 0 to 1.
    """
    share = _shares(ethanol_volume_fraction)
    return share * ETHANOL_DENSITY_KG_M3 + (1.0 - share) * GASOLINE_DENSITY_KG_M3


def blend_ratio(ethanol_volume_fraction: ArrayLike) -> Floats:
    """Stoichiometric air/fuel ratio of gasoline with ethanol: 14.60 down to 9.00. [-]

    Parameters
    ----------
    ethanol_volume_fraction
        Share of ethanol by volume, 0 to 1. [-]

    Raises
    ------
    ValueError
        If a share lies outside 0 to 1.
    """
    mass = ethanol_mass_fraction(ethanol_volume_fraction)
    return mass * ETHANOL_RATIO + (1.0 - mass) * GASOLINE_RATIO


def injector_time_factor(
    ethanol_volume_fraction: ArrayLike, expected_volume_fraction: ArrayLike = 0.0
) -> Floats:
    """Injection time that a blend needs over that of the blend the controller expects. [-]

    More fuel mass for the same air, over the injector's flow, which goes with the root of
    density at the same pressure: +3.9 % for E10, +45 % for E85, against gasoline.

    Parameters
    ----------
    ethanol_volume_fraction, expected_volume_fraction
        Share of ethanol by volume in the tank and in the controller's mind, 0 to 1. [-]

    Raises
    ------
    ValueError
        If a share lies outside 0 to 1.
    """
    mass = blend_ratio(expected_volume_fraction) / blend_ratio(ethanol_volume_fraction)
    density = blend_density_kg_m3(ethanol_volume_fraction)
    return mass * np.sqrt(blend_density_kg_m3(expected_volume_fraction) / density)


def _shares(ethanol_volume_fraction: ArrayLike) -> Floats:
    share = floats(ethanol_volume_fraction)
    if np.any((share < 0.0) | (share > 1.0)):
        raise ValueError(
            "fuel: a volume fraction of ethanol must lie between 0 and 1; "
            "divide a percentage by 100."
        )
    return share


def total_trim_additive(short_trim: ArrayLike, long_trim: ArrayLike) -> Floats:
    """Total trim of a controller that adds its two trims: ``short + long``. [-]

    The standard does not say which of the two a car does: +10 and +12 % give 22 or 23.2 %.

    Parameters
    ----------
    short_trim, long_trim
        Short- and long-term trim as ratios. [-]
    """
    return floats(short_trim) + floats(long_trim)


def total_trim_multiplicative(short_trim: ArrayLike, long_trim: ArrayLike) -> Floats:
    """Total trim of a controller that multiplies: ``(1 + short) (1 + long) - 1``. [-]

    Parameters
    ----------
    short_trim, long_trim
        Short- and long-term trim as ratios. [-]
    """
    short, long = floats(short_trim), floats(long_trim)
    # Not (1 + short) (1 + long) - 1: small trims would lose digits.
    return short + long + short * long


def expected_trim(
    true_air_kg_s: ArrayLike,
    leak_kg_s: ArrayLike = 0.0,
    meter_ratio: ArrayLike = 1.0,
    fuel_ratio: ArrayLike = 1.0,
    injector_factor: ArrayLike = 1.0,
) -> Floats:
    """Total trim of an airflow-metered car in closed loop: fuel made to match the true air. [-]

    ``true air / (meter (true air - leak)) × injector factor / fuel - 1``: flat for a meter or
    fuel error, falling with flow for a leak.

    Parameters
    ----------
    true_air_kg_s
        Air that the cylinders get, leak included. [kg/s]
    leak_kg_s
        Of it, the air that never passed the meter, below the whole. [kg/s]
    meter_ratio
        Reported over true airflow at the meter. [-]
    fuel_ratio
        Delivered over commanded fuel. [-]
    injector_factor
        From :func:`injector_time_factor`. [-]

    References
    ----------
    .. [1] Mass balance. The pattern as a diagnostic at idle is published in US patent 6,684,869.
    """
    air = floats(true_air_kg_s)
    metered = floats(meter_ratio) * (air - floats(leak_kg_s))
    return air / metered * floats(injector_factor) / floats(fuel_ratio) - 1.0


def expected_trim_pressure_metered(
    computed_ratio: ArrayLike = 1.0, fuel_ratio: ArrayLike = 1.0, injector_factor: ArrayLike = 1.0
) -> Floats:
    """Total trim of a pressure-metered car in closed loop; a leak does not enter. [-]

    ``injector factor / (computed × fuel) - 1``: manifold pressure weighs the leak's air with the
    rest, so a leak raises the idle instead.

    Parameters
    ----------
    computed_ratio
        Airflow that the controller computes over the true one. [-]
    fuel_ratio
        Delivered over commanded fuel. [-]
    injector_factor
        From :func:`injector_time_factor`. [-]
    """
    asked = floats(computed_ratio) * floats(fuel_ratio)
    return floats(injector_factor) / asked - 1.0


def equivalence_ratio(
    air_kg_s: ArrayLike, fuel_kg_s: ArrayLike, stoichiometric: ArrayLike = GASOLINE_RATIO
) -> Floats:
    """Fuel-air equivalence ratio: above 1 is rich. [-]

    Parameters
    ----------
    air_kg_s, fuel_kg_s
        Flows of air and fuel. [kg/s]
    stoichiometric
        Stoichiometric air/fuel ratio. [-]
    """
    return floats(fuel_kg_s) * floats(stoichiometric) / floats(air_kg_s)


def air_excess_ratio(
    air_kg_s: ArrayLike, fuel_kg_s: ArrayLike, stoichiometric: ArrayLike = GASOLINE_RATIO
) -> Floats:
    """Air-fuel over stoichiometric air-fuel ratio: above 1 is lean. [-]

    This, not its inverse, is what parameters 24 to 2B, 34 to 3B and 44 of SAE J1979 report under
    the name of equivalence ratio (quoted from memory).

    Parameters
    ----------
    air_kg_s, fuel_kg_s
        Flows of air and fuel. [kg/s]
    stoichiometric
        Stoichiometric air/fuel ratio. [-]
    """
    return floats(air_kg_s) / (floats(fuel_kg_s) * floats(stoichiometric))
