"""Odd but legal recordings: a reading missing here and there, a dead sensor, an empty reference."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from bellmouth.car.description import Car, Known, Metering
from bellmouth.errors import FindingError
from bellmouth.finding.case import Case, solve
from bellmouth.finding.checks import parse_results
from bellmouth.finding.find import find
from bellmouth.finding.observations import observe
from bellmouth.finding.priors import read_weights
from bellmouth.finding.telling import telling
from bellmouth.recording.purged import with_unreported_purge
from bellmouth.recording.series import Recording, Series
from bellmouth.recording.stretch import Stretch
from tests.finding.garage import car, reading, stretches
from tests.finding.test_find import recording


def without(name: str, made: Sequence[Stretch], place: int) -> tuple[Stretch, ...]:
    """The stretches with one reading missing from one of them."""
    held = {key: value for key, value in made[place].readings.items() if key != name}
    return tuple(replace(s, readings=held) if i == place else s for i, s in enumerate(made))


def with_all(made: Sequence[Stretch], **values: float) -> tuple[Stretch, ...]:
    more = {name: reading(value, 0.005) for name, value in values.items()}
    return tuple(replace(s, readings={**s.readings, **more}) for s in made)


def assert_finite(case: Case) -> None:
    assert np.isfinite(case.posterior.log_evidence).all()
    assert np.isfinite(case.posterior.log_unexplained)


def test_a_stretch_whose_speed_was_lost_is_left_out() -> None:
    made = stretches()
    case = solve(without("engine_speed", made, len(made) - 1), (), car())
    assert_finite(case)
    assert case.observations.points == len(made) - 1


@pytest.mark.parametrize(
    ("metering", "name"),
    [("airflow", "mass_air_flow"), ("pressure", "intake_manifold_pressure")],
)
def test_a_trim_without_the_air_it_belongs_to_says_nothing(metering: Metering, name: str) -> None:
    made = without(name, stretches(metering=metering), 1)
    assert_finite(solve(made, [], car(metering)))
    whole = stretches(metering=metering)
    bare = whole
    for place in range(3):
        bare = without(name, bare, place)
    assert_finite(solve(whole, [bare], car(metering)))


def test_a_reference_does_not_stand_in_for_the_airflow_that_was_not_recorded() -> None:
    with pytest.raises(FindingError, match="no mass_air_flow was recorded"):
        find(recording(mass_air_flow=None), car(), references=[recording(seed=4)])


@pytest.mark.parametrize("kpa", [0.0, 30.0, 255.0])
def test_a_barometer_that_no_road_could_show_is_not_believed(kpa: float) -> None:
    made = with_all(stretches(), barometric_pressure=kpa)
    assert np.isnan(observe(made, [], car()).ambient_log_sd[0])
    assert_finite(solve(made, [], car()))


def test_a_trim_of_minus_a_hundred_is_no_reading() -> None:
    whole = recording()
    old = whole.series["short_term_fuel_trim_bank_1"]
    dead = Series(old.name, old.unit, old.time_s, np.full(len(old.time_s), -100.0))
    told = find(Recording({**whole.series, old.name: dead}, "made.csv"), car())
    assert any("No fuel trims" in warning for warning in told.warnings)


@pytest.mark.parametrize(("bank", "sensor"), [(1, 1), (2, 5)])
def test_a_banks_own_wide_range_sensor_completes_its_trim(bank: int, sensor: int) -> None:
    name = f"wide_range_sensor_{sensor}_equivalence_ratio_with_current"
    both = with_all(stretches(), log_total_trim_bank_1=0.02, log_total_trim_bank_2=0.02)
    seen = observe(with_all(both, **{name: 1.10}), [], car()).log_trim
    assert seen[:, bank - 1] == pytest.approx(0.02 + np.log(1.10))
    assert seen[:, 2 - bank] == pytest.approx(0.02)


def test_a_reference_without_a_warm_engine_is_left_out_and_told() -> None:
    cold = recording(seed=4, engine_coolant_temperature=0.2)
    told = find(recording(), car(), references=[cold])
    alone = find(recording(), car())
    assert told.causes[0].probability == pytest.approx(alone.causes[0].probability)
    assert "reference made.csv: no warm running engine in it" in told.excluded


def test_the_closed_reading_belongs_to_the_absolute_throttle_reading() -> None:
    """A relative reading less an absolute one is no opening."""
    known = Car(Known(2.0), "airflow", closed_throttle_position_pct=Known(12.0))
    whole = recording()
    old = whole.series["throttle_position"]
    moved = Series("relative_throttle_position", "%", old.time_s, old.value - 10.0)
    rest = {name: one for name, one in whole.series.items() if name != "throttle_position"}
    relative = Recording({**rest, moved.name: moved}, "made.csv")
    told = find(relative, known)
    plain = find(relative, Car(Known(2.0), "airflow"))
    assert told.causes[0].probability == pytest.approx(plain.causes[0].probability)
    assert find(whole, known).causes[0].probability != pytest.approx(plain.causes[0].probability)


def test_a_check_may_be_called_by_its_first_word() -> None:
    assert parse_results("smoke=none") == parse_results(["smoke_test=none"])
    with pytest.raises(FindingError, match="not CHECK=OUTCOME"):
        parse_results(["smok=none"])


def test_a_prior_that_is_no_table_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "prior.toml"
    path.write_text("prior = 3\n", encoding="utf-8")
    with pytest.raises(FindingError, match=r"prior is 3. Make it a table"):
        read_weights(path)


def test_a_sensor_caught_with_the_engine_off_is_told_as_the_reason() -> None:
    made = stretches(pressure=0.88)
    names = ("intake_manifold_pressure", "barometric_pressure", "engine_speed")
    held = {
        name: reading(value, 0.1) for name, value in zip(names, (88.0, 100.0, 0.0), strict=True)
    }
    off = Stretch("engine off", -20.0, -10.0, held, True, None)
    case = solve([off, *made], [], car())
    row = case.hypotheses.names.index("pressure_low")
    assert any("with the engine off" in part.what for part in telling(case, row))


def test_without_engine_speed_the_sentence_says_so() -> None:
    with pytest.raises(FindingError, match="engine_speed was not recorded"):
        find(recording(engine_speed=None), car())


def test_a_pressure_that_no_engine_shows_is_left_out_and_said() -> None:
    whole = recording()
    old = whole.series["intake_manifold_pressure"]
    psi = Series(old.name, old.unit, old.time_s, old.value / 6.895)
    told = find(Recording({**whole.series, old.name: psi}, "made.csv"), car())
    assert any("less than any running engine shows" in warning for warning in told.warnings)


def test_a_blower_in_one_recording_is_not_taken_for_missing_in_the_other() -> None:
    """What feeds the plate is not told where boost was not recorded: only idle still compares."""
    plain = stretches()
    blown = tuple(
        replace(
            s,
            readings={**s.readings, "boost_pressure": reading(s.value("barometric_pressure"), 0.2)},
        )
        for s in plain
    )
    model = solve(blown, [plain], car()).model
    places = model.places["plate"]
    ratio = model.observations.manifold_pa / model.observations.ambient_pa
    assert (model.has_boost | (ratio < 0.45))[places].all()
    assert set(np.flatnonzero(model.has_boost)) <= set(places)


def test_a_hole_in_which_no_speed_was_read_is_no_operating_point() -> None:
    made = without("engine_speed", stretches(), 1)
    assert_finite(solve(made, [], car()))
    assert observe(made, [], car()).points == len(made) - 1


def test_one_idle_under_unreported_purge_leaves_the_finding_as_it_is() -> None:
    """A second idle at the same speed draws 7 % less and its trim is .09 richer."""
    made = stretches(leak_mm=1.5)
    idle = made[0]
    readings = dict(idle.readings)
    for name, change in (("mass_air_flow", 0.93), ("throttle_position", 0.995)):
        readings[name] = readings[name]._replace(value=readings[name].value * change)
    trim = readings["log_total_trim_bank_1"]
    readings["log_total_trim_bank_1"] = trim._replace(value=trim.value - 0.09)
    purged = replace(idle, start_s=100.0, end_s=120.0, readings=readings)
    marked = with_unreported_purge([*made, purged])
    assert [one.purging for one in marked] == [None, None, None, 1.0]
    plain, odd, told = (solve(given, [], car()) for given in (made, [*made, purged], marked))

    def margin(case: Case) -> float:
        """How far the best cause is above *unexplained*. [nats]"""
        return float(case.posterior.log_evidence.max() - case.posterior.log_unexplained)

    assert margin(told) > margin(odd) + 2.0
    for case in (plain, told):
        log = case.posterior.log_evidence
        best = case.hypotheses.names[int(np.argmax(log))]
        assert "leak" in best.split("+")
        assert log[case.hypotheses.names.index("leak")] > log.max() - 0.5
        assert margin(case) > 3.0
