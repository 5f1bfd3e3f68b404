"""How far readings may be from the model: noise of the reading, and a real engine's own misfit.

The misfit of filling, plate and fuelling is a Gaussian process over operating points, shared by
all recordings of a car, so that a wrong law widens an interval instead of moving a verdict. Its
sizes are measured on real engines (``measure/model_error.py``; values in ``priors.toml``).
"""

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bellmouth.finding.model import CLOSED_SCALE, Model
from bellmouth.finding.observations import Observations
from bellmouth.finding.priors import Priors
from bellmouth.recording.nans import told_or

__all__ = ["banks_apart", "covariances", "scale_weights"]

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

#: d ln flow / d ln pressure near 35 kPa of the prior filling law: 1 + 0.25 / 0.63 / 2.
_BY_PRESSURE = 1.2
_REST_OF_DAY_PCT = 0.35  # idle opening from day to day: common practice, no source
_OTHER_ZERO_LOG = 1.2  # spread of such a reading whose zero is not the stop
_IDLE_KG_S_PER_M3 = 1.1  # idle air of real engines, 1.1 g/s a litre (bench, idle recordings)
_USUAL_OPENING_PCT = 2.5  # median of the prior over idle openings, exp(0.9)


def covariances(model: Model, priors: Priors, flow_kg_s: Floats, manifold_pa: Floats) -> Floats:
    """One covariance a model-error scale, then one for an engine that no cause explains.

    Where a reading seems to tell how far the plate is open, every scale stands twice: with the
    reading believed, then with its zero being something else. ``flow_kg_s`` and ``manifold_pa``
    are the nominal states, shape (points,). Returns shape (scales + 1, residuals, residuals).
    """
    rows = model.rows
    same = (rows[:, None] == rows) * 1.0
    noise = _noise(model, priors, rows, same)
    misfits = _misfits(model, priors, rows, same, flow_kg_s, manifold_pa)
    matrices = [noise + misfit for misfit in misfits]
    wide = matrices[-1] - noise
    factor = priors.model_error["unexplained_factor"] ** 2
    point = np.diag(np.diag(wide))
    strange = noise + factor * (0.5 * wide + 0.5 * point)
    opening = model.channels == "opening"
    if opening.any():
        doubted = _OTHER_ZERO_LOG**2 * np.diag(opening * 1.0)
        matrices += [matrix + doubted for matrix in matrices]
        strange += doubted
    return np.array([*matrices, strange])


def banks_apart(model: Model, priors: Priors, scales: Floats) -> Floats | None:
    """Each model-error scale (scales, residuals, residuals) with one bank's fuelling at fault, now.

    The first bank's trims stand off by one share at every flow, or the second's, or each by one of
    its own: (3 x scales, residuals, residuals), one after the other. None where the trims of one
    bank alone are there.
    """
    names = model.channels
    trims = [(names == name) * 1.0 for name in ("trim 1", "trim 2")]
    if not all(trim.any() for trim in trims):
        return None
    off = float(priors.model_error["bank_off_log"]) * model.observations.judged[model.rows]
    first, second = (_together(off * trim) for trim in trims)
    return np.concatenate([scales + first, scales + second, scales + first + second])


def scale_weights(model: Model, priors: Priors) -> Floats:
    """Weight of each of `covariances` but the last; sums to 1."""
    weights = np.array(priors.model_error["scale_weights"])
    weights = weights / weights.sum()
    if not (model.channels == "opening").any():
        return np.asarray(weights)
    trust = float(priors.plate_position["opening_trust"])
    return np.concatenate([trust * weights, (1.0 - trust) * weights])


def _together(gain: Floats) -> Floats:
    """Covariance of residuals that one cause moves, each by its gain."""
    return gain[:, None] * gain


def _noise(model: Model, priors: Priors, rows: Ints, same: Floats) -> Floats:
    """Covariance of the readings themselves; a pressure error moves all that use it together."""
    o, channels = model.observations, model.channels
    pressure = told_or(0.0, o.manifold_error_pa / o.manifold_pa)
    # Filled air goes with pressure a little more than in proportion: the filling law's own rise.
    sources = {
        "pressure": (pressure, {"filling": -_BY_PRESSURE, "computed": -_BY_PRESSURE}),
        "meter": (told_or(0.0, o.metered_error), {"filling": 1.0, "plate": 1.0}),
        "computed": (told_or(0.0, o.computed_error), {"computed": 1.0}),
    }
    if not o.airflow_metered:
        sources["pressure"][1]["plate"] = _BY_PRESSURE
    each = [len(points) for points in model.places.values()]
    covariance = np.zeros(same.shape)
    for error, weights in sources.values():
        weight = np.repeat([weights.get(name, 0.0) for name in model.kinds], each)
        covariance += _together(weight * error[rows])
    covariance *= same
    own = np.zeros(len(rows))
    plate = channels == "plate"
    own[plate] = _plate_reading_error(model)[rows[plate]]
    for bank, name in enumerate(("trim 1", "trim 2")):
        chosen = channels == name
        own[chosen] = o.trim_error[rows[chosen], bank]
    own[channels == "boost"] = priors.sensors["two_readings_log"]
    own[channels == "closed"] = CLOSED_SCALE * _REST_OF_DAY_PCT
    own[channels == "opening"] = np.hypot(0.05, 0.4 / o.opening_pct[rows[channels == "opening"]])
    return np.asarray(covariance + np.diag(own**2 + 1e-8))


