"""What the warm idle speed says: air that the controller cannot take back makes the engine idle
high, and so does a load, so the likelihood is a mixture and not a Gaussian."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from bellmouth.car.description import Car, Known
from bellmouth.finding.density import normal
from bellmouth.finding.hypothesis import HasCoordinates, Scale
from bellmouth.finding.idle_spark import Spark, timing_density
from bellmouth.finding.lowest_idle import Lowest, load_share, lowest_idle
from bellmouth.finding.observations import Observations
from bellmouth.finding.priors import Priors

__all__ = [
    "SHARES",
    "Comparison",
    "IdleSpeed",
    "Surplus",
    "compared",
    "idle_speed",
    "lowered_density",
    "speed_density",
    "speed_parts",
    "speed_rises",
    "stale_air",
    "stray_density",
    "surplus_shares",
]

Surplus = Literal["leak", "stale"]
Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

#: Shares of all idle air in surplus that the likelihood is worked out at.
SHARES = np.concatenate([[0.0], np.geomspace(0.04, 0.85, 23)])


@dataclass(frozen=True)
class IdleSpeed:
    """Log likelihood of the idle speed for any hypothesis and size.

    ``excess_rpm`` is the lowest warm idle over its target; NaN where either is unknown. ``low``
    is what is said of deposits that lower an idle. ``held`` is what it comes from, where it is
    known.
    """

    excess_rpm: float
    leak_log: Floats
    stale_log: Floats
    low: "Lowered"
    idle_area_m2: float
    hypotheses: HasCoordinates
    held: "Comparison | None" = None

    def __call__(self, which: Ints, sizes: Floats) -> Floats:
        """Log likelihood of hypotheses ``which`` (n,) at coordinates ``sizes`` (n, 2)."""
        if not np.isfinite(self.excess_rpm):
            return np.zeros(len(which))
        made_up, deposit = self._made_up(which, sizes)
        return np.where(deposit, self.low.beside(made_up), made_up)

    def lowered(self, which: Ints, sizes: Floats) -> Floats:
        """Probability that a deposit lowers this idle, (n,); 0 where there is none."""
        if not np.isfinite(self.excess_rpm):
            return np.zeros(len(which))
        made_up, deposit = self._made_up(which, sizes)
        chance = np.log(self.low.share) + self.low.log - self.low.beside(made_up)
        return np.where(deposit, np.exp(chance), 0.0)

    def _made_up(self, which: Ints, sizes: Floats) -> tuple[Floats, NDArray[np.bool_]]:
        """Log likelihood with any deposit made up for, and where there is one, (n,) each."""
        leak, stale = surplus_shares(self.hypotheses, which, sizes, self.idle_area_m2)
        as_stale = stale > 0
        share = leak + stale
        result = np.interp(share, SHARES, self.leak_log)
        lost = self.hypotheses.coordinate("deposit", which, sizes, -np.inf)
        stale_too = np.interp(share, SHARES, self.stale_log)
        return np.where(as_stale, stale_too, result), np.isfinite(lost)


@dataclass(frozen=True)
class Lowered:
    """Deposits that idle control does not make up for: their ``share``, and the logarithm of the
    density of speed and spark beside them."""

    share: float
    log: float

    def beside(self, made_up_log: Floats) -> Floats:
        """Log density with a deposit from that of one that is made up for; same shape."""
        made_up = np.log1p(-self.share) + made_up_log
        return np.asarray(np.logaddexp(made_up, np.log(self.share) + self.log))


def idle_speed(
    observations: Observations,
    car: Car,
    priors: Priors,
    hypotheses: HasCoordinates,
    scale: Scale,
    *,
    usual_rpm: Known | None = None,
    usual_timing: Known | None = None,
) -> IdleSpeed:
    """Prepare the likelihood for these recordings.

    ``usual_rpm`` and ``usual_timing`` [deg] are where cars of the family idle, if that is known.
    """
    told = car
    if car.idle_rpm is None and usual_rpm is not None:
        told = replace(car, idle_rpm=usual_rpm)
    held = compared(observations, told, priors, usual_timing)
    table, metered = priors.idle_speed, observations.airflow_metered
    if not np.isfinite(held.excess_rpm):
        nothing, unknown = np.zeros(len(SHARES)), Lowered(table["lowered_share"], 0.0)
        return IdleSpeed(float("nan"), nothing, nothing, unknown, scale.idle_area_m2, hypotheses)
    kinds: tuple[Surplus, Surplus] = ("leak", "stale")
    rises = np.array(
        [speed_rises(kind, table, held.target_rpm, airflow_metered=metered) for kind in kinds]
    )
    density = np.sum(held.parts(rises, table), axis=0)
    stray, fallen = table["stray_share"], lowered_density(held, table)
    odd = stray * held.spark.odd * stray_density(held.excess_rpm, table)
    odd += table["lowered_other_share"] * fallen
    leak_log, stale_log = np.log((1 - stray) * density.mean(axis=-1) + odd)
    low = Lowered(table["lowered_share"], float(np.log(max(fallen, 1e-300))))
    area_m2 = scale.idle_area_m2
    return IdleSpeed(held.excess_rpm, leak_log, stale_log, low, area_m2, hypotheses, held)


def lowered_density(held: "Comparison", table: Mapping[str, Any]) -> float:
    """Density of an idle that something lowers, by anything up to the worst that still idles."""
    falls = (np.arange(8) + 0.5) / 8.0 * table["lowered_rpm"]
    left = held.excess_rpm + falls
    sd = float(np.hypot(held.sd_rpm, table["lowered_rpm"] / 16.0))
    return float(speed_density(left, sd, held.shares, table).mean() * held.spark.odd)


@dataclass(frozen=True)
class Comparison:
    """The lowest warm idle and what it is held against.

    ``excess_rpm`` over ``target_rpm`` with its ``sd_rpm``, NaN where either is unknown; ``shares``
    of idles off their mark, under load, and of a target that was itself under load.
    """

    judged: "Lowest"
    reference: "Lowest | None"
    target_rpm: float
    excess_rpm: float
    sd_rpm: float
    shares: Mapping[str, float]
    spark: Spark

    def parts(self, rises: Floats, table: Mapping[str, Any]) -> tuple[Floats, Floats, Floats]:
        """Density of speed and spark beside each rise of idle [rpm] that surplus air makes, in the
        parts of `speed_parts`; same shape as ``rises`` each."""
        speeds = speed_parts(self.excess_rpm - rises, self.sd_rpm, self.shares, table)
        alike, up, down = (
            part * self.loaded_spark(way, rises, table)
            for part, way in zip(speeds, (0.0, 1.0, -1.0), strict=True)
        )
        return alike, up, down

    def loaded_spark(self, way: float, rises: Floats, table: Mapping[str, Any]) -> Floats:
        """Density of the spark where the judged idle (``way`` 1), the reference's (-1) or neither
        (0) is under load. Without a reference the usual spark is too wide to tell."""
        way = way if self.reference is not None else 0.0
        return self.spark.loaded(way, rises, self.target_rpm, table)


def compared(
    observations: Observations, car: Car, priors: Priors, usual_timing: Known | None = None
) -> Comparison:
    """Hold the judged idle against a reference's, or else against what is known of the car."""
    table = priors.idle_speed
    judged = lowest_idle(observations, table, observations.judged)
    target, sd, off_share, reference = _target(observations, car, priors)
    shares = {
        "off": off_share,
        "load": load_share(judged, table),
        "target load": 0.0,
    }
    if reference is not None:
        shares["target load"] = load_share(reference, table)
    # An engine that is not quite hot idles up to its warm-up allowance higher: half of it is
    # taken off, and as much is left as doubt.
    before = reference.warming_rpm if reference is not None else 0.0
    excess = judged.speed_rpm - target - 0.5 * (judged.warming_rpm - before)
    sd = float(np.sqrt(sd**2 + (0.5 * judged.warming_rpm) ** 2 + (0.5 * before) ** 2))
    spark = _spark(judged, reference, usual_timing, table)
    return Comparison(judged, reference, target, float(excess), sd, shares, spark)


