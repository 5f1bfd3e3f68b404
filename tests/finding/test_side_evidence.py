"""Readings that enter as mixtures: idle speed, plate position, engine-off pressure."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from bellmouth.car.description import Car
from bellmouth.finding.case import Case, solve
from bellmouth.finding.idle_spark import Spark
from bellmouth.finding.plate_position import _relative_density
from bellmouth.finding.priors import load_priors
from bellmouth.finding.telling import telling
from bellmouth.recording.stretch import Reading, Stretch
from tests.finding.garage import car, reading, stretches


def _row(case: Case, name: str) -> NDArray[np.intp]:
    return np.array([case.hypotheses.names.index(name)], dtype=np.intp)


def _at(coordinate: float) -> NDArray[np.float64]:
    return np.array([[coordinate, np.nan]])


NONE = np.full((1, 2), np.nan)


def _idle(case: Case, name: str, share: float) -> float:
    """Log likelihood of the idle speed under a share of all idle air in surplus."""
    unit = case.scale.idle_area_m2 if name == "leak" else 1.0
    return float(case.idle(_row(case, name), _at(np.log(share * unit)))[0])


def test_an_idle_on_its_mark_speaks_for_healthy_and_against_surplus_air() -> None:
    case = solve(stretches(), [], car())
    healthy = float(case.idle(_row(case, "healthy"), NONE)[0])
    assert healthy > _idle(case, "learned_stale", 0.5) + 2.0


def test_a_high_idle_speaks_for_surplus_air_but_a_load_remains_possible() -> None:
    case = solve(stretches(idle_up_rpm=130.0), [], car())
    healthy = float(case.idle(_row(case, "healthy"), NONE)[0])
    stale = _idle(case, "learned_stale", 0.4)
    assert healthy + 0.5 < stale < healthy + 4.0


def test_an_unknown_idle_says_little() -> None:
    known = solve(stretches(idle_up_rpm=130.0), [], car())
    unknown = solve(stretches(idle_up_rpm=130.0), [], _no_idle_rpm())
    gain = {}
    for name, case in (("known", known), ("unknown", unknown)):
        healthy = float(case.idle(_row(case, "healthy"), NONE)[0])
        gain[name] = _idle(case, "learned_stale", 0.4) - healthy
    assert abs(gain["unknown"]) < abs(gain["known"])


def _no_idle_rpm() -> Car:
    return replace(car(), idle_rpm=None)


def _with(made: tuple[Stretch, ...], kind: str, **readings: Reading) -> tuple[Stretch, ...]:
    """The stretches with readings put into those of one kind."""
    return tuple(
        Stretch(s.kind, s.start_s, s.end_s, {**s.readings, **readings}, s.warm, s.closed_loop)
        if s.kind == kind
        else s
        for s in made
    )


def test_retarded_spark_against_a_reference_tells_surplus_air_from_a_load() -> None:
    """Against surplus air the controller takes the spark back; under a load it does not."""
    good = _with(stretches(), "idle", ignition_timing_advance=reading(12.0, 0.1))
    high = stretches(idle_up_rpm=110.0)
    gain = {}
    for name, spark in (("retarded", 6.0), ("kept", 12.0)):
        judged = _with(high, "idle", ignition_timing_advance=reading(spark, 0.1))
        case = solve(judged, [good], car())
        healthy = float(case.idle(_row(case, "healthy"), NONE)[0])
        gain[name] = _idle(case, "learned_stale", 0.4) - healthy
    assert gain["retarded"] > gain["kept"] + 1.5


def test_spark_is_taken_back_in_proportion_to_the_rise() -> None:
    """Ten degrees less spark go with an idle that is 200 rpm high, not with one 20 rpm high."""
    good = _with(stretches(), "idle", ignition_timing_advance=reading(15.0, 0.1))
    gain = {}
    for up in (20.0, 200.0):
        judged = _with(stretches(idle_up_rpm=up), "idle", ignition_timing_advance=reading(5.0, 0.1))
        case = solve(judged, [good], car())
        healthy = float(case.idle(_row(case, "healthy"), NONE)[0])
        gain[up] = _idle(case, "learned_stale", 0.4 if up > 100 else 0.06) - healthy
    assert gain[200.0] > gain[20.0] + 1.0


def test_a_load_may_take_spark_back_as_well_but_not_far() -> None:
    """As a real compressor did: of a loaded idle's spark, and of a loaded reference's."""
    table, drops = load_priors().idle_speed, np.linspace(-30.0, 30.0, 601)
    told = {
        way: np.array(
            [
                Spark(float(drop), 1.2, True, 0.5).loaded(way, np.zeros(1), 700.0, table)[0]
                for drop in drops
            ]
        )
        for way in (0.0, 1.0, -1.0)
    }
    for density in told.values():
        assert density.sum() * 0.1 == pytest.approx(1.0, abs=1e-3)
    at = {drop: int(np.argmin(np.abs(drops - drop))) for drop in (-3.0, 3.0, 9.0)}
    assert told[1.0][at[3.0]] > 1.3 * told[0.0][at[3.0]]
    assert told[-1.0][at[-3.0]] > 1.3 * told[0.0][at[-3.0]]
    assert told[1.0][at[9.0]] < 1.3 * told[0.0][at[9.0]]


def test_two_idles_of_one_car_are_more_alike_than_one_and_what_its_maker_states() -> None:
    """Beside a reference 25 rpm too many say more than beside the car file."""
    gain = {}
    for beside, references in ((True, [stretches()]), (False, [])):
        case = solve(stretches(idle_up_rpm=25.0), references, car())
        healthy = float(case.idle(_row(case, "healthy"), NONE)[0])
        gain[beside] = _idle(case, "learned_stale", 0.15) - healthy
    assert gain[True] > gain[False] + 0.1


def test_without_a_reference_an_early_spark_speaks_a_little_against_surplus_air() -> None:
    gain = {}
    for spark in (0.0, 16.0):
        made = stretches(idle_up_rpm=100.0)
        for stretch in made:
            stretch.readings["ignition_timing_advance"] = reading(spark, 0.2)  # type: ignore[index]
        case = solve(made, [], car())
        healthy = float(case.idle(_row(case, "healthy"), NONE)[0])
        gain[spark] = _idle(case, "learned_stale", 0.3) - healthy
    assert 0.3 < gain[0.0] - gain[16.0] < 2.0


def _key_on(throttle: float, manifold: float) -> Stretch:
    readings = {
        "engine_speed": reading(0.0, 0.1),
        "throttle_position": reading(throttle, 0.1),
        "intake_manifold_pressure": reading(manifold, 0.3),
        "barometric_pressure": reading(100.0, 0.3),
    }
    return Stretch("engine off", 0.0, 5.0, readings, True, None)


def test_idle_above_the_rest_speaks_for_deposit() -> None:
    """The plate rests on its spring above the idle opening, unless idle makes up for something."""
    made = stretches()
    idle_pct = made[0].value("throttle_position")
    below = solve((_key_on(idle_pct - 3.0, 100.0), *made), [], car())
    above = solve((_key_on(idle_pct + 3.0, 100.0), *made), [], car())
    size = _at(np.log(3.0 * below.scale.slope_mm2_deg))
    gain = [
        float(
            (case.plate(_row(case, "deposit"), size) - case.plate(_row(case, "healthy"), NONE))[0]
        )
        for case in (below, above)
    ]
    assert gain[0] > 0.5
    assert gain[1] < -0.5


@pytest.mark.parametrize(("manifold", "cause"), [(88.0, "pressure_low"), (112.0, "pressure_high")])
def test_a_false_sensor_shows_with_the_engine_off(manifold: float, cause: str) -> None:
    ratio = manifold / 100.0
    made = stretches(pressure=ratio)
    with_it = solve((_key_on(14.0, manifold), *made), [], car())
    without = solve(made, [], car())
    row = with_it.hypotheses.names.index(cause)
    gain = with_it.posterior.log_evidence - with_it.posterior.log_evidence[0]
    before = without.posterior.log_evidence - without.posterior.log_evidence[0]
    assert gain[row] > before[row] + 2.0


def test_an_agreeing_sensor_clears_itself_only_in_part() -> None:
    """Some cars' barometer is the manifold sensor itself: agreement then says nothing."""
    case = solve((_key_on(14.0, 100.0), *stretches()), [], car())
    without = solve(stretches(), [], car())
    row = case.hypotheses.names.index("pressure_low")
    lost = (without.posterior.log_evidence - case.posterior.log_evidence)[row] - (
        without.posterior.log_evidence - case.posterior.log_evidence
    )[0]
    assert 0.3 < lost < -np.log(0.2)


