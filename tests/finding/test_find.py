"""The one call: its document, its honesty, and what it refuses."""

import math
from dataclasses import replace

import numpy as np
import pytest

from bellmouth.car.description import Car, Known
from bellmouth.errors import FindingError
from bellmouth.finding.find import find
from bellmouth.finding.result import Finding
from bellmouth.recording.series import Recording, Series
from tests.finding.garage import car
from tests.finding.test_family import family
from tests.finding.worked import with_key_on

SECONDS = 150.0


def recording(*, seed: int = 3, **changed: float | None) -> Recording:
    """A warm idle, 2,500 rpm, idle again; a keyword replaces or (None) drops a parameter."""
    rng = np.random.default_rng(seed)
    levels = {
        "engine_speed": (700.0, 2500.0, 2.0, "rpm"),
        "mass_air_flow": (2.35, 7.9, 0.02, "g/s"),
        "intake_manifold_pressure": (34.0, 31.0, 0.1, "kPa"),
        "throttle_position": (13.0, 19.0, 0.02, "%"),
        "short_term_fuel_trim_bank_1": (0.5, 0.5, 0.5, "%"),
        "long_term_fuel_trim_bank_1": (1.0, 1.0, 0.0, "%"),
        "engine_coolant_temperature": (88.0, 89.0, 0.0, "degC"),
        "intake_air_temperature": (30.0, 30.0, 0.0, "degC"),
        "barometric_pressure": (100.0, 100.0, 0.0, "kPa"),
    }
    series = {}
    for place, (name, (idle, held, noise, unit)) in enumerate(levels.items()):
        if name in changed and changed[name] is None:
            continue
        time_s = np.arange(place * 0.05, SECONDS, 0.5)
        value = np.where((time_s > 60) & (time_s < 100), held, idle)
        value = value * float(changed.get(name) or 1.0) + rng.normal(0, noise, len(time_s))
        series[name] = Series(name, unit, time_s, value)
    return Recording(series, "made.csv")


@pytest.fixture(scope="module")
def healthy() -> Finding:
    return find(recording(), car())


def test_probabilities_sum_to_one_and_are_sorted(healthy: Finding) -> None:
    told = [cause.probability for cause in healthy.causes]
    assert sum(told) == pytest.approx(1.0)
    assert told == sorted(told, reverse=True)
    assert healthy.causes[0].cause == "healthy"


def test_the_prior_can_be_taken_out_again(healthy: Finding) -> None:
    """Dividing by the stated prior and multiplying by another is the finding with that other."""
    flat = dict.fromkeys(healthy.prior, 1.0)
    again = find(recording(), car(), prior=flat)
    weight = {c.cause: c.probability / healthy.prior[c.cause] for c in healthy.causes}
    total = sum(weight.values())
    for cause in again.causes:
        assert cause.probability == pytest.approx(weight[cause.cause] / total, abs=1e-9)


def test_present_counts_a_cause_alone_and_in_pairs(healthy: Finding) -> None:
    leaks = sum(c.probability for c in healthy.causes if "leak" in c.cause.split("+"))
    assert healthy.present["leak"] == pytest.approx(leaks)


def test_the_complaint_moves_the_prior() -> None:
    calm = find(recording(), car(), complaint="none")
    assert calm.prior["healthy"] > 0.9
    assert calm.complaint == "none"


@pytest.mark.parametrize(
    ("results", "disagreeing"),
    [
        ((), {}),
        (("smoke_test=none",), {}),
        (("fuel_delivery=0.6",), {"fuel_delivery": "recording"}),
        (("smoke_test=none", "smoke_test=seen"), {"smoke_test": "itself"}),
    ],
)
def test_which_checks_disagree_is_told_with_the_finding(
    results: tuple[str, ...], disagreeing: dict[str, str]
) -> None:
    finding = find(recording(), car(), results=results)
    assert finding.disagreeing == disagreeing
    assert all(
        any(one.startswith(check.replace("_", " ").capitalize()) for one in finding.warnings)
        for check in disagreeing
    )


def test_metering_that_the_readings_contradict_is_refused() -> None:
    with pytest.raises(FindingError, match='metered by "airflow" but no mass_air_flow'):
        find(recording(mass_air_flow=None), car())
    with pytest.raises(FindingError, match='metered by "pressure" but no intake_manifold'):
        find(recording(intake_manifold_pressure=None), car("pressure"))


def test_an_unthrottled_engine_is_refused() -> None:
    """A diesel idles near ambient pressure."""
    with pytest.raises(FindingError, match="idles unthrottled"):
        find(recording(intake_manifold_pressure=2.9, mass_air_flow=3.0), car())


