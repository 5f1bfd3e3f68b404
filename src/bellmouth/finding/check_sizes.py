"""What a check says about the sizes: every hypothesis is asked at the nodes of its own grid, so
that a size nobody knows well is not judged at its best fit alone."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property, partial
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from bellmouth.finding.check_idle import fall_by_learning, idle_unloaded, recorded_idle_rpm
from bellmouth.finding.check_parts import Parts, words_of_number
from bellmouth.finding.check_plate import Plate, fall_by_cleaning, opening_over_stop, plate_of
from bellmouth.finding.check_table import Check
from bellmouth.finding.density import log_sums
from bellmouth.finding.hypothesis import Scale
from bellmouth.finding.sizes import size_from_coordinate

if TYPE_CHECKING:
    from bellmouth.finding.case import Case

__all__ = [
    "Nodes",
    "edges_of",
    "nodes_of",
    "outcomes_at",
    "parts_of_number",
    "predicted_number",
    "words_given",
]

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Bools = NDArray[np.bool_]

_NEGLIGIBLE_NATS = 10.0
_FLOW_OVER_IDLE = 3.2  # air at 2,500 rpm without load over idle's: common practice, no source
_MOST_LEAKS = 0.9  # of all idle air: with more the plate would be shut; our choice
_KEY_ON_SPREAD = 0.008  # of sound sensors and barometers; common practice, no source
_FROM_IDLE_SD = 0.02  # how far a trim may drift from idle to 2,500 rpm beside what is modelled
_FROM_IDLE_COMPUTED_SD = 0.03  # the same of a controller's own filling table


@dataclass(frozen=True)
class Nodes:
    """Sizes that each hypothesis may have: which hypothesis (n,), coordinates (n, 2), and the
    share of the hypothesis that each holds, as a logarithm (n,)."""

    case: "Case"
    hypothesis: Ints
    sizes: Floats
    log_share: Floats

    @cached_property
    def plate(self) -> Plate:
        """The plate at each node; two checks ask for it."""
        return plate_of(self)

    def marginal(self, likelihood: Floats) -> Floats:
        """Mean of a likelihood (n, ...) over each hypothesis's nodes, (hypotheses, ...)."""
        total = np.zeros((self.case.hypotheses.count, *likelihood.shape[1:]))
        share = np.exp(self.log_share).reshape(-1, *([1] * (likelihood.ndim - 1)))
        np.add.at(total, self.hypothesis, share * likelihood)
        return total

    def after(self, log_likelihood: Floats) -> "Nodes":
        """The nodes once something is known that has this log likelihood (n,) at them."""
        log = self.log_share + log_likelihood
        share = log - log_sums(self.hypothesis, log, self.case.hypotheses.count)[self.hypothesis]
        return Nodes(self.case, self.hypothesis, self.sizes, share)

    def holding(self, cause: str) -> tuple[Floats, Bools]:
        """A cause's coordinate at each node, and which nodes hold it."""
        value = self.case.hypotheses.coordinate(cause, self.hypothesis, self.sizes)
        return np.nan_to_num(value), np.isfinite(value)


def nodes_of(case: "Case") -> Nodes:
    """The nodes that matter, by the recording alone."""
    grid = case.posterior.grid
    log = grid.log_weight + grid.log_likelihood
    share = log - case.posterior.log_evidence[grid.hypothesis]
    kept = share > -_NEGLIGIBLE_NATS
    nodes = Nodes(case, grid.hypothesis[kept], grid.sizes[kept], share[kept])
    return nodes.after(np.zeros(int(kept.sum())))


def outcomes_at(nodes: Nodes, check: Check) -> Floats:
    """Probability of each of a check's words at every node, (n, outcomes)."""
    if check.reads:
        return words_of_number(edges_of(nodes.case, check), parts_of_number(nodes, check))
    holding = {cause: nodes.holding(cause) for cause in check.given}
    return words_given(check, len(nodes.hypothesis), holding, nodes.case.scale)


