"""Before against after: verdicts on cars whose change is known, and what is refused."""

from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace

import pytest

from bellmouth.car.description import Car, Known, Metering
from bellmouth.errors import FindingError
from bellmouth.finding.courses import AFTER, BEFORE
from bellmouth.finding.needs import needs_of
from bellmouth.finding.proof_result import Proof
from bellmouth.finding.prove import course_weights, prove, solve_pair, works
from bellmouth.finding.verdict import COMMITS, verdict_of
from bellmouth.finding.weights import weights_of
from bellmouth.recording import read_recording
from bellmouth.recording.series import Recording, Series
from bellmouth.recording.steady import stretches
from tests.finding import garage
from tests.finding.worked import healthy, leaks, meter_reads_low, recording

CAR = Car(Known(2.0), "airflow", cylinders=4, banks=1, idle_rpm=Known(700.0))
DATA = Path(__file__).parents[3] / "shared" / "data"


@pytest.fixture(scope="module")
def cured() -> Proof:
    return prove(meter_reads_low(), healthy(), CAR)


def test_a_meter_that_reads_right_again_is_better(cured: Proof) -> None:
    assert cured.verdict == "better"
    assert sum(cured.outcomes.values()) == pytest.approx(1.0)
    change = next(one for one in cured.changes if one.cause == "meter_low")
    assert change.before.low < 0.88 < change.before.high
    assert change.after.value == 1.0
    assert change.change.low < 0.12 < change.change.high


def test_the_same_two_the_other_way_round_are_worse() -> None:
    proof = prove(healthy("before.csv"), meter_reads_low("after.csv"), CAR)
    assert proof.verdict == "worse"
    assert proof.before["meter_low"] < 0.5
    assert proof.after["meter_low"] > 0.9


def test_without_trims_nothing_tells_what_was_mended_from_what_went_wrong() -> None:
    """The meter reads less or more than before: no reading says when it was right."""
    trims = [f"{term}_term_fuel_trim_bank_1" for term in ("short", "long")]

    def without(one: Recording) -> Recording:
        kept = {name: series for name, series in one.series.items() if name not in trims}
        return replace(one, series=kept)

    pair = [without(meter_reads_low("one.csv")), without(healthy("two.csv"))]
    for before, after in (pair, pair[::-1]):
        proof = prove(before, after, CAR)
        assert proof.verdict == "cannot say yet"
        assert proof.outcomes["better"] > proof.outcomes["worse"]
        assert "fuel trims in both recordings" in proof.needs[0].what


def test_a_leak_mended_where_pressure_meters_the_air_is_better() -> None:
    """It stood as open as one that went wrong by the readings' evidence alone, once."""
    made = garage.stretches
    pair = solve_pair(
        made(leak_mm=3.0, metering="pressure"), made(metering="pressure"), (),
        garage.car("pressure"),
    )  # fmt: skip
    proof = verdict_of(pair, course_weights(pair, weights_of(None, "unknown")), healthy())
    assert proof.outcomes["better"] > COMMITS
    assert proof.verdict == "better"
    assert any("a small leak hides" in need.why or "leaks in" in need.why for need in proof.needs)


def test_where_a_small_leak_hides_it_is_as_likely_as_work_leaves_one_behind() -> None:
    """A leak of 1 mm is 5 % of this idle's air; both halves of *better* are told apart."""
    made = garage.stretches
    pair = solve_pair(
        made(deposit_mm2=15.0, metering="pressure"), made(leak_mm=1.0, metering="pressure"), (),
        garage.car("pressure"),
    )  # fmt: skip
    proof = verdict_of(pair, course_weights(pair, {"deposit": 1.0}), healthy())
    table = pair.priors.proof
    came = table["gone_and_new"] * table["new_shares"]["leak"]
    work = table["gone"] + table["gone_and_new"] * (
        table["new_shares"]["leak"] + table["new_shares"]["learned_stale"]
        + 2 * table["new_shares"]["meter_low"]
    )  # fmt: skip
    assert proof.new_leak.expected == pytest.approx(came / work, abs=0.02)
    assert proof.new_leak.probability > 0.5 * proof.new_leak.expected
    assert proof.mended > 0.98
    assert proof.outcomes["better"] < proof.nothing_new + 1e-9
    assert proof.nothing_new < 1.0 - proof.new_leak.probability + 1e-9


def test_what_is_mended_and_what_is_new_are_told_apart() -> None:
    proof = prove(meter_reads_low(), leaks("after.csv"), CAR)
    assert proof.mended > 0.9
    assert proof.nothing_new < 0.1
    same = prove(meter_reads_low(), meter_reads_low("after.csv", seed=11), CAR)
    assert same.mended < 0.1
    assert same.nothing_new > 0.9


def test_nothing_done_is_never_praised() -> None:
    proof = prove(meter_reads_low(), meter_reads_low("after.csv", seed=11), CAR)
    assert proof.verdict == "same"
    assert proof.outcomes["better"] < 0.05