def test_a_cold_engine_is_refused() -> None:
    with pytest.raises(FindingError, match="cold throughout"):
        find(recording(engine_coolant_temperature=0.2), car())


def test_an_engine_that_is_off_is_refused() -> None:
    with pytest.raises(FindingError, match="the engine is off throughout"):
        find(recording(engine_speed=0.0001), car())


def test_a_reading_that_is_stuck_is_said_once_and_with_its_recording() -> None:
    """What `check` knows of a recording its finding says too."""
    said = "throttle_position stayed at 13 % while engine speed changed: stuck, and left out."
    stuck = still(recording(), "throttle_position", 13.0)
    told = find(stuck, car()).warnings
    assert [one for one in told if "stuck" in one] == [said]
    beside = find(recording(seed=4), car(), also=[replace(stuck, source="second.csv")]).warnings
    assert [one for one in beside if "stuck" in one] == [f"second.csv: {said}"]
    good = find(recording(seed=4), car(), references=[replace(stuck, source="good.csv")]).warnings
    assert [one for one in good if "stuck" in one] == [f"good.csv: {said}"]
    assert not any("stuck" in one for one in find(recording(), car()).warnings)


@pytest.mark.parametrize("shown", [-40.0, 140.0])
def test_an_unplugged_air_temperature_is_said_and_is_no_reading(shown: float) -> None:
    name = "intake_air_temperature"
    told = find(still(recording(), name, shown), car())
    (said,) = (one for one in told.warnings if name in one)
    assert f"reads {shown:.0f} degC, as it does where its sensor is unplugged or shorted" in said
    unread = find(recording(intake_air_temperature=None), car())
    assert told.present == pytest.approx(unread.present)
    cold = find(still(recording(), name, -30.0), car())
    assert not any(name in one for one in cold.warnings)


def still(made: Recording, name: str, value: float) -> Recording:
    """The recording with a parameter that never moves."""
    old = made.series[name]
    held = Series(name, old.unit, old.time_s, np.full(len(old.time_s), value))
    return replace(made, series={**made.series, name: held})


def test_missing_trims_are_said() -> None:
    told = find(recording(short_term_fuel_trim_bank_1=None, long_term_fuel_trim_bank_1=None), car())
    assert any("No fuel trims" in warning for warning in told.warnings)


def test_an_idle_that_fell_throughout_is_perhaps_of_a_cold_engine() -> None:
    """Only where no coolant temperature tells: idle comes down by 120 rpm over the recording."""
    whole = recording()
    old = whole.series["engine_speed"]
    coming_down = np.where(old.value < 1200.0, 120.0 * (1.0 - old.time_s / old.time_s[-1]), 0.0)
    speed = Series(old.name, old.unit, old.time_s, old.value + coming_down)
    falling = {**whole.series, old.name: speed}
    told = find(Recording(falling, "made.csv"), car()).warnings
    assert not any("fell throughout" in warning for warning in told)
    unseen = {n: s for n, s in falling.items() if n != "engine_coolant_temperature"}
    told = find(Recording(unseen, "made.csv"), car()).warnings
    assert any("fell throughout" in warning for warning in told)


def test_a_short_trim_without_its_long_one_is_said() -> None:
    """Half a trim is no total: what the long one makes up already stays unseen."""
    half = find(recording(long_term_fuel_trim_bank_1=None), car())
    assert any("Only the short fuel trim of bank 1" in warning for warning in half.warnings)
    assert not any("Only the short" in warning for warning in find(recording(), car()).warnings)


def test_an_unknown_car_is_wider_than_a_known_one() -> None:
    """Nothing but displacement and metering is enough, and says less."""
    dirty = {"mass_air_flow": 1.0, "throttle_position": 1.35, "seed": 5}
    bare, known = (
        find(recording(**dirty), one).causes  # type: ignore[arg-type]
        for one in (Car(Known(2.0), "airflow"), car(throttle_bore_mm=Known(52.0)))
    )
    for cause in ("deposit", "learned_stale"):
        wide, narrow = (
            math.log(size.high / size.low)
            for causes in (bare, known)
            for one in causes
            if one.cause == cause
            for size in one.sizes.values()
        )
        assert wide > 1.05 * narrow, cause


def test_the_picture_holds_every_point(healthy: Finding) -> None:
    assert len(healthy.picture.points) >= 2
    for point in healthy.picture.points:
        assert point.airflow_speed_density_g_s is not None
        _, low, high = point.airflow_speed_density_g_s
        assert low < high
    assert "healthy" in healthy.picture.trim_curves


def test_a_false_pressure_sensor_makes_one_ask_for_the_displacement() -> None:
    """A car file with another engine's displacement looks just like it."""
    told = find(recording(intake_manifold_pressure=1.9), car())
    assert "pressure_high" in told.causes[0].cause
    assert any("is it 2 L?" in warning for warning in told.warnings)