def words_given(
    check: Check, count: int, holding: Mapping[str, tuple[Floats, Bools]], scale: Scale
) -> Floats:
    """Probability of each word of a check that looks for causes, (count, outcomes): of each cause
    its coordinates, and where it is there."""
    base = np.array(check.otherwise)
    table = np.tile(base, (count, 1))
    for cause, chances in check.given.items():
        coordinate, holds = holding[cause]
        seen = _seen(check, cause, coordinate, scale)[:, None]
        table = np.where(holds[:, None], seen * np.array(chances) + (1.0 - seen) * base, table)
    return np.asarray(table / table.sum(axis=1, keepdims=True))


def edges_of(case: "Case", check: Check) -> tuple[float, ...]:
    """Where one word ends and the next begins, in what the check reads."""
    from_idle = recorded_idle_rpm(case) if check.from_idle else 0.0
    return tuple(from_idle + edge for edge in check.edges)


def _seen(check: Check, cause: str, coordinate: Floats, scale: Scale) -> Floats:
    """A smaller fault is seen less often: half as often at the check's own threshold."""
    if check.half_seen is None:
        return np.ones(len(coordinate))
    size = size_from_coordinate(cause, coordinate, scale)
    return np.asarray(1.0 / (1.0 + (check.half_seen / np.maximum(size, 1e-3)) ** 4))


def predicted_number(nodes: Nodes, check: Check) -> tuple[Floats, Floats]:
    """Mean and standard deviation of the number that a check would read at every node, (n,)."""
    return parts_of_number(nodes, check).moments()


def parts_of_number(nodes: Nodes, check: Check) -> Parts:
    """The number that a check would read at every node."""
    weight, mean, sd = _NUMBERS[check.name](nodes)
    if check.fails or check.other:
        return _may_fail(check, weight, mean, sd)
    return Parts.some(weight, mean, np.hypot(sd, check.error))


def _may_fail(check: Check, weight: Floats, mean: Floats, sd: Floats) -> Parts:
    """Parts (n, parts) of a check that puts something right: it may have had no effect, or what is
    read may have changed for another reason."""
    nothing = np.zeros_like(mean)
    other = np.full_like(mean, check.other_sd)
    return Parts(
        weight=weight,
        mean=np.stack([mean, nothing, mean], axis=-1),
        sd=np.hypot(np.stack([sd, nothing, np.hypot(sd, other)], axis=-1), check.error),
        state=np.array([1.0 - check.fails - check.other, check.fails, check.other]),
    )


def _ratio(nodes: Nodes, of: str, spread: float) -> tuple[Floats, Floats]:
    log = nodes.holding(f"{of}_high")[0] - nodes.holding(f"{of}_low")[0]
    return np.exp(log), np.full(len(log), spread)


def _sensor_key_on(nodes: Nodes) -> tuple[Floats, Floats, Floats]:
    """Manifold pressure over the barometer's with the engine off, a part for each way in which air
    may be computed falsely (`false_pressure`)."""
    pressure, computed = (
        nodes.holding(f"{of}_high")[0] - nodes.holding(f"{of}_low")[0]
        for of in ("pressure", "meter")
    )
    share, part, sd = np.array(nodes.case.key_on.ways).T
    mean = np.exp(pressure[:, None] + part * computed[:, None])
    spread = np.hypot(_KEY_ON_SPREAD, sd * computed[:, None])
    return np.broadcast_to(share, mean.shape), mean, spread


def _asked_for(nodes: Nodes, of: str) -> Floats:
    """Log of the trim that a false meter or fuel delivery asks for: more where it is low."""
    return nodes.holding(f"{of}_low")[0] - nodes.holding(f"{of}_high")[0]


