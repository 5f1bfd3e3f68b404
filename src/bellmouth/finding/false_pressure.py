"""Where air is computed falsely, on a car that meters pressure: is its sensor false, or the rest?

Either the manifold pressure itself reads false, and what is reported of it with it, or the reading
is right and something else in the computation is not (intake temperature, the filling table). Both
move the trims alike. In the model the sensor's part is an unknown of the car, ``sensed``: the fit
takes it as normal about half of what it may be, the evidence as nothing or all of it, as likely.
Readings that are no part of the model weigh the two ways as well.
"""

from bellmouth.finding.observations import Observations
from bellmouth.finding.priors import Priors

__all__ = ["Ways", "of_pressure", "ways"]

#: How likely each way is, and the logarithm of the pressure reading over what there is, in that of
#: the computed air.
Ways = tuple[tuple[float, float], ...]


def of_pressure(observations: Observations, priors: Priors) -> tuple[float, float]:
    """Mean and spread of the logarithm of the pressure reading over what there is, in that of the
    air computed from it; none on a car that meters its air."""
    if observations.airflow_metered:
        return 0.0, 0.0
    half = 0.5 * float(priors.sensors["computed_sensor_part"])
    return half, half


def ways(observations: Observations, priors: Priors) -> Ways:
    """The ways in which air may be computed falsely; where the air is metered there is one."""
    if observations.airflow_metered:
        return ((1.0, 0.0),)
    part = float(priors.sensors["computed_sensor_part"])
    return ((0.5, 0.0), (0.5, part))
