"""Air: dry and humid, and the standard atmosphere. Everything in SI units, temperatures in K."""

import math

import numpy as np
from numpy.typing import ArrayLike

from bellmouth.physics._arrays import Floats, floats

__all__ = [
    "EARTH_RADIUS_M",
    "GAMMA",
    "KELVIN",
    "R_DRY",
    "STANDARD_GRAVITY_M_S2",
    "STANDARD_PRESSURE_PA",
    "STANDARD_TEMPERATURE_K",
    "density_kg_m3",
    "dry_mass_fraction",
    "dry_mole_fraction",
    "geometric_from_geopotential_m",
    "geopotential_from_geometric_m",
    "humid_density_kg_m3",
    "humidity_ratio",
    "saturation_pressure_pa",
    "standard_altitude_m",
    "standard_density_kg_m3",
    "standard_pressure_pa",
    "standard_temperature_k",
    "vapour_pressure_pa",
]

KELVIN = 273.15
R_DRY = 287.05  # J/(kg K), dry air
GAMMA = 1.4

# U.S. Standard Atmosphere 1976; the constants as three libraries that agree have them.
STANDARD_PRESSURE_PA = 101_325.0
STANDARD_TEMPERATURE_K = 288.15
STANDARD_GRAVITY_M_S2 = 9.80665
EARTH_RADIUS_M = 6_356_766.0
_STANDARD_R = 8314.32 / 28.9644
_LAPSE_K_M = 0.0065
_TROPOPAUSE_M = 11_000.0
_LOWEST_M, _HIGHEST_M = -5_000.0, 20_000.0
_EXPONENT = STANDARD_GRAVITY_M_S2 / (_STANDARD_R * _LAPSE_K_M)
_TROPOPAUSE_K = STANDARD_TEMPERATURE_K - _LAPSE_K_M * _TROPOPAUSE_M
_TROPOPAUSE_PA: float = STANDARD_PRESSURE_PA * (_TROPOPAUSE_K / STANDARD_TEMPERATURE_K) ** _EXPONENT
_SCALE_M = _STANDARD_R * _TROPOPAUSE_K / STANDARD_GRAVITY_M_S2

_WATER_OVER_DRY = 0.621945  # molar mass of water over that of dry air, ASHRAE Fundamentals, ch. 1
_TRIPLE_POINT_K = 273.16
# Hyland and Wexler (1983), as given in ASHRAE Fundamentals ch. 1, eq. 5 (ice) and eq. 6 (water):
# ln p = c0 / T + c1 + c2 T + c3 T^2 + c4 T^3 + c5 T^4 + c6 ln T.
_OVER_ICE = (
    -5.6745359e3, 6.3925247, -9.677843e-3, 6.2215701e-7, 2.0747825e-9, -9.484024e-13, 4.1635019,
)  # fmt: skip
_OVER_WATER = (
    -5.8002206e3, 1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8, 0.0, 6.5459673,
)  # fmt: skip


def density_kg_m3(pressure_pa: ArrayLike, temperature_k: ArrayLike) -> Floats:
    """Density of dry air as an ideal gas. [kg/m³]

    Within 0.1 % of real air from -10 to 60 degC up to atmospheric pressure.

    Parameters
    ----------
    pressure_pa
        Absolute pressure. [Pa]
    temperature_k
        Temperature. [K]
    """
    temperature = floats(temperature_k)
    return floats(pressure_pa) / (R_DRY * temperature)


def geopotential_from_geometric_m(geometric_m: ArrayLike) -> Floats:
    """Geopotential altitude at a geometric altitude. [m]

    Parameters
    ----------
    geometric_m
        Height above mean sea level. [m]

    References
    ----------
    .. [1] U.S. Standard Atmosphere, 1976, eq. 18 (quoted from memory).
    """
    height = floats(geometric_m)
    return EARTH_RADIUS_M * height / (EARTH_RADIUS_M + height)


def geometric_from_geopotential_m(geopotential_m: ArrayLike) -> Floats:
    """Geometric altitude at a geopotential altitude. [m]

    Parameters
    ----------
    geopotential_m
        Geopotential altitude. [m]

    References
    ----------
    .. [1] U.S. Standard Atmosphere, 1976, eq. 19 (quoted from memory).
    """
    height = floats(geopotential_m)
    return EARTH_RADIUS_M * height / (EARTH_RADIUS_M - height)


