"""The forward model: what each hypothesis says the readings should have been.

Everything is a difference of logarithms between a reading and what the hypothesis predicts for
it, so that the size of a misfit is a share and the covariance does not depend on the hypothesis.

Steady mass balance: air into the cylinders = air past the plate + leak (all from ambient,
compressible, choked at idle), and closed loop makes fuel match the air that the cylinders got.
Equations and sources: ``docs/equations.md``.
"""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from bellmouth.finding.effects import Effects, Sharing
from bellmouth.finding.made_up import made_up_pct
from bellmouth.finding.nuisance import Unknowns, Values
from bellmouth.finding.observations import Observations, tells_the_opening
from bellmouth.finding.plate_law import plate_parts
from bellmouth.finding.trim_limits import clamped, slope_through
from bellmouth.physics import air, cylinder, orifice
from bellmouth.recording.nans import told_or

__all__ = [
    "CLOSED_SCALE",
    "NEARLY_ONE",
    "RISE_PA",
    "RISE_SPAN",
    "Effects",
    "Model",
    "State",
    "bend_applies",
]

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

_FLUX = np.sqrt(1.0 / air.R_DRY)
_NEAR_AMBIENT = {"alone": 0.75, "beside": 0.93}  # above, filling falls as by a leak (map)
_NEAR_CHOKED = 0.6  # a guessed pressure is good enough only where it hardly matters
CLOSED_SCALE = 0.01  # a throttle reading in shares, of the size of the other residuals
_UNCHOKED_FROM = 0.4  # where the discharge of two real plates begins to fall (map, bench)
_BLOWER_IDLES = 0.45  # pressure ratio of a plate with no boost: common practice, no source
_BLOWER_WORKS_REV_S = 70.0  # above 4,200 rpm it blows even at a nearly closed plate (map)
_MOST_BLOWN = 0.4  # of the air past the plate: more blows a hose off; our choice
NEARLY_ONE = 0.99  # closest that a manifold comes to what feeds it
RISE_PA = 35e3  # filling's level is told at this pressure, its rise from here to 95 kPa
RISE_SPAN = 1.0 - 35.0 / 95.0
_EVERYWHERE = Sharing()


class State(dict[str, Floats]):
    """What there is at each point, (batch, points) each, and the unknowns' values behind it."""

    def __init__(self, value: Values, parts: Mapping[str, Floats]) -> None:
        super().__init__(parts)
        self.value = value


