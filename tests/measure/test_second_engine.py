"""The second population's engines against physics: none of these numbers is a finding's."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

import bellmouth
from measure.second_engine import flow
from measure.second_engine.cars import Cars, draw_car, stack
from measure.second_engine.cases import Case
from measure.second_engine.days import (
    CAUSE_SHARES,
    CAUSES,
    Days,
    Script,
    deposit_worth,
    draw_day,
    draw_script,
)
from measure.second_engine.drive import Traces, drive
from measure.second_engine.logger import Logged, draw_reports, recording_text
from measure.second_engine.plant import afr, effective_area
from measure.second_engine.ranges import RANGES, draw
from measure.second_engine.score import Answer, _as_drawn, _gather, _size_errors

_LENGTH = 30.0
_KINDS = ("healthy", "meter_low", "leak", "deposit", "learned_stale", "fuel_high")


def _car(*, airflow: bool) -> Cars:
    """A car of one kind, whose combustion is even, so that short means are sharp."""
    for k in range(100):
        car = draw_car(np.random.default_rng([7, k]))
        if bool(car.airflow_metered) == airflow:
            return replace(car, roughness=np.array(0.0), pressure_zero=np.array(0.0))
    raise AssertionError


def _day(car: Cars, cause: str) -> Days:
    """A plain day with a fault of middling size."""
    day = draw_day(np.random.default_rng(3), car, cause)
    sizes = {
        "meter": {"meter_low": 0.8}.get(cause, 1.0),
        "fuel": {"fuel_high": 1.2}.get(cause, 1.0),
        "leak_area": 0.25 * car.idle_flow / 237.0 if cause == "leak" else 0.0,
        "deposit": math.radians(2.0) * car.slope * car.discharge if cause == "deposit" else 0.0,
        "stale": 0.5 * car.idle_flow if cause == "learned_stale" else 0.0,
        "bend": 0.0,
        "barometer": 100e3,
        "intake": 298.15,
        "ethanol": 0.1,
        "ethanol_guess": 0.05,
    }
    return replace(day, **{name: np.array(float(value)) for name, value in sizes.items()})


class _Runs:
    """Every kind of fault on an airflow-metered and on a pressure-metered car, idling."""

    def __init__(self) -> None:
        self.cars, self.days = [], []
        for airflow in (True, False):
            for cause in _KINDS:
                self.cars.append(_car(airflow=airflow))
                self.days.append(_day(self.cars[-1], cause))
        script = Script("idle", ((_LENGTH, 0.0),), (1e4, 1e4), ())
        self.traces: Traces = drive(
            stack(self.cars), stack(self.days), [script] * len(self.cars), np.random.default_rng(1)
        )

    def place(self, cause: str, *, airflow: bool) -> int:
        return _KINDS.index(cause) + (0 if airflow else len(_KINDS))

    def mean(self, name: str, cause: str, *, airflow: bool) -> float:
        late = self.traces.seconds > 10.0
        return float(self.traces.values[name][late, self.place(cause, airflow=airflow)].mean())

    def log_trim(self, cause: str, *, airflow: bool) -> float:
        both = [self.mean(name, cause, airflow=airflow) for name in ("short", "long")]
        return math.log((1.0 + both[0]) * (1.0 + both[1]))


@pytest.fixture(scope="module")
def runs() -> _Runs:
    return _Runs()


def test_choked_air_is_as_published() -> None:
    # NACA Report 1135 (1953), table I, gamma = 1.4: p*/p_t = .5283; at M = .5 p/p_t = .8430 and
    # A/A* = 1.340. Shapiro (1953): m sqrt(T)/(A p) = .0404 in SI for choked air.
    assert pytest.approx(0.5283, abs=5e-5) == flow.CRITICAL
    assert flow.orifice(1.0, 1.0, 0.3, 1.0) == pytest.approx(0.0404, abs=5e-5)
    assert flow.psi(0.8430) == pytest.approx(flow.CHOKED / 1.340, rel=1e-3)
    assert flow.psi(0.1) == pytest.approx(flow.CHOKED, rel=1e-6)
    assert flow.psi(1.0) == 0.0


def test_the_plate_opens_at_first_as_its_slope_says() -> None:
    slope = 3e-6 * 180.0 / math.pi
    closed = np.array(flow.closed_angle(0.05, slope))
    small = 1e-4
    area = flow.plate_area(np.array(0.05), closed, np.array(small))
    assert float(area) / small == pytest.approx(slope, rel=5e-3)
    assert float(flow.plate_area(np.array(0.05), closed, np.array(0.0))) == 0.0


@pytest.mark.parametrize("degrees", [1.0, 2.5, 5.0])
def test_a_deposit_is_worth_the_degrees_that_it_was_drawn_with(degrees: float) -> None:
    for k in range(20):
        one = replace(draw_car(np.random.default_rng([4, k])), compressible=np.array(0.0))
        clean = draw_day(np.random.default_rng(3), one, "healthy")
        opened = float(one.idle_opening) + math.radians(degrees)
        reach = max(math.radians(10.0), opened)
        lost = deposit_worth(one, math.radians(degrees), reach)
        dirty = replace(clean, deposit=np.array(lost), deposit_reach=np.array(reach))
        car, days = stack([one, one]), stack([clean, dirty])
        opening = np.array([float(one.idle_opening), opened])
        area = effective_area(car, days, opening, np.array([0.3, 0.3]))
        assert area[1] == pytest.approx(area[0], rel=1e-6)


def test_ideal_filling_is_the_textbook_cycles() -> None:
    # (r - (pe/pi)^(1/gamma)) / (r - 1): Heywood (1988), eq. 6.2, isentropic residuals.
    ratio, r = np.array(2.5), 10.0
    ideal = (r - float(ratio) ** (1 / 1.4)) / (r - 1.0)
    assert flow.filling(np.array(1.0), np.array(1 / (r - 1)), ratio) == pytest.approx(ideal)


def test_stoichiometry_ends_are_petrols_and_ethanols() -> None:
    assert afr(np.array([0.0, 1.0])) == pytest.approx([14.6, 9.0])


@pytest.mark.parametrize("airflow", [True, False])
@pytest.mark.parametrize("cause", _KINDS)
def test_no_air_is_made_or_lost(runs: _Runs, cause: str, airflow: bool) -> None:
    into = sum(runs.mean(name, cause, airflow=airflow) for name in ("plate", "leak"))
    assert into == pytest.approx(runs.mean("cylinder", cause, airflow=airflow), rel=4e-3)


@pytest.mark.parametrize("airflow", [True, False])
@pytest.mark.parametrize("cause", ["healthy", "meter_low", "deposit", "fuel_high"])
def test_idle_speed_is_kept(runs: _Runs, cause: str, airflow: bool) -> None:
    aim = float(runs.cars[runs.place(cause, airflow=airflow)].idle_speed)
    assert runs.mean("speed", cause, airflow=airflow) == pytest.approx(aim, rel=0.01)


def test_trims_go_to_what_is_wrong(runs: _Runs) -> None:
    for airflow in (True, False):
        base = runs.log_trim("healthy", airflow=airflow)
        rich = runs.log_trim("fuel_high", airflow=airflow) - base
        assert rich == pytest.approx(-math.log(1.2), abs=0.01)
    low = runs.log_trim("meter_low", airflow=True) - runs.log_trim("healthy", airflow=True)
    assert low == pytest.approx(-math.log(0.8), abs=0.01)


def test_ethanol_that_nobody_told_of_goes_into_the_trims(runs: _Runs) -> None:
    believed = runs.mean("believed", "healthy", airflow=True)
    error = believed / runs.mean("cylinder", "healthy", airflow=True)
    leaner = float(afr(np.array(0.05)) / afr(np.array(0.1)))
    total = math.exp(runs.log_trim("healthy", airflow=True))
    assert total == pytest.approx(leaner / error, rel=5e-3)


def test_a_leak_passes_the_meter_by_and_not_the_pressure(runs: _Runs) -> None:
    share = runs.mean("leak", "leak", airflow=True) / runs.mean("cylinder", "leak", airflow=True)
    healthy = runs.log_trim("healthy", airflow=True)
    assert share > 0.15
    assert runs.log_trim("leak", airflow=True) - healthy == pytest.approx(
        -math.log(1.0 - share), abs=0.015
    )
    moved = runs.log_trim("leak", airflow=False) - runs.log_trim("healthy", airflow=False)
    assert abs(moved) < 0.01


@pytest.mark.parametrize("airflow", [True, False])
def test_a_deposit_opens_the_plate_by_what_it_took(runs: _Runs, airflow: bool) -> None:
    opened = runs.mean("opening", "deposit", airflow=airflow)
    assert opened > runs.mean("opening", "healthy", airflow=airflow) + math.radians(0.5)
    area = []
    for cause in ("deposit", "healthy"):
        k = runs.place(cause, airflow=airflow)
        at = [np.asarray(runs.mean(n, cause, airflow=airflow)) for n in ("opening", "pressure")]
        day = runs.days[k]
        area.append(float(effective_area(runs.cars[k], day, at[0], at[1] / day.barometer)))
    assert area[0] == pytest.approx(area[1], rel=0.02)


@pytest.mark.parametrize("airflow", [True, False])
def test_a_stale_memory_idles_high_on_its_surplus(runs: _Runs, airflow: bool) -> None:
    k = runs.place("learned_stale", airflow=airflow)
    fast = runs.mean("speed", "learned_stale", airflow=airflow)
    assert fast > 1.05 * float(runs.cars[k].idle_speed)
    more = runs.mean("plate", "learned_stale", airflow=airflow) - runs.mean(
        "plate", "healthy", airflow=airflow
    )
    assert more == pytest.approx(float(runs.days[k].stale), rel=0.1)


def test_what_is_drawn_stays_in_its_ranges() -> None:
    rng = np.random.default_rng(5)
    for name, of in RANGES.items():
        values = [draw(rng, name) for _ in range(50)]
        assert of.low <= min(values) < max(values) <= of.high, name


def test_cars_are_within_the_stated_ranges_once_their_parts_go_together() -> None:
    cars = stack([draw_car(np.random.default_rng([11, k])) for k in range(60)])
    litres = cars.displacement * 1e3
    worked_out: dict[str, NDArray[np.float64]] = {
        "idle_air": cars.idle_flow * 1e3 / litres,
        "idle_rpm": cars.told_idle * 30.0 / math.pi,
        "slope": cars.slope * 1e6 * math.pi / 180.0,
        "bypass": cars.bypass * 1e6 / litres,
        "idle_opening": np.degrees(cars.idle_opening),
        "eta_full": cars.eta_full,
        "discharge": cars.discharge,
        "residual": cars.residual,
        "friction": cars.friction,
    }
    for name, values in worked_out.items():
        of, slack = RANGES[name], 1e-9
        assert of.low - slack <= values.min(), name
        assert values.max() <= of.high + slack, name
    # Of the stated ranges at least two thirds are used; those pressed by what goes together less.
    for name in ("idle_air", "idle_rpm", "discharge", "bypass"):
        of = RANGES[name]
        assert np.ptp(worked_out[name]) > 0.6 * (of.high - of.low), name


def test_healthy_is_three_in_ten_and_the_others_alike() -> None:
    assert CAUSE_SHARES["healthy"] == 0.3
    assert sum(CAUSE_SHARES.values()) == pytest.approx(1.0)
    assert [CAUSE_SHARES[name] for name in CAUSES[1:]] == pytest.approx([0.1] * 7)


def test_scripts_idle_and_hold_what_is_stated() -> None:
    scripts = [draw_script(np.random.default_rng([2, k])) for k in range(300)]
    alone = sum(one.plan == "idle" for one in scripts) / len(scripts)
    assert alone == pytest.approx(0.3, abs=0.08)
    for one in scripts:
        speeds = [rpm for _, rpm in one.held if rpm]
        assert all(1200 <= rpm <= 3500 for rpm in speeds)
        assert bool(speeds) == (one.plan == "held")
        assert sum(rpm == 0.0 for _, rpm in one.held) == (2 if speeds else 1)
        assert one.length <= 180.0 + 1e-9


def test_a_logger_writes_what_bellmouth_reads(runs: _Runs, tmp_path: Path) -> None:
    k = runs.place("healthy", airflow=True)
    car, day = runs.cars[k], runs.days[k]
    rng = np.random.default_rng(8)
    reports = replace(draw_reports(rng, car), rate=12.0, lost=0.02)
    values = {n: rows[:, k].astype(np.float64) for n, rows in runs.traces.values.items()}
    logged = Logged(runs.traces.seconds, values, car, day)
    path = tmp_path / "recording.csv"
    path.write_text(recording_text(rng, logged, reports, _LENGTH), encoding="utf-8")
    recording = bellmouth.read_recording(path)
    assert not recording.unmapped
    speed = recording.series["engine_speed"]
    assert np.median(speed.value) == pytest.approx(float(car.idle_speed) * 30 / math.pi, rel=0.02)
    assert np.allclose(speed.value * 4.0, np.round(speed.value * 4.0), atol=0.05)
    assert sum(len(one.time_s) for one in recording.series.values()) < 12.0 * _LENGTH


def _answer(cause: str, log: dict[str, float], stated: dict[str, float]) -> Answer:
    size = {} if cause == "healthy" else {cause: 2.0}
    case = Case(Path(), 1, cause, "idle", "airflow", size)
    return Answer(case, log, stated, {}, 1.0, 0.1)


def test_weights_as_drawn_are_the_evidence_times_the_shares() -> None:
    log = {"healthy": 0.0, "leak": math.log(3.0), "leak+fuel_low": 50.0, "unexplained": 50.0}
    share = _as_drawn(_answer("leak", log, {}))
    assert share["healthy"] == pytest.approx(0.5)
    assert share["leak"] == pytest.approx(0.5)
    assert share["leak+fuel_low"] == share["unexplained"] == 0.0


def test_truth_is_the_true_causes_column_and_no_size_is_made_up() -> None:
    answers = [_answer("leak", {}, {"healthy": 0.4, "leak": 0.6})]
    judged = _gather(answers, lambda one: one.stated)
    assert judged.causes[judged.truth[0]] == "leak"
    assert judged.probability[0].sum() == pytest.approx(1.0)
    assert _size_errors(answers) == []
