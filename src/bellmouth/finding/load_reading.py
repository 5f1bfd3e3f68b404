"""What the calculated load says beside a reference of the same car.

A controller that meters pressure shows in its load how much air it believes the engine breathes.
What it is a share of differs from engine to engine, so one recording says nothing; at the same
pressure and speed on another day only a false computation moves it. Some controllers merely
show the manifold pressure under that name, and then it says nothing at all; which of the two it
is shows in how it goes with pressure from point to point.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bellmouth.finding.false_pressure import Way, ways
from bellmouth.finding.hypothesis import HasCoordinates, log_reads
from bellmouth.finding.observations import Observations
from bellmouth.finding.priors import Priors

__all__ = ["LoadReading", "load_reading"]

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

# How the load goes with each, and how far from that it may: it may be pressure and nothing else,
# or air over what the engine breathes at most, filling rising with pressure over the exhaust's.
# Each power stands between the two (common practice, no source); the doubts were widened once,
# after a false alarm on practice variant B.
_MANIFOLD_POWER, _MANIFOLD_DOUBT = 1.25, 0.3
_KELVIN_POWER, _KELVIN_DOUBT = -0.25, 0.25
_AMBIENT_POWER, _AMBIENT_DOUBT = -0.75, 0.6
_SPEED_DOUBT = 0.3

# Which of the two it is shows in how it goes with pressure over all points: pressure by another
# name keeps its ratio (rms 0.1 to 0.9 % over the idle recordings), air does not.
_PRESSURE_LOG_SD = 0.008
_AIR_LOG_SD = 0.012  # filling from point to point beside its slopes: common practice, no source
_AIR_SPEED_SD = 0.08  # filling's own slope in speed, as in priors.toml
_RATIO_SD = 2.0  # what it is a share of is anybody's guess, and on each day another
_MOST_NATS = 3.0  # two simple pictures of a load are not worth more: common practice, no source


@dataclass(frozen=True)
class LoadReading:
    """Log likelihood of the load beside a reference's for any hypothesis and size.

    ``log_ratio`` is the load over the reference's, at the same pressure; NaN where that was not
    recorded. ``sd`` is how well the two can be compared, ``follows`` how likely this load is
    the air that the controller computes.
    """

    log_ratio: float
    sd: float
    follows: float
    stray: float
    ways: tuple[Way, ...]
    hypotheses: HasCoordinates

    def __call__(self, which: Ints, sizes: Floats) -> Floats:
        """Log likelihood of hypotheses ``which`` (n,) at coordinates ``sizes`` (n, 2)."""
        if not np.isfinite(self.log_ratio):
            return np.zeros(len(which))
        false = log_reads(self.hypotheses, "meter", which, sizes)
        # What a false pressure moves, it moves in the load and in the pressure read beside it.
        own = sum(
            way.share * self._likelihood((1.0 - way.part) * false, way.sd * false)
            for way in self.ways
        )
        pressure = self._likelihood(np.zeros(len(which)), np.zeros(len(which)))
        return np.asarray(np.log(self.follows * own + (1 - self.follows) * pressure + self.stray))

    def _likelihood(self, expected: Floats, spread: Floats) -> Floats:
        """Of a load that moved so; how far it may be off beyond ``sd`` costs it its height."""
        sd = np.hypot(self.sd, spread)
        return np.asarray(np.exp(-0.5 * ((self.log_ratio - expected) / sd) ** 2) * self.sd / sd)


def load_reading(
    observations: Observations, priors: Priors, hypotheses: HasCoordinates
) -> LoadReading:
    """Prepare the likelihood from the most alike points of the judged recording and a reference."""
    o, table = observations, priors.load_reading
    log_ratio, sd = float("nan"), float("nan")
    good = np.isfinite(o.load_pct) & (o.load_pct > 0) & np.isfinite(o.manifold_pa)
    now, then = (np.flatnonzero(good & mask) for mask in (o.judged, ~o.judged))
    # Where the computed airflow itself is told it is compared in the model.
    told = bool(np.isfinite(o.computed_kg_s).any()) or o.airflow_metered
    if not told and len(now) and len(then):
        mean_kpa, sd_kpa = priors.weather["barometric_kpa"]
        ratios, sds = _compared(o, now, then, table["log_sd"], sd_kpa / mean_kpa)
        place = int(np.argmin(sds))
        log_ratio, sd = float(ratios.flat[place]), float(sds.flat[place])
    follows = table["follows"]
    if np.isfinite(log_ratio):
        odds = np.log(follows / (1.0 - follows)) + _nats_for_air(o, np.flatnonzero(good))
        follows = float(1.0 / (1.0 + np.exp(-odds)))
    stray = table["stray_share"]
    return LoadReading(log_ratio, sd, follows, stray, ways(o, priors), hypotheses)


def _nats_for_air(o: Observations, points: Ints) -> float:
    """How much more likely the load's course over these points is if it is air than if it is
    pressure alone, in nats; bounded."""
    recording = o.recording[points]
    same = (recording[:, None] == recording) * 1.0

    def course(value: Floats) -> Floats:
        log = np.log(value[points])
        return np.asarray(log - (same @ log) / same.sum(axis=1))

    pressure, kelvin, speed = (course(v) for v in (o.manifold_pa, o.intake_k, o.speed_rev_s))
    off = course(o.load_pct) - pressure
    reading = o.manifold_error_pa[points] / o.manifold_pa[points]
    common = _RATIO_SD**2 * same + np.diag(reading**2)
    every = np.eye(len(points))
    air = common + _AIR_LOG_SD**2 * every
    for value, doubt in (
        (pressure, _MANIFOLD_DOUBT), (kelvin, _KELVIN_DOUBT), (speed, _AIR_SPEED_SD),
    ):  # fmt: skip
        air += np.outer(value, value) * doubt**2
    expected = (_MANIFOLD_POWER - 1.0) * pressure + _KELVIN_POWER * kelvin
    alone = _log_normal(off, common + _PRESSURE_LOG_SD**2 * every)
    nats = _log_normal(off - expected, air) - alone
    return float(np.clip(nats, -_MOST_NATS, _MOST_NATS))


def _log_normal(value: Floats, covariance: Floats) -> float:
    factor = np.linalg.cholesky(covariance)
    white = np.linalg.solve(factor, value)
    return float(-0.5 * white @ white - np.log(np.diag(factor)).sum())


def _compared(
    o: Observations, now: Ints, then: Ints, log_sd: float, ambient_log_sd: float
) -> tuple[Floats, Floats]:
    """Load of each point now over that of each then, at the same pressure, as a logarithm, and
    how far off that may be without a fault: (now, then) both."""

    def change(value: Floats) -> Floats:
        return np.asarray(np.log(value[now][:, None] / value[then]))

    pressure, kelvin = change(o.manifold_pa), change(o.intake_k)
    ambient = np.nan_to_num(change(o.ambient_pa))
    expected = _MANIFOLD_POWER * pressure + _KELVIN_POWER * kelvin + _AMBIENT_POWER * ambient
    reading = _MANIFOLD_POWER * o.manifold_error_pa / o.manifold_pa
    unknown = np.where(np.isfinite(o.ambient_pa), 0.0, -_AMBIENT_POWER * ambient_log_sd)
    variance = (
        log_sd**2
        + (_MANIFOLD_DOUBT * pressure) ** 2
        + (_KELVIN_DOUBT * kelvin) ** 2
        + (_AMBIENT_DOUBT * ambient) ** 2
        + (_SPEED_DOUBT * change(o.speed_rev_s)) ** 2
        + sum(part[now][:, None] ** 2 + part[then] ** 2 for part in (reading, unknown))
    )
    return change(o.load_pct) - expected, np.sqrt(variance)