def test_a_leak_that_the_work_opened_is_found_and_sized() -> None:
    """From closed-form physics (choked orifice, constant filling), not the finding's own model."""
    pair = solve_pair(garage.stretches(), garage.stretches(leak_mm=2.0), (), garage.car())
    proof = verdict_of(pair, course_weights(pair, weights_of(None, "unknown")), healthy())
    assert proof.outcomes["worse"] > 0.9
    assert proof.new_leak.probability > 0.9
    assert proof.new_leak.size is not None
    assert proof.new_leak.size.low < 2.0 < proof.new_leak.size.high


def test_a_leak_among_recordings_is_worse() -> None:
    proof = prove(healthy("before.csv"), leaks("after.csv"), CAR)
    assert proof.verdict == "worse"
    assert proof.new_leak.probability > 0.9


def test_an_idle_that_stays_high_with_trims_near_zero_is_learning_not_taken() -> None:
    high = recording(
        "after.csv", 9, engine_speed=(1050.0, 2500.0), mass_air_flow=(3.4, 7.9),
        intake_manifold_pressure=(33.0, 31.0), throttle_position=(14.6, 19.0),
    )  # fmt: skip
    proof = prove(healthy("before.csv"), high, CAR, done=["clean_plate"])
    assert proof.learning_taken < 0.5
    assert proof.verdict == "worse"
    assert any("learning procedure" in need.what for need in proof.needs)


def test_relearning_that_was_done_makes_stale_learning_less_likely() -> None:
    pair = solve_pair(stretches(healthy("b.csv")), stretches(healthy("a.csv", 8)), (), CAR)
    weights = weights_of(None, "unknown")

    def stale(*done: str) -> float:
        table = course_weights(pair, weights, done)
        return sum(w for course, w in table.items() if "learned_stale" in course.held(AFTER)
                   and "learned_stale" not in course.held(BEFORE))  # fmt: skip

    assert stale("clean_plate", "relearn") < stale() < stale("clean_plate")
    assert sum(course_weights(pair, weights).values()) == pytest.approx(1.0)
    assert stale("nothing") < 0.5 * stale()


def test_a_short_recording_after_cannot_be_judged() -> None:
    after = healthy("after.csv")
    cut = {name: _until(series, 12.0) for name, series in after.series.items()}
    proof = prove(meter_reads_low(), Recording(cut, "after.csv"), CAR)
    assert proof.verdict == "cannot say yet"
    assert "another minute of warm idle in closed loop" in [need.what for need in proof.needs]


def _until(series: Series, end_s: float) -> Series:
    keep = series.time_s < end_s
    return Series(series.name, series.unit, series.time_s[keep], series.value[keep])


def test_trims_just_after_a_reset_are_not_praised() -> None:
    before, after = meter_reads_low(), healthy("after.csv")
    time_s = after.series["engine_speed"].time_s[::20]
    clock = Series("time_since_codes_cleared", "min", time_s, time_s * 0.0 + 1.0)
    with_clock = Recording({**after.series, clock.name: clock}, "after.csv")
    proof = prove(before, with_clock, CAR)
    assert proof.verdict == "cannot say yet"
    assert any("reset" in need.why for need in proof.needs)


def test_the_same_recording_twice_is_refused() -> None:
    one = healthy("a.csv")
    with pytest.raises(FindingError, match=r"a\.csv: is the same recording as a\.csv\. Give a rec"):
        prove(one, one, CAR)


def test_two_pieces_of_one_recording_are_refused() -> None:
    whole = healthy("whole.csv")
    piece = {name: _until(series, 60.0) for name, series in whole.series.items()}
    said = r"piece\.csv: holds the same \d+ s of samples as whole\.csv; the two .* after it\."
    with pytest.raises(FindingError, match=said):
        prove(whole, Recording(piece, "piece.csv"), CAR)


def test_other_metering_is_refused() -> None:
    after = healthy("after.csv")
    less = {name: series for name, series in after.series.items() if name != "mass_air_flow"}
    with pytest.raises(FindingError, match=r"after\.csv has no mass_air_flow but before\.csv has"):
        prove(meter_reads_low(), Recording(less, "after.csv"), CAR)


@pytest.mark.parametrize(
    ("metering", "changed", "sentence"),
    [
        ("airflow", {"intake_manifold_pressure": 98.0}, "the engine idles unthrottled"),
        ("airflow", {"mass_air_flow": 0.0}, "mass_air_flow reads 0 g/s at most"),
        (
            "pressure",
            {"intake_manifold_pressure": None},
            "no intake_manifold_pressure was recorded",
        ),
    ],
)
def test_a_recording_after_that_no_finding_could_be_of_is_refused(
    metering: Metering, changed: dict[str, float | None], sentence: str
) -> None:
    """As one before is; the sentence says which of the two it is about."""
    car = replace(CAR, metering=metering)
    good, odd = healthy("good.csv"), healthy("odd.csv", seed=9)
    for name, value in changed.items():
        odd = _levelled(odd, name, value)
    for pair in ((good, odd), (odd, good)):
        with pytest.raises(FindingError, match=rf"^odd\.csv: .*{sentence}"):
            prove(*pair, car)


