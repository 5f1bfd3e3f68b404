"""How much further a plate stands open for what deposit takes of its gap."""

import numpy as np
from numpy.typing import NDArray

__all__ = ["made_up_pct"]

Floats = NDArray[np.float64]


def made_up_pct(own_pct: Floats, deposit_pct: Floats, fade_pct: Floats) -> Floats:
    """Opening that makes up for a deposit, which fades as the plate opens for it. [%]

    Solves ``m = deposit exp(-(own + m) / fade)`` for m by Newton's method; ``deposit_pct`` is
    the area lost at the stop over the plate's slope.
    """
    z = deposit_pct / fade_pct * np.exp(-own_pct / fade_pct)
    y = np.log1p(z)
    for _ in range(3):
        kept = z * np.exp(-y)
        y = y - (y - kept) / (1.0 + kept)
    return np.asarray(fade_pct * y)