def _trim(nodes: Nodes) -> tuple[Floats, Floats]:
    """Total trim [%] held at 2,500 rpm, no load: a leak's share has fallen with the flow.

    Where idle was recorded with a trim that is no bound, only what changes from there is asked.
    """
    case = nodes.case
    log = _asked_for(nodes, "meter") + _asked_for(nodes, "fuel")
    metered = case.observations.airflow_metered
    share = _leak_share(nodes) if metered else np.zeros(len(log))
    at_idle, held = _fuelled(share), _fuelled(share / _FLOW_OVER_IDLE)
    bent = (nodes.holding("meter_low")[0] + nodes.holding("meter_high")[0]) != 0.0
    bend = case.model.unknowns.contaminated_bend_sd * np.log(_FLOW_OVER_IDLE)
    recorded = _idle_log_trim(case)
    if recorded is None:
        mean = log + held
        return np.expm1(mean) * 100, np.where(bent, 5.0, 3.0)
    drift = _FROM_IDLE_SD if metered else _FROM_IDLE_COMPUTED_SD
    mean = recorded + held - at_idle
    sd = np.hypot(np.where(bent & metered, bend, 0.0), np.hypot(drift, 0.3 * (at_idle - held)))
    return np.expm1(mean) * 100, 100 * np.exp(mean) * sd


def _leak_share(nodes: Nodes) -> Floats:
    """Share of all idle air that a leak lets in at each node, (n,)."""
    area, leaks = nodes.holding("leak")
    share = np.where(leaks, np.exp(area) / nodes.case.scale.idle_area_m2, 0.0)
    return np.minimum(share, _MOST_LEAKS)


def _fuelled(share: Floats) -> Floats:
    """Log of the trim that fuels a share of all air that no meter saw, (n,)."""
    return np.asarray(-np.log1p(-share))


def _trim_nearer(nodes: Nodes) -> tuple[Floats, Floats]:
    """How much nearer to zero the total trim at idle comes with a meter that is right [%].

    Trims at their limit before show less than the meter's error.
    """
    log, held = _asked_for(nodes, "meter"), _asked_for(nodes, "fuel")
    held += _fuelled(_leak_share(nodes))
    trims, limited = _idle_log_trims(nodes.case)
    before, after = log + held, held
    if limited:
        most = float(np.mean(np.abs(trims)))
        before, after = np.clip(before, -most, most), np.clip(after, -most, most)
    elif len(trims):
        before = np.full_like(log, np.mean(trims))
        after = before - log
    came = np.abs(np.expm1(before)) - np.abs(np.expm1(after))
    return 100 * came, 100 * 0.1 * np.abs(log)


def _idle_log_trim(case: "Case") -> float | None:
    """Mean total trim at the judged idle; ``None`` where there is none, or one at its limit."""
    trims, limited = _idle_log_trims(case)
    return None if limited or not len(trims) else float(np.mean(trims))


def _idle_log_trims(case: "Case") -> tuple[Floats, bool]:
    """Total trims at the judged idle, of all points and banks, and whether any is at its limit."""
    o = case.observations
    idle = o.idle & o.judged
    trims = o.log_trim[idle]
    known = np.isfinite(trims)
    return trims[known], bool((np.abs(o.trim_limit[idle][known]) > 0).any())


def _alone(
    told: Callable[[Nodes], tuple[Floats, Floats]], nodes: Nodes
) -> tuple[Floats, Floats, Floats]:
    """A number that is one normal part at every node, told by its mean and standard deviation
    (n,), as weights, means and standard deviations (n, 1)."""
    mean, sd = told(nodes)
    return np.ones((len(mean), 1)), mean[:, None], sd[:, None]


#: What each check reads at every node, before its own error: weights, means and standard deviations
#: of its parts, each (n, parts).
_NUMBERS: Mapping[str, Callable[[Nodes], tuple[Floats, Floats, Floats]]] = {
    "loads_off": idle_unloaded,
    "relearn": fall_by_learning,
    "meter_swap": partial(_alone, _trim_nearer),
    "hold_2500": partial(_alone, _trim),
    "closed_reading": partial(_alone, opening_over_stop),
    "plate_cleaned": partial(_alone, fall_by_cleaning),
    "fuel_delivery": partial(_alone, partial(_ratio, of="fuel", spread=0.0)),
    "key_on_pressure": _sensor_key_on,
    "boost_at_idle": partial(_alone, partial(_ratio, of="boost", spread=0.01)),
}