class Model:
    """Residuals of all readings for a batch of hypotheses and unknowns.

    Parameters
    ----------
    observations
        The points of all recordings.
    unknowns
        Their prior, which scales the coordinates.
    unknown_pa
        Ambient pressure where nothing told it. [Pa]
    absolute
        Whether the lowest throttle reading counts as such: only beside cars of the same family.
    """

    def __init__(
        self,
        observations: Observations,
        unknowns: Unknowns,
        unknown_pa: float,
        *,
        absolute: bool = False,
    ) -> None:
        self._absolute = absolute
        self.observations = observations
        self.unknowns = unknowns
        o = observations
        self._judged = o.judged.astype(np.float64)
        self.alone = o.recordings == 1
        self.healthy_bend_sd = float(unknowns.sd[unknowns.index("meter_bend")])
        self._ambient = np.where(np.isfinite(o.ambient_pa), o.ambient_pa, unknown_pa)
        self._flux = _FLUX * (1.0 / np.sqrt(o.intake_k))
        self.has_manifold = np.isfinite(o.manifold_pa)
        self.has_boost = np.isfinite(o.boost_pa)
        # Whether any point has a boost sensor, and whether any has to guess its pressure.
        self.boosted = bool(self.has_boost.any())
        self.guesses = not self.has_manifold.all()
        # kg/s per Pa at a volumetric efficiency of one, for four strokes.
        self._swept = cylinder.speed_density_kg_s(
            1.0, 1.0, o.displacement_m3, o.speed_rev_s, o.intake_k
        )
        self.log_speed = np.log(o.speed_rev_s * 60.0 / 900.0)
        self.log_relative_flow = np.log(
            told_or(1.0, o.metered_kg_s) / (0.003 * o.displacement_m3 / 0.001)
        )
        ratio = self._pressure_ratio()
        self.unchoked = told_or(0.0, np.maximum(ratio - _UNCHOKED_FROM, 0.0))
        # Of two banks a leak may be nearer to one, whichever of their trims were recorded.
        self.two_banks = o.banks == 2 or bool(np.isfinite(o.log_trim[:, 1]).any())
        self._lowest = self._lowest_throttle()
        # The reading that openings are counted from, and its recording; 0 where there is none.
        there = self._lowest >= 0
        self.throttle_reference_pct = float(o.throttle_pct[self._lowest]) if there else 0.0
        self.reference_recording = int(o.recording[self._lowest]) if there else 0
        # Whether openings are counted from a reading of a judged recording itself.
        self.reference_is_judged = bool(o.judged[self._lowest]) if there else True
        self.places = self._select(ratio)
        self.kinds = tuple(self.places)
        names = [name for name, rows in self.places.items() for _ in rows]
        self.channels: NDArray[np.str_] = np.array(names, dtype=str)

    # -- what is compared ---------------------------------------------------------------------
    def _lowest_throttle(self) -> int:
        """Point of the lowest throttle reading, of the recordings beside the judged one where
        there are any; -1 where there is none."""
        o = self.observations
        good = np.isfinite(o.throttle_pct)
        references = good & ~o.judged
        chosen = references if references.any() else good
        return int(np.argmin(np.where(chosen, o.throttle_pct, np.inf))) if chosen.any() else -1

    def at_points(self, effect: Floats) -> Floats:
        """What a hypothesis does at each point, (batch, points), or (batch, 1) where it does the
        same at all."""
        if effect.ndim == 1:
            return effect[:, None] if self.alone else effect[:, None] * self._judged
        return effect if self.alone else effect[:, self.observations.recording]

    def _at_reference(self, effect: Floats) -> Floats:
        """What it does in the recording that openings are counted from, (batch, 1)."""
        if effect.ndim == 1:
            return effect[:, None] if self.reference_is_judged else np.zeros((1, 1))
        return effect[:, [self.reference_recording]]

    def _select(self, ratio: Floats) -> dict[str, NDArray[np.intp]]:
        """Points of the residuals of each channel that has any, by the pressure ratio there."""
        o = self.observations
        flow = o.metered_kg_s if o.airflow_metered else o.manifold_pa
        throttled = np.isfinite(o.throttle_pct) & np.isfinite(flow)
        near = _NEAR_AMBIENT["beside" if o.beside else "alone"]
        limit = np.where(self.has_manifold, near, _NEAR_CHOKED)
        idling = (ratio < _BLOWER_IDLES) & (o.speed_rev_s < _BLOWER_WORKS_REV_S)
        # A trim is judged by the air that the controller metered at the same point.
        measured = np.isfinite(flow)
        table = {
            "filling": np.isfinite(o.metered_kg_s) & self.has_manifold & (ratio < near),
            "plate": throttled & (ratio < limit),
            "trim 1": np.isfinite(o.log_trim[:, 0]) & measured,
            "trim 2": np.isfinite(o.log_trim[:, 1]) & measured,
            "computed": np.isfinite(o.computed_kg_s) & self.has_manifold,
            "boost": self.has_boost & (measured | self.has_manifold) & idling,
        }
        if not o.airflow_metered:
            table["plate"] &= self.has_manifold
        if self.boosted:
            # The other recording has that blower too; where it idles its plate is fed as usual.
            table["plate"] &= self.has_boost | (ratio < _BLOWER_IDLES)
        elif o.turbocharged:
            # Nothing tells what the plate is fed with while the blower works.
            table["plate"] &= idling
        # How far open the lowest reading is, where a reading seems to tell: once, for the car.
        table["opening"] = tells_the_opening(o, self._lowest, table["plate"])
        if self._absolute and o.throttle_absolute:
            table["closed"] = np.arange(o.points) == self._lowest
        return {name: np.flatnonzero(mask) for name, mask in table.items() if mask.any()}

    def _pressure_ratio(self) -> Floats:
        """Pressure after the plate over that before it, as read or guessed from the airflow."""
        o = self.observations
        guess = o.metered_kg_s / (
            self._swept * np.exp(self.unknowns.mean[self.unknowns.index("fill_level")])
        )
        upstream = np.where(self.has_boost, o.boost_pa, self._ambient)
        return np.where(self.has_manifold, o.manifold_pa, told_or(0.0, guess)) / upstream

    @property
    def rows(self) -> NDArray[np.intp]:
        """Point of each residual, in the order of ``channels``."""
        return np.concatenate([np.zeros(0, dtype=np.intp), *self.places.values()])

    # -- prediction ---------------------------------------------------------------------------
    def states(self, coordinates: Floats, effects: Effects, by: Sharing = _EVERYWHERE) -> State:
        """Pressures, flows [kg/s] and areas [mm²] at each point, shape (batch, points). ``by``
        may work out a part once for all members that have it in common (`Shared`)."""
        value = by.values(self.unknowns, coordinates, effects)
        moved: tuple[str, ...] = ("pressure", "boost")
        if self.guesses or not self.observations.airflow_metered:
            moved = (*moved, "meter")
        breathed = by(moved, self._breathing, value, effects)
        parts = by(("deposit",), self.plate_parts, value, effects)
        leak = breathed["leak_flux"] * self.at_points(effects.leak_area_m2)
        if self.observations.airflow_metered:
            passed = by(("meter",), self._metered, value, effects)["passed"]
            leak = self._blown(leak, passed)
            cylinder = passed + leak
        else:
            cylinder = passed = breathed["filled"]
            leak = self._blown(leak, parts["plate"] * 1e-6 * breathed["flux"])
        told = {**parts, **breathed, "cylinder": cylinder, "passed": passed, "leak": leak}
        return State(value, told)

    def _blown(self, leak: Floats, passed: Floats) -> Floats:
        """What a hole lets in; on boost it loses no more than a part of what the plate passes."""
        return np.fmax(leak, -_MOST_BLOWN * passed) if self.boosted else leak

    def _each(self, name: str, get: Values) -> Floats:
        """An unknown that each recording has its own of, at each point."""
        o = self.observations
        block = get.each(name, o.recordings)
        return block if self.alone else block[:, o.recording]

    def _metered(self, get: Values, effects: Effects) -> Mapping[str, Floats]:
        """The flow that the meter's reading stands for. [kg/s]"""
        day = self._each("meter_day", get)
        passed = self.observations.metered_kg_s * np.exp(
            -(get("meter_gain") + day + self.at_points(effects.meter))
            - get("meter_bend") * bend_applies(self, effects) * self.log_relative_flow
        )
        return {"passed": passed}

    def _breathing(self, get: Values, effects: Effects) -> Mapping[str, Floats]:
        """Pressures [Pa], the air that fills the cylinders [kg/s], and what plate and leak pass
        of it to an area [kg/s m²]."""
        o = self.observations
        ambient = self._ambient * np.exp(self._each("ambient", get))
        upstream = ambient
        if self.boosted:
            boost_gain = get("boost_gain") + self.at_points(effects.boost)
            upstream = np.where(self.has_boost, o.boost_pa * np.exp(-boost_gain), ambient)
        gain = get("pressure_gain") + self.at_points(effects.pressure)
        if not o.airflow_metered:
            gain = gain + get("sensed") * self.at_points(effects.meter)
        manifold = o.manifold_pa * np.exp(-gain) - get("pressure_offset")
        per_pa = self._swept * np.exp(-self._each("heating", get))
        if self.guesses:
            passed = self._metered(get, effects)["passed"]
            guess = passed / (per_pa * np.exp(get("fill_level")))
            manifold = np.where(self.has_manifold, manifold, guess)
        manifold = np.maximum(manifold, 5e3)
        flux = leak_flux = self._flux * ambient * _flow_function(manifold / ambient)
        if self.boosted:
            flux = self._flux * upstream * _flow_function(manifold / upstream)
            leak_flux = np.where(self.has_boost, self._flux * _either_way(ambient, manifold), flux)
        return {
            "manifold": manifold,
            "ambient": ambient,
            "upstream": upstream,
            "filled": per_pa * manifold * np.exp(self._log_filling(get, manifold)),
            "flux": flux * np.exp(get("discharge") * self.unchoked),
            "leak_flux": leak_flux,
            "fuel_fill": self._each("fuel_fill", get),
        }

    def _log_filling(self, get: Values, manifold: Floats) -> Floats:
        """Log volumetric efficiency: a level, a rise with pressure as residual gas makes it
        (35 kPa over the pressure), and a slope in speed."""
        rise = get("fill_rise") / RISE_SPAN
        level = get("fill_level") + rise
        return level - rise * RISE_PA / manifold + get("fill_speed") * self.log_speed

    def plate_parts(self, get: Values, effects: Effects) -> Mapping[str, Floats]:
        """What the effective area at each reading is made of; see `plate_law`."""
        over = self.observations.throttle_pct - self.throttle_reference_pct
        deposit = effects.deposit_mm2
        return plate_parts(over, self.at_points(deposit), self._at_reference(deposit), get)

    def _log_trim(self, get: Values, bank: int) -> Floats:
        """A bank's total trim as read, between both ways in which a controller may combine its
        short and long trims; (batch, points)."""
        o = self.observations
        gap = np.multiply(get("trim_sum"), o.trim_gap[..., bank], order="F")
        return np.asarray(o.log_trim[..., bank] + gap)

    def clamp_slope(self, predicted: Floats, get: Values, bank: int) -> Floats:
        """How much of a predicted trim gets through to the reading: all, or little at a limit."""
        reading, limit = self._log_trim(get, bank), self.observations.trim_limit[..., bank]
        return slope_through(predicted, reading, limit)

    def predicted_log_trim(self, state: State, effects: Effects, bank: int) -> Floats:
        """Log total trim of a bank (0 or 1) that makes fuel match the true air."""
        o = self.observations
        get = state.value
        sign = (1.0, -1.0)[bank]
        fuel = get("fuel_level") - self.at_points(effects.fuel) + state["fuel_fill"]
        nearer = sign * np.tanh(get("leak_bank")) * self.two_banks
        if o.airflow_metered:
            air_got = np.log((state["passed"] + (1.0 + nearer) * state["leak"]) / o.metered_kg_s)
        else:
            # The leak is in the computed air, but the banks do not get it alike.
            lean = nearer * state["leak"] / state["filled"]
            air_got = np.log1p(np.maximum(lean, -0.8)) - get("meter_gain")
            air_got = air_got - self.at_points(effects.meter)
        return np.asarray(air_got + fuel + 0.5 * sign * get("bank_split"))

    def residuals(self, coordinates: Floats, effects: Effects) -> Floats:
        """Reading minus prediction, shape (batch, residuals), logarithmic.

        ``coordinates`` has shape (batch, unknowns).
        """
        every = self.point_residuals(self.states(coordinates, effects), effects)
        return every.take(self.compared(), axis=1)

    def compared(self, kinds: Sequence[str] | None = None, points: int | None = None) -> Ints:
        """Where residuals stand among all channels at all points; ``kinds`` and ``points`` are
        those of several models laid side by side."""
        kinds, points = kinds or self.kinds, points or self.observations.points
        nothing = np.zeros(0, dtype=np.intp)
        places = (kinds.index(kind) * points + rows for kind, rows in self.places.items())
        return np.concatenate([nothing, *places])

    def point_residuals(self, state: State, effects: Effects) -> Floats:
        """Residuals of every channel at every point, (batch, channels x points)."""
        batch, points = len(effects.bend_sd), self.observations.points
        found = np.empty((batch, len(self.kinds) * points), order="F")
        for place, kind in enumerate(self.kinds):
            found[:, place * points : (place + 1) * points] = self.channel(kind, state, effects)
        return found

    def channel(self, name: str, state: State, effects: Effects) -> Floats:
        """Residuals of one channel at every point, (batch, points), compared or not."""
        o = self.observations
        get = state.value
        if name == "filling":
            return np.log(state["cylinder"] / state["filled"])
        if name == "plate":
            supply = state["plate"] * 1e-6 * state["flux"]
            if not o.airflow_metered:
                supply = supply + state["leak"]
            return np.log(state["passed"] / supply)
        if name in ("opening", "closed"):
            return self._stop(state, effects) if name == "closed" else self._open(state)
        if name.startswith("trim"):
            bank = int(name[-1]) - 1
            predicted = self.predicted_log_trim(state, effects, bank)
            reading = self._log_trim(state.value, bank)
            return reading - clamped(predicted, reading, o.trim_limit[..., bank])
        if name == "computed":
            shift = get("meter_gain") + self.at_points(effects.meter)
            return np.log(o.computed_kg_s / state["filled"]) - shift
        return np.log(state["upstream"] / state["ambient"])

    def _open(self, state: State) -> Floats:
        """The reading of how far the plate is open over how far it is."""
        return np.asarray(np.log(self.observations.opening_pct / state["opening"]))

    def _stop(self, state: State, effects: Effects) -> Floats:
        """The lowest throttle reading over what it should be: the stop's, and how far it idles
        above."""
        get = state.value
        own, fade = np.exp(get("opening")), np.exp(get("fade"))
        lost = self._at_reference(effects.deposit_mm2) / np.exp(get("slope"))
        expected = get("closed") + own + made_up_pct(own, lost, fade)
        return np.asarray(CLOSED_SCALE * (self.observations.throttle_pct - expected))


def _flow_function(ratio: Floats) -> Floats:
    """Flow function for downstream over upstream, never quite without flow: at wide open throttle
    a false sensor may read above what feeds it."""
    return orifice.flow_function(np.minimum(ratio, NEARLY_ONE))


def _either_way(outside: Floats, manifold: Floats) -> Floats:
    """Pressure times flow function of a hole: below nothing where boost blows out by it. [Pa]"""
    inward = outside * orifice.flow_function(manifold / outside)
    return np.asarray(inward - manifold * orifice.flow_function(outside / manifold))


def bend_applies(model: Model, effects: Effects) -> Floats:
    """Where a meter's bend acts, (batch, points): a healthy meter's is the car's own, a
    contaminated one bends in the recordings it is contaminated in only."""
    if model.alone and effects.meter.ndim == 1:
        return np.ones((1, 1))
    contaminated = effects.bend_sd[:, None] > 1.5 * model.healthy_bend_sd
    bent = model.observations.judged
    if effects.meter.ndim == 2:
        bent = model.at_points(effects.meter) != 0.0
    return np.where(contaminated, bent, 1.0)