def _levelled(made: Recording, name: str, value: float | None) -> Recording:
    """The recording with a parameter at one value throughout, or without it."""
    series = dict(made.series)
    old = series.pop(name)
    if value is not None:
        series[name] = Series(name, old.unit, old.time_s, old.value * 0.0 + value)
    return replace(made, series=series)


def test_a_cold_reference_and_dead_sensors_are_said_in_a_proof() -> None:
    cold = recording("cold.csv", 4, engine_coolant_temperature=(20.0, 20.0))
    after = _levelled(healthy("after.csv"), "throttle_position", 13.0)
    before = _levelled(meter_reads_low(), "intake_air_temperature", -40.0)
    told = prove(before, after, CAR, references=[cold]).warnings
    assert "reference cold.csv: no warm running engine in it" in told
    stuck = "throttle_position stayed at 13 % while engine speed changed: stuck, and left out."
    assert [one for one in told if "stuck" in one] == [f"after.csv: {stuck}"]
    assert [one[:11] for one in told if "unplugged" in one] == ["before.csv:"]
    plain = prove(meter_reads_low(), healthy("after.csv"), CAR, references=[healthy("c.csv", 8)])
    assert plain.warnings == ()


def test_the_wrong_way_round_is_thought_of() -> None:
    proof = prove(healthy("before.csv"), meter_reads_low("after.csv"), CAR)
    assert any("BEFORE really from before" in need.what for need in proof.needs)


def test_other_parameters_make_one_ask_whether_it_is_one_car() -> None:
    before, after = meter_reads_low(), healthy("after.csv")
    kept = ("engine_speed", "mass_air_flow", "short_term_fuel_trim_bank_1")
    moved = {
        f"absolute_throttle_position_{letter}": Series(
            f"absolute_throttle_position_{letter}", "%", series.time_s, series.value
        )
        for letter, series in zip("bc", list(after.series.values())[:2], strict=True)
    }
    few = Recording({**{name: after.series[name] for name in kept}, **moved}, "after.csv")
    less = {n: s for n, s in before.series.items() if n not in kept[2:]}
    proof = prove(Recording(less, "before.csv"), few, CAR)
    assert "are they recordings of one car?" in proof.warnings[0]


def test_an_unknown_work_is_refused() -> None:
    with pytest.raises(FindingError, match='work "polish" is not known: use clean_plate, '):
        prove(meter_reads_low(), healthy(), CAR, done=["polish"])
    assert "relearn" in works()


def test_one_work_may_be_told_as_a_word() -> None:
    one, several = (
        prove(meter_reads_low(), healthy(), CAR, done=done)
        for done in ("clean_meter", ["clean_meter"])
    )
    assert one.outcomes == several.outcomes


@pytest.mark.skipif(not DATA.is_dir(), reason=f"real recordings are not at {DATA}")
def test_a_real_healthy_car_on_two_days_is_not_better() -> None:
    """carOBD (public data set, open and free to everyone): nothing was done between its days."""
    car = Car(Known(1.496), "pressure", cylinders=4, banks=1)
    paths = sorted((DATA / "idle").glob("idle_*.csv.gz"))[:6]
    idles = [read_recording(path) for path in paths]
    verdicts = [prove(a, b, car).verdict for a, b in pairwise(idles)]
    assert "better" not in verdicts
    assert verdicts.count("same") >= 3


@pytest.mark.skipif(not DATA.is_dir(), reason=f"real recordings are not at {DATA}")
def test_a_real_meter_that_reads_ten_per_cent_less_is_sized() -> None:
    """Bench runs of one engine (Linköping University): airflow reading 10 % high, and fault-free.

    They hold no trims, so how right the meter is cannot be told; how much it changed can.
    """
    car = Car(Known(2.0), "airflow", cylinders=4, banks=1, turbocharged=True)
    high = read_recording(DATA / "bench" / "meter_reads_1_10.csv.gz")
    right = read_recording(DATA / "bench" / "fault_free.csv.gz")
    change = next(c for c in prove(high, right, car).changes if c.cause == "meter_high")
    assert change.change.low < -0.10 < change.change.high
    assert change.change.high < 0
    turned = prove(right, high, car)
    assert turned.verdict == "cannot say yet"
    assert "fuel trims in both recordings" in turned.needs[0].what


@pytest.mark.parametrize(("stale", "again"), [(0.1, True), (0.5, False)])
def test_one_recording_after_is_asked_for_and_not_two(stale: float, again: bool) -> None:
    """With the learning open, a recording after it is asked for: weather is not what is open."""
    held = SimpleNamespace(kind="held")
    pair = SimpleNamespace(
        stretches=((held,), (held,)), results=(), observations=SimpleNamespace(airflow_metered=True)
    )
    needs = needs_of(pair, "cannot say yet", (), {"learned_stale": stale})  # type: ignore[arg-type]
    assert [one.what.startswith("the idle learning procedure") for one in needs] == [not again]