def standard_temperature_k(geopotential_m: ArrayLike) -> Floats:
    """Temperature of the standard atmosphere. [K]

    Parameters
    ----------
    geopotential_m
        Geopotential altitude, -5,000 to 20,000. [m]

    Raises
    ------
    ValueError
        If an altitude lies outside that range.

    References
    ----------
    .. [1] U.S. Standard Atmosphere, 1976; ISO 2533:1975.
    """
    height = _altitudes(geopotential_m)
    return STANDARD_TEMPERATURE_K - _LAPSE_K_M * np.minimum(height, _TROPOPAUSE_M)


def standard_pressure_pa(geopotential_m: ArrayLike) -> Floats:
    """Pressure of the standard atmosphere. [Pa]

    Parameters
    ----------
    geopotential_m
        Geopotential altitude, -5,000 to 20,000. [m]

    Raises
    ------
    ValueError
        If an altitude lies outside that range.

    References
    ----------
    .. [1] U.S. Standard Atmosphere, 1976, eq. 33a and 33b (numbers quoted from memory); ISO
       2533:1975.
    """
    ratio = standard_temperature_k(geopotential_m) / STANDARD_TEMPERATURE_K
    above = np.maximum(_altitudes(geopotential_m) - _TROPOPAUSE_M, 0.0)
    return STANDARD_PRESSURE_PA * ratio**_EXPONENT * np.exp(-above / _SCALE_M)


def standard_density_kg_m3(geopotential_m: ArrayLike) -> Floats:
    """Density of the standard atmosphere. [kg/m³]

    Parameters
    ----------
    geopotential_m
        Geopotential altitude, -5,000 to 20,000. [m]

    Raises
    ------
    ValueError
        If an altitude lies outside that range.

    References
    ----------
    .. [1] U.S. Standard Atmosphere, 1976, eq. 42 (number quoted from memory), with its own gas
       constant.
    """
    temperature = standard_temperature_k(geopotential_m)
    return standard_pressure_pa(geopotential_m) / (_STANDARD_R * temperature)


def standard_altitude_m(pressure_pa: ArrayLike) -> Floats:
    """Geopotential altitude at which the standard atmosphere has a pressure. [m]

    The inverse of :func:`standard_pressure_pa`.

    Parameters
    ----------
    pressure_pa
        Absolute pressure, 5,475 to 177,686: that of 20,000 to -5,000 m. [Pa]

    Raises
    ------
    ValueError
        If a pressure lies outside that range.
    """
    pressure = floats(pressure_pa)
    low, high = standard_pressure_pa(_HIGHEST_M), standard_pressure_pa(_LOWEST_M)
    if np.any((pressure < low) | (pressure > high)):
        raise ValueError(
            f"air.standard_altitude_m: pressure_pa must lie between {math.ceil(low)} and "
            f"{math.floor(high)} Pa; check the unit."
        )
    ratio = np.maximum(pressure, _TROPOPAUSE_PA) / STANDARD_PRESSURE_PA
    below = STANDARD_TEMPERATURE_K / _LAPSE_K_M * (1.0 - ratio ** (1.0 / _EXPONENT))
    return below - _SCALE_M * np.log(np.minimum(pressure, _TROPOPAUSE_PA) / _TROPOPAUSE_PA)


def _altitudes(geopotential_m: ArrayLike) -> Floats:
    height = floats(geopotential_m)
    if np.any((height < _LOWEST_M) | (height > _HIGHEST_M)):
        raise ValueError(
            f"air: geopotential_m must lie between {_LOWEST_M:.0f} and {_HIGHEST_M:.0f} m; "
            "check the unit."
        )
    return height