def _spark(
    judged: Lowest, reference: Lowest | None, usual: Known | None, table: Mapping[str, Any]
) -> Spark:
    """What the spark at idle is compared with: a reference, the family, or any car."""
    told, spread = table["usual_timing_deg"]
    if reference is not None:
        told, spread = reference.timing_deg, table["timing_sd_deg"]
    elif usual is not None:
        told, spread = usual.value, float(np.hypot(table["timing_sd_deg"], usual.sd))
    drop = float(told - judged.timing_deg)
    # A stray idle says nothing by its speed. Its spark is as usual, or beside a reference anything.
    odd = 1.0
    if np.isfinite(drop):
        steady = float(timing_density(drop, np.zeros(1), table, spread)[0])
        odd = steady if reference is None else 1.0 / table["stray_timing_deg"]
    return Spark(drop, float(spread), reference is not None or usual is not None, odd)


def _target(
    observations: Observations, car: Car, priors: Priors
) -> tuple[float, float, float, Lowest | None]:
    """Idle speed to expect [rpm], its sd, the share of cars that idle off it, and the reference
    that told it."""
    table = priors.idle_speed
    known = float(table["known_sd_rpm"])
    reference = lowest_idle(observations, table, ~observations.judged)
    if np.isfinite(reference.speed_rpm):
        # Known as well as two idles of one car are alike.
        both = 1.4 * float(table["beside_sd_rpm"])
        return reference.speed_rpm, both, float(table["off_share_beside"]), reference
    if car.idle_rpm is not None:
        sd = float(np.hypot(known, car.idle_rpm.sd))
        return car.idle_rpm.value, sd, float(table["off_share"]), None
    mean, sd = table["unknown_rpm"]
    return float(mean), float(sd), 0.0, None


