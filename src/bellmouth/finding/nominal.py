"""Rough states of each point, good enough to set scales: how big a fault could be here, how wide
the model error is. The model predicts from none of them; what bears on a case beside it (speed and
air of the idle, checks) tells a leak's share of the idle air by `Scale.idle_area_m2`."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bellmouth.finding.fuelling import LARGEST_LOG_TRIM
from bellmouth.finding.hypothesis import Scale
from bellmouth.finding.observations import Observations
from bellmouth.finding.priors import Priors
from bellmouth.physics import cylinder, orifice
from bellmouth.recording.medians import median
from bellmouth.recording.nans import told_or

__all__ = ["Nominal", "nominal_of", "scale_of"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_IDLE_FLOW_KG_S_M3 = 1.0  # common practice: about 1 g/s a litre
_IDLE_FLUX_KG_S_M2 = 240.0  # choked, of air at 101 kPa and 20 degC
_MM2 = 1e-6


@dataclass(frozen=True)
class Nominal:
    """Nominal airflow [kg/s] and manifold pressure [Pa] of each point, and the barometer's where it
    is not known. [Pa]"""

    flow_kg_s: Floats
    pressure_pa: Floats
    unknown_pa: float


def nominal_of(observations: Observations, priors: Priors) -> Nominal:
    """Rough states of all points."""
    o, unknown_pa = observations, priors.weather["barometric_kpa"][0] * 1e3
    filling = np.exp(priors.filling["log_level"][0])
    per_pa = cylinder.speed_density_kg_s(filling, 1.0, o.displacement_m3, o.speed_rev_s, o.intake_k)
    flow = np.where(np.isfinite(o.metered_kg_s), o.metered_kg_s, per_pa * o.manifold_pa)
    idle = _IDLE_FLOW_KG_S_M3 * o.displacement_m3 * np.ones(o.points)
    flow = np.where(np.isfinite(flow) & (flow > 0), flow, idle)
    ambient = np.where(np.isfinite(o.ambient_pa), o.ambient_pa, unknown_pa)
    pressure = np.where(np.isfinite(o.manifold_pa), o.manifold_pa, flow / per_pa)
    return Nominal(flow, np.clip(pressure, 8e3, 3.0 * ambient), unknown_pa)


def scale_of(
    observations: Observations, nominal: Nominal, priors: Priors, good: Bools | None = None
) -> Scale:
    """Area that idle breathes through and area a degree of opening is worth; the latter of points
    that are ``good``, by default those of references, where they tell it."""
    good = ~observations.judged if good is None else good
    o, flow, pressure = observations, nominal.flow_kg_s, nominal.pressure_pa
    ambient = np.where(np.isfinite(o.ambient_pa), o.ambient_pa, nominal.unknown_pa)
    upstream = np.where(np.isfinite(o.boost_pa), o.boost_pa, ambient)
    ratio = np.clip(pressure / upstream, 0.0, 0.97)
    flux = orifice.mass_flow_kg_s(1.0, upstream, ratio * upstream, o.intake_k)
    area = flow / flux
    idle_area = _idle_area_m2(o, area, flux, pressure, priors)
    per_degree = (
        _slope_mm2_per_pct(o, area, ratio, priors, good) * priors.plate_position["pct_per_deg"]
    )
    chosen = o.idle & o.judged
    idle_flux = median(flux[chosen]) if chosen.any() else _IDLE_FLUX_KG_S_M2
    return Scale(idle_area, idle_area * idle_flux * 1e3, per_degree)


def _idle_area_m2(
    o: Observations, area: Floats, flux: Floats, pressure: Floats, priors: Priors
) -> float:
    """Area that idle air needs: what the meter saw, made up by what the trims added, or more if
    the pressure says that the cylinders got more."""
    chosen = o.idle & o.judged
    if not chosen.any():
        chosen = o.judged & (o.speed_rev_s < 20.0)
    if not chosen.any():
        return float(_IDLE_FLOW_KG_S_M3 * o.displacement_m3 / _IDLE_FLUX_KG_S_M2)
    trim = told_or(-9.0, o.log_trim).max(axis=1)
    made_up = area * np.exp(np.clip(trim, 0.0, LARGEST_LOG_TRIM))
    # A leak is judged against no less than a poorly filling engine would breathe, and no less
    # than half of common practice: good enough for a scale.
    filling = 0.75 * np.exp(priors.filling["log_level"][0])
    per_pa = cylinder.speed_density_kg_s(filling, 1.0, o.displacement_m3, o.speed_rev_s, o.intake_k)
    breathed = np.where(np.isfinite(o.manifold_pa), per_pa * pressure / flux, 0.0)
    typical = 0.5 * _IDLE_FLOW_KG_S_M3 * o.displacement_m3 / _IDLE_FLUX_KG_S_M2
    return median(np.maximum(np.maximum(made_up, breathed)[chosen], typical))


def _slope_mm2_per_pct(
    o: Observations, area: Floats, ratio: Floats, priors: Priors, good: Bools
) -> float:
    """Area gained per % of throttle reading, pulled to the prior where the points say little.

    Read within one recording, a good one if there is any: deposit moves the reading itself. Of
    several it is the one whose reading moves most.
    """
    mean, sd = priors.plate["log_slope_mm2_per_pct"]
    told = np.isfinite(o.throttle_pct) & np.isfinite(area) & (ratio < 0.9)
    told &= good if (told & good).any() else True
    small = max(
        (_near_lowest(o, told & (o.recording == one)) for one in range(o.recordings)),
        key=lambda points: _extent(o.throttle_pct[points]),
    )
    reading, gained = o.throttle_pct[small], area[small] / _MM2
    rise = _extent(reading)
    if rise < 0.3:
        return float(np.exp(mean))
    slope = np.polyfit(reading, gained, 1)[0]
    error = max(0.35 / rise, 0.2)
    log_slope = np.log(np.clip(slope, 0.5, 15.0))
    weight = sd**2 / (sd**2 + error**2)
    return float(np.exp(weight * log_slope + (1 - weight) * mean))


def _near_lowest(o: Observations, told: Bools) -> Bools:
    """Points whose plate is not far more open than at the lowest of them."""
    lowest = np.where(told, o.throttle_pct, np.inf).min()
    near: Bools = told & (o.throttle_pct < lowest + 8.0)
    return near


def _extent(reading: Floats) -> float:
    return float(np.ptp(reading)) if reading.size else 0.0
