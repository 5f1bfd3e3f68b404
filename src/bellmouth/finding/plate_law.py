"""What the plate leaves open at each reading, and how that leans on the car's unknowns."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from bellmouth.finding.made_up import made_up_pct
from bellmouth.finding.nuisance import Values

__all__ = ["above_slopes", "area_slopes", "opening_slopes", "plate_parts"]

Floats = NDArray[np.float64]

_FLOOR = 0.05  # share of the clean area that always passes


def plate_parts(
    over_pct: Floats, deposit_mm2: Floats, at_reference_mm2: Floats, get: Values
) -> dict[str, Floats]:
    """What the effective area at each reading is made of: bypass, plate, and what deposit takes
    near closed. Areas in mm², openings in % of reading.

    ``over_pct`` is each reading over the one that openings are counted from; ``deposit_mm2`` is
    what deposit takes at the stop, at each point and where that reading was taken.
    """
    slope, fade = np.exp(get("slope")), np.exp(get("fade"))
    own = np.exp(get("opening"))
    # The lowest reading may itself be opened by what the deposit takes at just that opening.
    made_up = made_up_pct(own, at_reference_mm2 / slope, fade)
    raw = over_pct + own + made_up
    root = np.sqrt(raw * raw + 0.04)
    opening = 0.5 * (raw + root)
    bypass, curve = np.exp(get("bypass")), get("curve")
    clean = bypass + slope * opening * (1.0 + curve * opening)
    lost = deposit_mm2 * np.exp(-opening / fade)
    left, floor = clean - lost, _FLOOR * clean
    reach = np.sqrt(left * left + floor * floor)
    return {
        # Something always passes: a smooth floor keeps the logarithm alive.
        "plate": 0.5 * (left + reach),
        "slope": slope,
        "bypass": bypass,
        "curve": curve,
        "fade": fade,
        "own": own,
        "made_up": made_up,
        "raw": raw,
        "root": root,
        "opening": opening,
        "lost": lost,
        "left": left,
        "floor": floor,
        "reach": reach,
    }


def above_slopes(parts: Mapping[str, Floats]) -> dict[str, Floats]:
    """Slopes of what the lowest reading stands open, the deposit's part included."""
    own, made_up, fade = parts["own"], parts["made_up"], parts["fade"]
    less = 1.0 / (1.0 + made_up / fade)  # what more opening leaves of a deposit
    return {
        "opening": own * less,
        "slope": -made_up * less,
        "fade": made_up / fade * (own + made_up) * less,
    }


def opening_slopes(parts: Mapping[str, Floats]) -> dict[str, Floats]:
    """Slopes of the reading over the opening, less for what the opening gains."""
    by_above = -_by_above(parts) / parts["opening"]
    return {name: by_above * slope for name, slope in above_slopes(parts).items()}


def area_slopes(parts: Mapping[str, Floats]) -> dict[str, Floats]:
    """Slopes of the logarithm of the plate's area."""
    area, fade, lost = parts["plate"], parts["fade"], parts["lost"]
    opening, slope, curve = parts["opening"], parts["slope"], parts["curve"]
    by_left = 0.5 * (1.0 + parts["left"] / parts["reach"])
    by_floor = 0.5 * _FLOOR * parts["floor"] / parts["reach"]
    by_clean = by_left + by_floor
    clean_by_opening = slope * (1.0 + 2.0 * curve * opening)
    by_opening = (by_clean * clean_by_opening + by_left * lost / fade) * _by_above(parts)
    above = above_slopes(parts)
    by_slope = by_clean * slope * opening
    return {
        "bypass": by_clean * parts["bypass"] / area,
        "slope": (by_slope * (1.0 + curve * opening) + by_opening * above["slope"]) / area,
        "curve": by_slope * opening / area,
        "opening": by_opening * above["opening"] / area,
        "fade": (by_opening * above["fade"] - by_left * lost * opening / fade) / area,
    }


def _by_above(parts: Mapping[str, Floats]) -> Floats:
    """Slope of the opening in what the plate stands above its stop."""
    return np.asarray(0.5 * (1.0 + parts["raw"] / parts["root"]))