def speed_rises(
    kind: Surplus, table: Mapping[str, Any], target: float, *, airflow_metered: bool
) -> Floats:
    """Speeds [rpm] that each share of surplus air may add, equally likely draws: (shares, draws).

    With a share f of all idle air in surplus and c of normal idle air given up by the plate, the
    air left over normal is (f - c) / (1 - f); learning gives up a part of the surplus instead.
    """
    which = "leak_closable" if airflow_metered else "leak_closable_pressure"
    closable = table[which if kind == "leak" else "stale_closable"]
    rise: Floats = target * _relative_rises(kind, tuple(closable), tuple(table["speed_power"]))
    return rise


@cache
def _relative_rises(
    kind: Surplus, closable: tuple[float, float], speed_power: tuple[float, float]
) -> Floats:
    """The rises as shares of the speed to expect."""
    give, power = _draws(closable, speed_power)
    return np.asarray((1.0 + _air_left(kind, give)) ** power - 1.0)


def _draws(
    closable: tuple[float, float], speed_power: tuple[float, float]
) -> tuple[Floats, Floats]:
    """Shares that are given up, and exponents of speed against air, one with every other."""
    give, power = np.meshgrid(np.linspace(*closable, 8), np.linspace(*speed_power, 4))
    return give.ravel(), power.ravel()


def _air_left(kind: Surplus, give: Floats) -> Floats:
    """Air beyond the normal, over it, that each share of surplus leaves once so much (draws,) is
    given up: (shares, draws)."""
    share = SHARES[:, None]
    if kind == "leak":
        return np.asarray(np.maximum(share - give, 0.0) / (1.0 - share))
    return np.asarray(share * (1.0 - give) / (1.0 - share * (1.0 - give)))


def stale_air(table: Mapping[str, Any]) -> Floats:
    """Logarithms of the air that the engine may get with each share of it left over from stale
    learning, over what it got without, by the draws of `speed_rises`: (shares, draws)."""
    give, _ = _draws(tuple(table["stale_closable"]), tuple(table["speed_power"]))
    return np.asarray(np.log1p(_air_left("stale", give)))


def speed_density(
    left: Floats, sd: float, shares: Mapping[str, float], table: Mapping[str, Any]
) -> Floats:
    """Density of what the rises leave: on the mark or off it, under load or not, and with the
    reference itself under load or not. Same shape as ``left``."""
    alike, up, down = speed_parts(left, sd, shares, table)
    return alike + up + down


def speed_parts(
    left: Floats, sd: float, shares: Mapping[str, float], table: Mapping[str, Any]
) -> tuple[Floats, Floats, Floats]:
    """The parts of `speed_density`: both idles alike, the judged one raised by a load, and the
    reference raised by one."""
    loads = (np.arange(6.0).reshape(-1, *[1] * left.ndim) + 0.5) / 6.0 * table["load_rpm"]
    wide = table["load_rpm"] / 12.0
    off = table["off_rpm"]

    def density(x: Floats, extra: float) -> Floats:
        narrow = normal(x, float(np.hypot(sd, extra)))
        if shares["off"] == 0.0:
            return narrow
        broad = normal(x, float(np.sqrt(sd**2 + extra**2 + off**2)))
        return (1 - shares["off"]) * narrow + shares["off"] * broad

    up = shares["load"] * (1 - shares["target load"])
    down = shares["target load"] * (1 - shares["load"])
    raised = up * density(left - loads, wide).mean(axis=0)
    lowered = np.zeros_like(left)
    if down > 0:
        lowered = down * density(left + loads, wide).mean(axis=0)
    return (1 - up - down) * density(left, 0.0), raised, lowered


def stray_density(excess_rpm: float, table: Mapping[str, Any]) -> float:
    """Density of an idle that strays from its mark for no reason that is known here: seldom far."""
    near, far, anywhere = table["stray_rpm"], table["stray_far_share"], table["stray_far_rpm"]
    return float((1 - far) * normal(np.array(excess_rpm), near) + far / anywhere)


def surplus_shares(
    hypotheses: HasCoordinates, which: Ints, sizes: Floats, idle_area_m2: float
) -> tuple[Floats, Floats]:
    """Shares of all idle air that a leak and that stale learning let in beyond what is wanted."""
    leak = np.exp(hypotheses.coordinate("leak", which, sizes, -np.inf)) / idle_area_m2
    return leak, np.exp(hypotheses.coordinate("learned_stale", which, sizes, -np.inf))