def test_the_telling_readings_of_a_leak_are_its_trims() -> None:
    case = solve(stretches(leak_mm=2.2), [], car())
    parts = telling(case, case.hypotheses.names.index("leak"))
    assert parts[0].readings == ("short_term_fuel_trim_bank_1", "long_term_fuel_trim_bank_1")
    assert "at 705 rpm" in parts[0].what
    assert parts[0].strength > 3.0


def test_an_engine_that_is_not_quite_hot_may_idle_higher() -> None:
    """Sixty rpm up at 70 degC speaks less for surplus air than the same at 90 degC."""
    gain = {}
    for coolant in (70.0, 90.0):
        made = _with(
            stretches(idle_up_rpm=60.0), "idle", engine_coolant_temperature=reading(coolant, 0.5)
        )
        case = solve(made, [], car())
        healthy = float(case.idle(_row(case, "healthy"), NONE)[0])
        gain[coolant] = _idle(case, "learned_stale", 0.3) - healthy
    assert gain[70.0] < gain[90.0] - 0.3


def test_a_cause_that_no_reading_favours_says_so() -> None:
    """Its weight then comes from before the recording, and no reading is made up for it."""
    case = solve(stretches(metering="pressure"), [], car("pressure"))
    (part,) = telling(case, case.hypotheses.names.index("learned_stale"))
    assert part.what.startswith("no reading speaks for it")
    assert part.readings == ()


def test_a_usual_opening_in_per_cent_is_compared_in_degrees() -> None:
    """Twice the reading for a degree is half the degrees for the same reading."""
    priors = load_priors()
    mean, sd = priors.plate["log_idle_opening_pct"]
    told = replace(
        priors,
        plate={**priors.plate, "log_idle_opening_pct": [mean + np.log(2.0), sd]},
        plate_position={
            **priors.plate_position, "pct_per_deg": 2.0 * priors.plate_position["pct_per_deg"]
        },
    )  # fmt: skip
    for degrees in (0.5, 2.0, 6.0):
        assert _relative_density(degrees, told) == pytest.approx(_relative_density(degrees, priors))