def test_where_a_deposit_is_likely_the_bore_is_asked_for() -> None:
    known = Car(Known(2.0), "airflow", idle_rpm=Known(700.0))
    bored = Car(Known(2.0), "airflow", idle_rpm=Known(700.0), throttle_bore_mm=Known(60.0))
    for asked, told in ((True, known), (False, bored)):
        finding = find(recording(), told, complaint="rough idle")
        assert {one.cause: one.probability for one in finding.causes}["deposit"] > 0.2
        assert any("throttle_bore_mm" in one for one in finding.warnings) is asked
    healthy = find(recording(), known, complaint="none")
    assert not any("bore" in one for one in healthy.warnings)
    beside = find(recording(), known, references=[recording(seed=4)], complaint="rough idle")
    assert not any("bore" in one for one in beside.warnings)


def test_a_sound_air_path_with_a_complaint_sends_one_elsewhere() -> None:
    """Healthy is no answer to somebody whose engine shakes."""
    for complaint, sent in (("rough idle", True), ("none", False), ("unknown", False)):
        finding = find(recording(), car(), prior={"healthy": 1.0}, complaint=complaint)
        assert finding.causes[0].cause == "healthy"
        assert any("look at ignition" in one for one in finding.warnings) is sent


def test_an_idle_well_below_its_mark_is_said() -> None:
    """Healthy is no answer to an engine that is about to stall, nor is a small stray a symptom."""

    def said(rpm: float, complaint: str, *references: Recording) -> list[str]:
        known = replace(car(), idle_rpm=Known(rpm))
        told = find(recording(), known, references=references, complaint=complaint)
        return [one for one in told.warnings if one.startswith("Warm idle stands at 700 rpm")]

    assert said(700.0, "unknown") == said(760.0, "unknown") == []
    (low,) = said(850.0, "unknown")
    assert "150 below the 850 rpm of the car file" in low
    assert '"low idle"' in low
    assert '"low idle"' not in said(850.0, "stalls")[0]
    assert said(850.0, "unknown", recording(seed=4)) == []
    (beside,) = said(700.0, "unknown", recording(seed=4, engine_speed=1.2))
    assert "140 below the 840 rpm that a reference idled at" in beside


def test_a_low_idle_is_held_against_a_family_only_where_one_is_known() -> None:
    bare = Car(Known(2.0), "airflow")
    (low,) = _low_idles(find(recording(engine_speed=0.6), bare))
    assert "320 below the 740 rpm that most cars idle at. Is its own known?" in low
    (low,) = _low_idles(find(recording(engine_speed=0.6), bare, family=family()))
    assert "285 below the 705 rpm that cars of its family idle at. Is it of that family?" in low


def _low_idles(told: Finding) -> list[str]:
    return [one for one in told.warnings if one.startswith("Warm idle stands at 420 rpm")]


def test_a_low_idle_speaks_for_a_deposit_and_one_a_little_off_its_mark_does_not() -> None:
    """Common practice, no source: a deposit that idle control does not make up for lowers it."""

    def deposit(mark: float) -> float:
        return find(recording(), replace(car(), idle_rpm=Known(mark))).present["deposit"]

    on, little, low = deposit(700.0), deposit(740.0), deposit(850.0)
    assert little < 1.5 * on
    assert 1.5 * on < low < 0.6  # the mark in the car file may be wrong


def test_an_engine_that_came_to_a_stand_is_said_until_the_complaint_says_it() -> None:
    stalled = recording()
    speed = stalled.series["engine_speed"]
    stood = (speed.time_s >= 115) & (speed.time_s < 122)
    still = replace(speed, value=np.where(stood, 0.0, speed.value))
    stalled = replace(stalled, series={**stalled.series, "engine_speed": still})
    unknown, told = (find(stalled, car(), complaint=said) for said in ("unknown", "stalls"))
    (asked,) = [one for one in unknown.warnings if "stood still at 115 s" in one]
    assert '"stalls"' in asked
    (known,) = [one for one in told.warnings if "stood still at 115 s" in one]
    assert '"stalls"' not in known


def test_ethanol_is_asked_for_where_it_could_be_mistaken_and_is_not_known() -> None:
    """It takes more fuel: a rich engine has no use for the question, nor a blend that is told."""

    def asked(trim: float, known: Car) -> bool:
        cause = "fuel_low" if trim > 0 else "fuel_high"
        judged = recording(long_term_fuel_trim_bank_1=trim)
        finding = find(judged, known, prior={cause: 1.0})
        assert finding.causes[0].cause == cause
        return any("ethanol-rich" in one for one in finding.warnings)

    assert asked(18.0, car())
    assert not asked(-18.0, car())
    assert not asked(18.0, replace(car(), ethanol_pct=Known(10.0)))