def _plate_reading_error(model: Model) -> Floats:
    """Relative error of area that the throttle reading's own error makes, (points,).

    Opening above the stop is at least the rise above the lowest reading; a small one is known
    badly in proportion.
    """
    o = model.observations
    above = o.throttle_pct - model.throttle_reference_pct + _USUAL_OPENING_PCT
    return told_or(0.0, o.throttle_error_pct / np.maximum(above, 0.5))


def _misfits(
    model: Model,
    priors: Priors,
    rows: Ints,
    same: Floats,
    flow_kg_s: Floats,
    manifold_pa: Floats,
) -> list[Floats]:
    """Covariance of the laws' own misfit, one a scale."""
    table = priors.model_error
    o, channels = model.observations, model.channels
    log_flow = np.log(flow_kg_s)[rows]
    log_speed = np.log(o.speed_rev_s)[rows]

    by_speed = (log_speed, table["filling_length_log_speed"])
    by_pressure = ((manifold_pa / 1e3)[rows], table["filling_length_kpa"])
    filling = _smooth(table, "law", same, by_speed, by_pressure)
    # What a plate passes departs from its law with the pressure ratio as much as with the flow.
    by_ratio = (model.unchoked[rows], table["plate_length_ratio"])
    plate = _smooth(table, "plate", same, (log_flow, table["plate_length_log_area"]), by_ratio)
    trim = _smooth(table, "trim", same, (log_flow, table["trim_length_log_flow"]))
    trim_sds = table["trim_log_airflow" if o.airflow_metered else "trim_log_pressure"]
    fill_gain = ((channels == "filling") | (channels == "computed")) * 1.0
    if not o.airflow_metered:
        # Flow comes from the filling law, so its misfit is in the plate's flow as well.
        fill_gain = fill_gain - 1.0 * (channels == "plate")
    by_filling = _together(fill_gain)
    plate_gain = (channels == "plate") * 1.0
    by_plate = _together(plate_gain)
    trim_gains = [(channels == name) * 1.0 for name in ("trim 1", "trim 2")]
    trim = (_together(trim_gains[0]) + _together(trim_gains[1])) * trim
    boost_gain = (channels == "boost") * float(table["boost_log"])
    purge = table["purge_log"] * o.purging[rows] * (trim_gains[0] + trim_gains[1])
    unseen = _unseen_purge(o, rows, trim_gains[0] + trim_gains[1], log_flow)
    unseen *= 1.0 - table["purge_unseen_own"] * (1.0 - same)
    # Exhaust gas takes up room: how much is not reported, only that it was asked for.
    recirculated = table["egr_log"] * o.recirculating[rows] * fill_gain
    # Purge air passes neither meter nor plate; whether the trim sees it depends on its vapour.
    unmetered = "filling" if o.airflow_metered else "plate"
    purged = table["purge_air_log"] * o.purging[rows] * (channels == unmetered)
    local = sum(_together(gain) for gain in (boost_gain, purge, purged, recirculated)) * same
    # Over a wide range of flow both laws run off as a whole, and not only past a false meter.
    over_idle = log_flow - np.log(_IDLE_KG_S_PER_M3 * o.displacement_m3)
    off = (by_filling + by_plate) * _together(over_idle)
    filling, plate = by_filling * filling, by_plate * plate
    sizes = zip(
        table["filling_log"], table["plate_log"], trim_sds, table["bend_log"],
        table["purge_unseen_log"], strict=True,
    )  # fmt: skip
    return [
        np.asarray(
            fill**2 * filling + area**2 * plate + fuel**2 * trim + bend**2 * off
            + vapour**2 * unseen + local
        )
        for fill, area, fuel, bend, vapour in sizes
    ]  # fmt: skip


def _unseen_purge(o: Observations, rows: Ints, gain: Floats, log_flow: Floats) -> Floats:
    """Covariance of what purge that nobody reports does to the trims of a recording: its flow
    hardly depends on the engine's, so that its share is the larger the less air there is."""
    idle = np.log(_IDLE_KG_S_PER_M3 * o.displacement_m3)
    share = gain * ~o.purge_told[rows] * np.minimum(np.exp(idle - log_flow), 1.0)
    of_one = o.recording[rows][:, None] == o.recording[rows]
    return np.asarray(_together(share) * of_one)


def _smooth(
    table: Mapping[str, Any], kind: str, same: Floats, *axes: tuple[Floats, float]
) -> Floats:
    """Correlation of a law's misfit between residuals, each of ``axes`` with its length: the same
    shape as ``same``, which says what stands at one point."""
    distance = sum(((x[:, None] - x) / length) ** 2 for x, length in axes)
    near: Floats = np.exp(-0.5 * np.asarray(distance))
    # Ripples shorter than the law's own misfit come back at the same point of the same car.
    ripple = near ** (1.0 / table["ripple_length_share"] ** 2)
    local, short = (float(share) for share in table[f"{kind}_shares"])
    return np.asarray((1.0 - local - short) * near + short * ripple + local * same)
