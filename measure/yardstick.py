"""A yardstick that knows no physics: gradient-boosted trees on plain features of the operating
points, trained on other variants of the practice car, and on the very variant it is judged on."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from sklearn.ensemble import HistGradientBoostingClassifier
from sklearn.model_selection import StratifiedKFold

from bellmouth.recording.stretch import Stretch
from measure.cases import Sample

__all__ = ["FEATURES", "features", "own_variant", "trained_on"]

Floats = NDArray[np.float64]

_PARAMETERS = (
    "engine_speed", "mass_air_flow", "intake_manifold_pressure", "log_total_trim_bank_1",
    "log_total_trim_bank_2", "throttle_position", "relative_throttle_position",
    "commanded_throttle_actuator", "calculated_load", "absolute_load", "boost_pressure",
    "ignition_timing_advance", "intake_air_temperature",
)  # fmt: skip
_POINTS = ("lowest idle", "highest idle", "about 1500", "above 2000")
FEATURES = (
    *(f"{name} at {point}" for point in _POINTS for name in _PARAMETERS),
    *(f"{name}, {point} less lowest idle" for point in _POINTS[1:] for name in _PARAMETERS),
    "displacement", "airflow metered", "idle over specified", "air per litre", "filling at idle",
    "ambient pressure",
)  # fmt: skip


def features(samples: Sequence[Sample]) -> Floats:
    """One row a case, columns as `FEATURES`; NaN where nothing was reported."""
    return np.array([_row(sample) for sample in samples])


def _row(sample: Sample) -> list[float]:
    points = _points(sample.judged)
    values = [[_value(point, name) for name in _PARAMETERS] for point in points]
    base = np.array(values[0])
    changes = [list(np.array(value) - base) for value in values[1:]]
    flat = [x for row in (*values, *changes) for x in row]
    return flat + _extra(sample, points[0])


def _points(stretches: Sequence[Stretch]) -> list[Stretch | None]:
    running = [s for s in stretches if s.kind != "engine off" and s.warm is not False]
    idles = sorted((s for s in running if s.kind == "idle"), key=_speed)
    raised = sorted((s for s in running if s.kind != "idle"), key=_speed)
    middle = [s for s in raised if _speed(s) < 2000.0]
    fast = [s for s in raised if _speed(s) >= 2000.0]
    return [
        idles[0] if idles else None,
        idles[-1] if idles else None,
        middle[len(middle) // 2] if middle else None,
        fast[len(fast) // 2] if fast else None,
    ]


def _speed(stretch: Stretch) -> float:
    return stretch.value("engine_speed")


def _value(stretch: Stretch | None, name: str) -> float:
    return float("nan") if stretch is None else stretch.value(name)


def _extra(sample: Sample, idle: Stretch | None) -> list[float]:
    car = sample.car
    litres, speed = car.displacement_l.value, _value(idle, "engine_speed")
    flow, pressure = _value(idle, "mass_air_flow"), _value(idle, "intake_manifold_pressure")
    specified = car.idle_rpm.value if car.idle_rpm is not None else float("nan")
    outside = [s.value("barometric_pressure") for s in sample.judged]
    return [
        litres,
        float(car.metering == "airflow"),
        speed - specified,
        flow / litres,
        flow / (litres * speed * pressure),
        float(np.nanmean(outside)) if np.isfinite(outside).any() else float("nan"),
    ]


def _classifier() -> HistGradientBoostingClassifier:
    return HistGradientBoostingClassifier(
        max_iter=120, learning_rate=0.06, max_leaf_nodes=15, min_samples_leaf=12,
        l2_regularization=1.0, random_state=0,
    )  # fmt: skip


def trained_on(
    training: Sequence[Sample], judged: Sequence[Sample]
) -> tuple[tuple[str, ...], Floats]:
    """Causes and probabilities (cases, causes) of ``judged`` after learning from ``training``."""
    model = _classifier().fit(features(training), [s.cause for s in training])
    return tuple(map(str, model.classes_)), np.asarray(model.predict_proba(features(judged)))


def own_variant(
    judged: Sequence[Sample], more: Sequence[Sample] = (), folds: int = 5
) -> tuple[tuple[str, ...], Floats]:
    """The same learning from the very variant: the other folds of ``judged``, and ``more``.

    Every cause must be among the cases more than ``folds`` times.
    """
    truth = np.array([sample.cause for sample in judged])
    causes = tuple(map(str, np.unique(truth)))
    table = np.zeros((len(judged), len(causes)))
    # Causes come in a fixed turn, so that folds have to be drawn, not counted off.
    split = StratifiedKFold(folds, shuffle=True, random_state=0)
    for rest, mine in split.split(truth, truth):
        training = [*(judged[i] for i in rest), *more]
        found, part = trained_on(training, [judged[i] for i in mine])
        if found != causes:
            raise ValueError("a cause is missing from a fold: judge more cases")
        table[mine] = part
    return causes, table
