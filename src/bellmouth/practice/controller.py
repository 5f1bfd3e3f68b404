"""The practice car's fuel control: air metering, closed loop with delay, short and long trims."""

from dataclasses import dataclass

import numpy as np

from bellmouth.practice.cars import Cars
from bellmouth.practice.columns import Floats, between
from bellmouth.practice.engine import Engine, Flows
from bellmouth.practice.faults import Faults, Weather
from bellmouth.practice.laws import heating_k

__all__ = ["Flags", "FuelControl", "FuelInput", "Metering", "stoichiometric"]

Flags = np.ndarray[tuple[int, ...], np.dtype[np.bool_]]
_R = 0.28705
_BUFFER = 64


def stoichiometric(ethanol_pct: Floats) -> Floats:
    """Air-fuel ratio by mass of petrol with ethanol by volume. [%] -> [-]

    Mass-weighted between 14.6 and 9.0, densities 0.745 and 0.789 g/mL (Heywood, app. D, quoted
    from memory).
    """
    volume = ethanol_pct / 100.0
    mass = volume * 0.789 / (volume * 0.789 + (1.0 - volume) * 0.745)
    return np.asarray(14.6 * (1.0 - mass) + 9.0 * mass)


class Metering:
    """What the controller believes the engine breathes: by meter, or from manifold pressure."""

    def __init__(self, car: Cars, fault: Faults, engine: Engine) -> None:
        self.car, self.fault, self._engine = car, fault, engine
        self.reading_g_s = car.idle_airflow_g_s.copy()
        self.sensed_kpa = car.idle_kpa.copy()
        self.sensed_intake_k = engine.intake_k + car.intake_offset_k
        self._pressure_factor = car.pressure_gain * np.exp(fault.pressure_log)

    def step(self, dt_s: float, flows: Flows) -> Floats:
        """Air per second as the controller believes it. [g/s]"""
        car, engine = self.car, self._engine
        factor = self._pressure_factor
        self.sensed_kpa = factor * engine.pressure_kpa + car.pressure_offset_kpa
        self.sensed_intake_k = engine.intake_k + car.intake_offset_k
        meter = self._meter(np.maximum(flows.throttle, 0.01))
        lag = dt_s / (car.meter_lag_s + dt_s)
        self.reading_g_s = self.reading_g_s + (meter - self.reading_g_s) * lag
        return np.where(car.airflow_metered > 0, self.reading_g_s, self._computed())

    def _meter(self, flow_g_s: Floats) -> Floats:
        """Reading at this flow: gain, and a bend about twice the idle flow."""
        bend = self.car.meter_bend + self.fault.meter_bend
        gain = self.car.meter_log_gain + self.fault.meter_log
        around = np.log(flow_g_s / (2.0 * self.car.idle_airflow_g_s))
        return np.asarray(flow_g_s * np.exp(gain + bend * around))

    def _computed(self) -> Floats:
        """Speed-density with the maker's table, which knows no waves and is a little off."""
        car, engine = self.car, self._engine
        speed = np.maximum(engine.speed_rpm, 150.0)
        p = np.maximum(self.sensed_kpa, 5.0)
        ve = engine.filling(p, speed, engine.ambient_kpa + 1.0)
        ripple = 1.0 + car.table_ripple * np.sin(p / 11.0 + 1.7 * np.log(speed) + car.wave_phase)
        heat = car.assumed_heating * heating_k(car, engine.flows.cylinder)
        air = ve * ripple * p * car.displacement_l * engine.speed_rpm
        gain = np.exp(car.table_log_gain + self.fault.meter_log)
        return np.asarray(gain * air / (120.0 * _R * (self.sensed_intake_k + heat)))


@dataclass(frozen=True)
class FuelInput:
    """What fuel control is told in a step."""

    closed_loop: Flags
    cut: Flags
    commanded_lambda: Floats
    idling: Flags
    learning: Flags


