"""Where air is computed falsely, on a car that meters pressure: is its sensor false, or the rest?

Either the manifold pressure itself reads false, and what is reported of it with it, or the reading
is right and something else in the computation is not (intake temperature, the filling table). Both
move the trims alike. In the model the sensor's part is an unknown of the car, ``sensed``: the fit
takes it as normal about half of what it may be, the evidence as each of two ways. Readings that are
no part of the model weigh the two ways as well. Shares and part stand in ``priors.toml``.
"""

from typing import NamedTuple

from bellmouth.finding.marginals import Mixed
from bellmouth.finding.observations import Observations
from bellmouth.finding.priors import Priors

__all__ = ["Way", "mixed", "of_pressure", "ways"]


class Way(NamedTuple):
    """One way in which air may be computed falsely: how likely it is, and the logarithm of the
    pressure reading over what there is, in that of the computed air: mean and spread."""

    share: float
    part: float
    sd: float


_METERED = (Way(1.0, 0.0, 0.0),)


def ways(observations: Observations, priors: Priors) -> tuple[Way, ...]:
    """The ways in which air may be computed falsely; where the air is metered there is one."""
    if observations.airflow_metered:
        return _METERED
    by_sensor = float(priors.sensors["computed_by_sensor"])
    part, sd = priors.sensors["computed_sensor_part"]
    return Way(1.0 - by_sensor, 0.0, 0.0), Way(by_sensor, part, sd)


def of_pressure(observations: Observations, priors: Priors) -> tuple[float, float]:
    """Mean and spread of the unknown ``sensed``, the same logarithm, as the fit takes it: either
    way is one spread from the mean. Nothing on a car that meters its air."""
    half = 0.5 * max(way.part for way in ways(observations, priors))
    return half, half


def mixed(observations: Observations, priors: Priors, place: int) -> Mixed | None:
    """The unknown ``sensed``, which stands at this place, as it is; None where air is metered."""
    if observations.airflow_metered:
        return None
    mean, spread = of_pressure(observations, priors)
    every = ways(observations, priors)
    return Mixed(place, tuple((way.share, (way.part - mean) / spread, way.sd / spread)
                              for way in every))  # fmt: skip