def saturation_pressure_pa(temperature_k: ArrayLike) -> Floats:
    """Vapour pressure of water at saturation, over ice below the triple point. [Pa]

    Parameters
    ----------
    temperature_k
        Temperature, 173.15 to 473.15. [K]

    Raises
    ------
    ValueError
        If a temperature lies outside that range.

    References
    ----------
    .. [1] ASHRAE Handbook of Fundamentals (2017), ch. 1, eq. 5 and 6, after Hyland and Wexler.
    """
    temperature = floats(temperature_k)
    if np.any((temperature < 173.15) | (temperature > 473.15)):
        raise ValueError(
            "air.saturation_pressure_pa: temperature_k must lie between 173.15 and 473.15 K; "
            "check the unit."
        )
    return np.where(
        temperature <= _TRIPLE_POINT_K,
        _hyland_wexler(temperature, _OVER_ICE),
        _hyland_wexler(temperature, _OVER_WATER),
    )


def _hyland_wexler(t: Floats, c: tuple[float, ...]) -> Floats:
    powers = c[1] + t * (c[2] + t * (c[3] + t * (c[4] + t * c[5])))
    return np.exp(c[0] / t + powers + c[6] * np.log(t))


def vapour_pressure_pa(relative_humidity: ArrayLike, temperature_k: ArrayLike) -> Floats:
    """Partial pressure of water vapour. [Pa]

    Parameters
    ----------
    relative_humidity
        Vapour pressure over its saturation value, 0 to 1. [-]
    temperature_k
        Temperature, 173.15 to 473.15. [K]

    Raises
    ------
    ValueError
        If a humidity or a temperature lies outside its range.
    """
    humidity = floats(relative_humidity)
    if np.any((humidity < 0.0) | (humidity > 1.0)):
        raise ValueError(
            "air.vapour_pressure_pa: relative_humidity must lie between 0 and 1; "
            "divide a percentage by 100."
        )
    return humidity * saturation_pressure_pa(temperature_k)


def humidity_ratio(vapour_pa: ArrayLike, pressure_pa: ArrayLike) -> Floats:
    """Mass of water vapour over mass of dry air. [-]

    Parameters
    ----------
    vapour_pa
        Partial pressure of water vapour, below ``pressure_pa``. [Pa]
    pressure_pa
        Absolute pressure of the mixture. [Pa]

    References
    ----------
    .. [1] ASHRAE Handbook of Fundamentals (2017), ch. 1, eq. 20. Ideal gases: 0.5 % low against
       real humid air at 1 bar.
    """
    vapour = floats(vapour_pa)
    return _WATER_OVER_DRY * vapour / (floats(pressure_pa) - vapour)


def humid_density_kg_m3(
    pressure_pa: ArrayLike, temperature_k: ArrayLike, vapour_pa: ArrayLike
) -> Floats:
    """Density of humid air, vapour included. [kg/m³]

    Parameters
    ----------
    pressure_pa
        Absolute pressure of the mixture. [Pa]
    temperature_k
        Temperature. [K]
    vapour_pa
        Partial pressure of water vapour. [Pa]

    References
    ----------
    .. [1] ASHRAE Handbook of Fundamentals (2017), ch. 1, eq. 26 and 11, rearranged; here and
       above the equation numbers are those that PsychroLib cites.
    """
    lighter = 1.0 - (1.0 - _WATER_OVER_DRY) * (1.0 - dry_mole_fraction(vapour_pa, pressure_pa))
    return density_kg_m3(pressure_pa, temperature_k) * lighter


def dry_mole_fraction(vapour_pa: ArrayLike, pressure_pa: ArrayLike) -> Floats:
    """Share of dry air in humid air by mole: what is left for burning, by volume. [-]

    Parameters
    ----------
    vapour_pa
        Partial pressure of water vapour. [Pa]
    pressure_pa
        Absolute pressure of the mixture. [Pa]
    """
    vapour = floats(vapour_pa)
    return 1.0 - vapour / floats(pressure_pa)


def dry_mass_fraction(vapour_pa: ArrayLike, pressure_pa: ArrayLike) -> Floats:
    """Share of dry air in humid air by mass. [-]

    An airflow meter weighs the whole, the fuel burns with the dry share: 97.2 % at 35 degC and
    80 % relative humidity.

    Parameters
    ----------
    vapour_pa
        Partial pressure of water vapour. [Pa]
    pressure_pa
        Absolute pressure of the mixture. [Pa]
    """
    return 1.0 / (1.0 + humidity_ratio(vapour_pa, pressure_pa))