class FuelControl:
    """Trims of both banks, arrays of shape (2, cars); one-bank cars carry the same twice.

    Variants differ in how many long trims there are and what they do: A one factor, B one at
    idle and one off it, C four by flow (and short and long multiply), D an amount of fuel at
    idle beside a factor, E cells of speed and load (:mod:`bellmouth.practice.cells`).
    """

    cell_count: int | None = None

    def __init__(self, car: Cars, fault: Faults, weather: Weather, variant: str) -> None:
        n = len(car)
        self.car, self.variant = car, variant
        true = stoichiometric(weather.ethanol_pct)
        tuned = np.where(car.flex > 0, weather.ethanol_pct + weather.ethanol_error_pct, 5.0)
        richer = true / stoichiometric(between(tuned, 0.0, 100.0))
        gain = car.injector_log_gain + weather.fuel_log + fault.fuel_log
        bank = np.stack([car.bank_log_gain, -car.bank_log_gain]) * (car.banks > 1)
        self.delivery = np.exp(gain + bank) * richer
        self._leak_tilt = np.where(car.banks > 1, fault.leak_bank - 0.5, 0.0)
        self.short = np.zeros((2, n))
        count = self.cell_count or {"A": 1, "B": 2, "C": 4, "D": 2}[variant]
        self.cells = np.zeros((count, 2, n))
        self.long_s: Floats | float = 1.5
        self._integral = np.zeros((2, n))
        self._film = np.zeros((2, n))
        self._buffer = np.ones((_BUFFER, 2, n))
        self._at = 0
        self.sensed = np.ones((2, n))
        self._lean = np.ones((2, n))
        self.true_lambda = np.ones((2, n))
        self._active = np.zeros((2, n))
        self.injected = np.zeros((2, n))
        self._scatter = np.zeros(n)

    def long(self, metered_g_s: Floats, idling: Flags) -> Floats:
        """Long trim in force, shape (2, cars). [-]"""
        if self.variant == "A":
            return np.asarray(self.cells[0].copy())
        if self.variant == "B":
            return np.asarray(np.where(idling, self.cells[0], self.cells[1]))
        if self.variant == "C":
            return self._by_flow(metered_g_s)
        share = np.minimum(1.0, self.car.idle_airflow_g_s / np.maximum(metered_g_s, 0.2))
        return between(
            self.cells[0] * share + self.cells[1], -self.car.long_limit, self.car.long_limit
        )

    def _cell(self, metered_g_s: Floats) -> np.ndarray[tuple[int, ...], np.dtype[np.intp]]:
        relative = metered_g_s / self.car.idle_airflow_g_s
        return np.searchsorted(np.array([1.6, 3.5, 8.0]), relative)

    def _by_flow(self, metered_g_s: Floats) -> Floats:
        cell = self._cell(metered_g_s)
        return np.asarray(np.take_along_axis(self.cells, cell[None, None, :], axis=0)[0])

    def step(
        self, dt_s: float, metered_g_s: Floats, flows: Flows, speed_rpm: Floats, told: FuelInput,
        noise: Floats,
    ) -> Floats:  # fmt: skip
        """Inject, burn, sense and correct. Returns the banks' mean lambda in the cylinders."""
        self._active = self.long(metered_g_s, told.idling)
        wanted = 0.5 * metered_g_s * self._correction(told) / told.commanded_lambda
        self.injected = np.where(told.cut, 0.0, wanted)
        # Mixing and metering wander by a per cent or so over seconds, as real short trims show.
        self._scatter += (noise * 7.0 * self.car.mixture_scatter - self._scatter) * (dt_s / 1.2)
        burnt = self._wet(dt_s, self.injected * self.delivery * (1.0 + self._scatter))
        burnt = burnt + 0.5 * self.car.purge_richness * flows.purge
        tilt = np.stack([self._leak_tilt, -self._leak_tilt]) * np.maximum(flows.leak, 0.0)
        air = np.maximum(0.5 * flows.cylinder + tilt, 1e-3)
        self.true_lambda = between(air / np.maximum(burnt, 1e-4), 0.5, 3.0)
        self._sense(dt_s, speed_rpm, flows.cylinder)
        self._correct(dt_s, told)
        self._learn(dt_s, metered_g_s, told)
        return np.asarray(self.true_lambda.mean(axis=0))

    def _correction(self, told: FuelInput) -> Floats:  # noqa: ARG002
        """What both trims make of the metered air, shape (2, cars). [-]"""
        if self.variant == "C":
            return np.asarray((1.0 + self.short) * (1.0 + self._active))
        return np.asarray(1.0 + self.short + self._active)

    def _wet(self, dt_s: float, arriving: Floats) -> Floats:
        """Part of the fuel wets the port walls and comes off later."""
        share = self.car.film_share
        leaving = self._film / 0.35
        self._film = self._film + dt_s * (share * arriving - leaving)
        return np.asarray((1.0 - share) * arriving + leaving)

    def _sense(self, dt_s: float, speed_rpm: Floats, flow_g_s: Floats) -> None:
        self._at = (self._at + 1) % _BUFFER
        self._buffer[self._at] = self.true_lambda
        transport = 0.04 * self.car.idle_airflow_g_s / np.maximum(flow_g_s, 0.3)
        delay = 110.0 / np.maximum(speed_rpm, 200.0) + 0.03 + transport
        steps = between(delay / dt_s, 1, _BUFFER - 1).astype(np.intp)
        at = (self._at - steps) % _BUFFER
        late = self._buffer[at, :, np.arange(len(steps))].T
        self.sensed = self.sensed + (late - self.sensed) * (dt_s / (0.08 + dt_s))

    def _correct(self, dt_s: float, told: FuelInput) -> None:
        error = self.sensed - 1.0 - self.car.lambda_bias
        rate, jump = self._law(dt_s, error)
        moved = self._integral + dt_s * self.car.trim_speed * rate
        most = np.minimum(self.car.short_limit, self.car.total_limit - self._active)
        least = np.maximum(-self.car.short_limit, -self.car.total_limit - self._active)
        self._integral = np.where(told.closed_loop, between(moved, least, most), 0.0)
        short = between(self._integral + jump, least, most)
        self.short = np.where(told.closed_loop, short, 0.0)

    def _law(self, dt_s: float, error: Floats) -> tuple[Floats, Floats]:  # noqa: ARG002
        """Rate of the integral and the step beside it. [1/s], [-]"""
        self._lean = np.where(error > 0.004, 1.0, np.where(error < -0.004, -1.0, self._lean))
        wide = self.car.wide_range > 0
        rate = np.where(wide, 0.7 * between(error, -0.25, 0.25), 0.022 * self._lean)
        jump = np.where(wide, 0.25 * between(error, -0.2, 0.2), 0.010 * self._lean)
        return rate, jump

    def _learn(self, dt_s: float, metered_g_s: Floats, told: FuelInput) -> None:
        moved = np.where(told.learning, self._integral * (dt_s / self.long_s), 0.0)
        before = self._active
        self._store(moved, metered_g_s, told)
        after = self.long(metered_g_s, told.idling)
        self._integral = self._integral - (after - before)

    def _store(self, moved: Floats, metered_g_s: Floats, told: FuelInput) -> None:
        """Move the long trims that are in force, shape (2, cars)."""
        limit = self.car.long_limit
        if self.variant in {"A", "B"}:
            everywhere = np.ones_like(told.idling)
            rows = [told.idling, ~told.idling] if self.variant == "B" else [everywhere]
        elif self.variant == "C":
            cell = self._cell(metered_g_s)
            rows = [cell == k for k in range(4)]
        else:
            rows = [told.idling, ~told.idling]
        for cell_at, mask in enumerate(rows):
            moving = np.where(mask, moved, 0.0)
            self.cells[cell_at] = between(self.cells[cell_at] + moving, -limit, limit)

    def forget(self, kept: Floats) -> None:
        """Keep only this share of the long trims, as after a reset some time ago. [-]"""
        lost = self.cells[0] * (1.0 - kept)
        self.cells *= kept
        limit = self.car.short_limit
        self._integral = between(self._integral + lost, -limit, limit)
