"""What the manifold sensor reads with the engine off, against the barometer."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bellmouth.finding.false_pressure import Way, ways
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
    two agree whatever is wrong; ``shared`` is the share of such cars. Of several recordings
    ``log_ratio`` is the mean, as the sensors' own errors are alike in all, and ``apart`` how far
    they disagree beyond two readings' rounding: as a square, in standard deviations.
    """

    log_ratio: float
    sd: float
    apart: float
    shared: float
    stray: float
    ways: tuple[Way, ...]
    hypotheses: HasCoordinates

    def __call__(self, which: Ints, sizes: Floats) -> Floats:
        """Log likelihood of hypotheses ``which`` (n,) at coordinates ``sizes`` (n, 2)."""
        if not np.isfinite(self.log_ratio):
            return np.zeros(len(which))
        pressure, computed = (
            log_reads(self.hypotheses, sensor, which, sizes) for sensor in ("pressure", "meter")
        )
        own = sum(
            way.share * self._likelihood(pressure + way.part * computed, way.sd * computed)
            for way in self.ways
        )
        agreeing = self._likelihood(np.zeros(len(which)), np.zeros(len(which)))
        return np.asarray(np.log((1 - self.shared) * own + self.shared * agreeing + self.stray))

    def _likelihood(self, expected: Floats, spread: Floats) -> Floats:
        """Of a reading expected so; how far it may be off beyond ``sd`` costs it its height."""
        sd = np.hypot(self.sd, spread)
        told = np.exp(-0.5 * (((self.log_ratio - expected) / sd) ** 2 + self.apart))
        return np.asarray(told * self.sd / sd)


def key_on(
    observations: Observations,
    priors: Priors,
    hypotheses: HasCoordinates,
    recordings: Sequence[int] = (0,),
) -> KeyOn:
    """Prepare the likelihood from the engine-off stretches of recordings in which the same is
    wrong, of those that have one."""
    sensors, weather = priors.sensors, priors.weather
    read = observations.key_on_log_ratio[list(recordings)]
    read = read[np.isfinite(read)]
    rounding2 = sensors["two_readings_log"] ** 2
    sd = np.sqrt(
        sensors["pressure_log_gain"] ** 2
        + (sensors["pressure_offset_pa"] / 98e3) ** 2
        + weather["barometric_log_error"] ** 2
        + rounding2 / max(len(read), 1)
    )
    mean = float(read.mean()) if len(read) else float("nan")
    return KeyOn(
        mean,
        float(sd),
        float(((read - mean) ** 2).sum() / rounding2),
        sensors["shared_barometer"],
        sensors["key_on_stray"],
        ways(observations, priors),
        hypotheses,
    )