def test_lukewarm_stretches_that_are_judged_are_not_said_to_be_left_out() -> None:
    finding = find(recording(engine_coolant_temperature=0.6), car())
    assert len(finding.picture.points) >= 2
    assert any("never got warm" in one for one in finding.warnings)
    assert not any("cold engine" in one for one in finding.excluded)


def test_two_recordings_of_one_car_tell_more_than_either() -> None:
    """Fuel 15 % short: the trims of both days say so, and less is left to the day."""
    low: dict[str, float | None] = {"long_term_fuel_trim_bank_1": 15.0}
    one, other = recording(seed=3, **low), recording(seed=4, **low)
    alone, both = find(one, car()), find(one, car(), also=[other])

    def width(finding: Finding) -> float:
        (size,) = next(c for c in finding.causes if c.cause == "fuel_low").sizes.values()
        return size.high - size.low

    assert width(both) < width(alone)
    assert both.causes[0].cause in ("fuel_low", "meter_low")


def test_the_order_of_the_recordings_does_not_matter() -> None:
    """Nor which of them holds the key-on stretch."""
    one = recording(seed=3, intake_manifold_pressure=0.88)
    other = recording(seed=4, mass_air_flow=0.99, intake_manifold_pressure=0.88)
    other = with_key_on(other, 88.0)
    here, there = find(one, car(), also=[other]), find(other, car(), also=[one])
    assert here.present == pytest.approx(there.present, abs=2e-3)


def test_an_idle_and_a_held_speed_recorded_apart_are_as_good_as_together() -> None:
    whole = recording(seed=5)

    def part(begin: float, end: float) -> Recording:
        series = {}
        for name, one in whole.series.items():
            mask = (one.time_s > begin) & (one.time_s < end)
            series[name] = Series(name, one.unit, one.time_s[mask], one.value[mask])
        return Recording(series, f"from {begin:g} s.csv")

    parts = [part(-1.0, 60.0), part(63.0, 99.0)]
    together, apart = find(whole, car()), find(parts[0], car(), also=parts[1:])
    alone = find(parts[0], car())

    def far(finding: Finding) -> float:
        return sum(abs(finding.present[name] - p) for name, p in together.present.items())

    assert far(apart) < max(far(alone), 0.25)


def test_a_recording_is_not_counted_twice() -> None:
    one, other = recording(seed=3), recording(seed=4)
    with pytest.raises(FindingError, match=r"is the same recording as made.csv. Give only one of"):
        find(one, car(), also=[one])
    with pytest.raises(FindingError, match="is the same recording as"):
        find(one, car(), also=[other], references=[other])


def test_a_second_recording_of_a_cold_engine_is_told_and_left_out() -> None:
    cold = recording(seed=4, engine_coolant_temperature=0.2)
    found = find(recording(seed=3), car(), also=[cold])
    assert any("no warm running engine in it" in one for one in found.excluded)
    assert found.present == pytest.approx(find(recording(seed=3), car()).present)


def test_a_bank_with_half_its_trim_is_named_and_the_other_is_in_use() -> None:
    whole = recording()
    short = whole.series["short_term_fuel_trim_bank_1"]
    second = replace(short, name="short_term_fuel_trim_bank_2")
    told = find(Recording({**whole.series, second.name: second}, "made.csv"), car()).warnings
    assert any("Only the short fuel trim of bank 2" in warning for warning in told)
    assert not any("bank 1" in warning or "No fuel trims" in warning for warning in told)


def test_idles_of_several_days_are_not_one_that_falls() -> None:
    def idles_at(rpm: float, seed: int) -> Recording:
        made = recording(seed=seed)
        old = made.series["engine_speed"]
        there = np.where(old.value < 1200.0, old.value - 700.0 + rpm, old.value)
        kept = {n: s for n, s in made.series.items() if n != "engine_coolant_temperature"}
        speed = Series(old.name, old.unit, old.time_s, there)
        return Recording({**kept, old.name: speed}, f"{rpm:g}.csv")

    days = [idles_at(rpm, seed) for seed, rpm in enumerate((790.0, 750.0, 720.0))]
    told = find(days[0], car(), also=days[1:]).warnings
    assert not any("fell throughout" in warning for warning in told)


def test_confusable_causes_name_each_other() -> None:
    """One named the other and was not named by it where it was itself all but excluded."""
    for made in (recording(), recording(long_term_fuel_trim_bank_1=12.0)):
        near = {one.cause: set(one.confusable_with) for one in find(made, car()).causes}
        assert any(near.values())
        assert all(name in near[other] for name, others in near.items() for other in others)
