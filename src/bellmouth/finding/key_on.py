"""What the manifold sensor reads with the engine off, against the barometer."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bellmouth.finding.hypothesis import HasCoordinates, log_reads
from bellmouth.finding.observations import Observations
from bellmouth.finding.priors import Priors

__all__ = ["KeyOn", "key_on"]

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]


@dataclass(frozen=True)
class KeyOn:
    """Log likelihood of the engine-off reading for any hypothesis and size.

    On some cars the barometric pressure *is* the manifold sensor's engine-off reading, and the
    two agree whatever is wrong; ``shared`` is the share of such cars.
    """

    log_ratio: float
    sd: float
    shared: float
    stray: float
    hypotheses: HasCoordinates

    def __call__(self, which: Ints, sizes: Floats) -> Floats:
        """Log likelihood of hypotheses ``which`` (n,) at coordinates ``sizes`` (n, 2)."""
        if not np.isfinite(self.log_ratio):
            return np.zeros(len(which))
        expected = log_reads(self.hypotheses, "pressure", which, sizes)
        own = np.exp(-0.5 * ((self.log_ratio - expected) / self.sd) ** 2)
        agreeing = np.exp(-0.5 * (self.log_ratio / self.sd) ** 2)
        return np.asarray(np.log((1 - self.shared) * own + self.shared * agreeing + self.stray))


def key_on(
    observations: Observations, priors: Priors, hypotheses: HasCoordinates, recording: int = 0
) -> KeyOn:
    """Prepare the likelihood from a recording's engine-off stretch, if it has one."""
    sensors, weather = priors.sensors, priors.weather
    sd = np.sqrt(
        sensors["pressure_log_gain"] ** 2
        + (sensors["pressure_offset_pa"] / 98e3) ** 2
        + weather["barometric_log_error"] ** 2
        + sensors["two_readings_log"] ** 2
    )
    log_ratio = float(observations.key_on_log_ratio[recording])
    return KeyOn(
        log_ratio, float(sd), sensors["shared_barometer"], sensors["key_on_stray"], hypotheses
    )
