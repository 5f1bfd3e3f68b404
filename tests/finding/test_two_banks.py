"""An engine with two banks: each is believed by its own fuel system, and each is told of."""

from dataclasses import replace

import numpy as np
import pytest

from bellmouth.car.description import Car, Known
from bellmouth.finding.case import solve
from bellmouth.finding.find import find
from bellmouth.finding.prove import prove
from bellmouth.recording.series import Recording
from bellmouth.recording.steady import stretches
from tests.finding.worked import (
    healthy,
    leaks,
    meter_reads_low,
    recording,
    with_key_on,
    with_second_bank,
)

CAR = Car(Known(2.0), "airflow", idle_rpm=Known(700.0))
FAULT = 8.0  # open loop because of a fault


def test_trims_of_a_bank_in_open_loop_say_nothing_and_that_is_said() -> None:
    """They stand at nothing while its loop is open: a meter that reads low seemed a leak."""
    alone = find(meter_reads_low(), CAR)
    told = find(with_second_bank(meter_reads_low(), 0.0, status=FAULT), CAR)
    assert told.present == pytest.approx(alone.present, abs=1e-6)
    assert any("trims of bank 2 in 3 stretches" in one for one in told.excluded)


def test_a_bank_whose_first_sensor_is_broken_does_not_silence_the_other() -> None:
    made = with_second_bank(leaks(), status=2.0)
    status = made.series["fuel_system_status"]
    status.value[:] = FAULT
    for term in ("short", "long"):
        made.series[f"{term}_term_fuel_trim_bank_1"].value[:] = 0.0
    told = find(made, CAR)
    assert told.present["leak"] > 0.9
    assert any("trims of bank 1 in 3 stretches" in one for one in told.excluded)


def test_a_status_of_nothing_is_no_second_fuel_system() -> None:
    """So it stands on engines whose banks are one system."""
    whole, second = (find(with_second_bank(leaks(), status=s), CAR) for s in (None, 0.0))
    assert second.present == pytest.approx(whole.present, abs=1e-9)
    assert not second.excluded


def test_a_key_on_stretch_is_not_said_to_be_open_loop() -> None:
    assert find(with_key_on(leaks(), 100.0), CAR).excluded == ()


def test_both_banks_in_open_loop_are_one_engine_in_open_loop() -> None:
    made = with_second_bank(leaks(), status=FAULT)
    made.series["fuel_system_status"].value[:] = 4.0
    told = find(made, CAR)
    assert [one for one in told.excluded if "trims" in one] == ["trims of 3 open-loop stretches"]
    assert not np.isfinite([p.total_trim_pct or np.nan for p in told.picture.points]).any()


def _second_leaks() -> Recording:
    """A leak that only the second bank makes up for."""
    made = with_second_bank(leaks(), 1.9)
    for term, pct in (("short", 0.5), ("long", 1.0)):
        made.series[f"{term}_term_fuel_trim_bank_1"].value[:] = pct
    return made


def test_the_bank_that_speaks_for_a_cause_is_told() -> None:
    told = find(_second_leaks(), CAR)
    first = next(one for one in told.evidence if "total trim" in one.what)
    assert first.what.startswith("leak: total trim of bank 2 +44")
    assert first.readings == ("short_term_fuel_trim_bank_2", "long_term_fuel_trim_bank_2")


def test_a_second_bank_alone_is_told_and_drawn() -> None:
    made = _second_leaks()
    series = {name: one for name, one in made.series.items() if not name.endswith("trim_bank_1")}
    told = find(replace(made, series=series), CAR)
    assert any("total trim of bank 2 +44" in one.what for one in told.evidence)
    trims = [point.total_trim_pct for point in told.picture.points]
    assert trims[0] is not None
    assert trims[0][0] == pytest.approx(44.0, abs=1.0)


def test_one_bank_needs_no_number() -> None:
    told = find(leaks(), CAR)
    assert any(one.what.startswith("leak: total trim +23") for one in told.evidence)


def test_a_picture_shows_the_mean_of_both_banks_and_what_causes_make_of_it() -> None:
    point = find(_second_leaks(), CAR).picture.points[0]
    assert point.total_trim_pct is not None
    mean = np.expm1(np.log(1.015 * 1.442) / 2) * 100
    assert point.total_trim_pct[0] == pytest.approx(mean, abs=0.5)
    assert point.total_trim_by_cause_pct["leak"] == pytest.approx(mean, abs=5.0)


def test_a_proofs_points_show_both_banks() -> None:
    after = with_second_bank(healthy())
    first = prove(_second_leaks(), after, CAR).points[0]
    assert first.total_trim_pct == pytest.approx(21.0, abs=1.0)


def _one_bank_off(share: float, *, held: bool = True) -> Recording:
    """A sound engine whose second bank's trims stand off by one share at every speed."""
    made = with_second_bank(recording("banks.csv", 5, held=held))
    made.series["long_term_fuel_trim_bank_2"].value[:] += 100.0 * share
    return made


@pytest.mark.parametrize(("share", "higher"), [(0.16, 2), (-0.14, 1)])
def test_a_bank_that_is_off_at_every_flow_is_no_leak(share: float, higher: int) -> None:
    """An injector or oxygen sensor of one bank: a leak had the probability, at -14 %, too."""
    told = find(_one_bank_off(share), CAR)
    assert told.causes[0].cause == "unexplained"
    assert told.causes[0].probability > 0.9
    (where,) = [one for one in told.warnings if one.startswith("The trims of bank ")]
    assert f"The trims of bank {higher} stand 16 % above those of bank {3 - higher}," in where
    assert "look at the injectors of bank 2, at its oxygen sensor" in where
    first = told.evidence[0]
    assert first.what.startswith("total trim of bank 2 against bank 1's, ")
    assert first.readings[-1] == "long_term_fuel_trim_bank_2"
    assert not any(one.what.startswith("leak:") for one in told.evidence)


def test_a_leak_near_one_bank_and_banks_a_little_apart_are_explained() -> None:
    assert find(_second_leaks(), CAR).present["leak"] > 0.9
    for share in (0.03, 0.07):  # banks of sound engines are within 5 % of each other, or nearly
        told = find(_one_bank_off(share), CAR)
        assert told.causes[0].cause == "healthy"
        assert not any("those of bank" in one for one in told.warnings)


def test_one_bank_off_at_idle_alone_may_be_no_leak_and_that_is_said() -> None:
    """The trims of one airflow cannot tell a leak near a bank from that bank's own fuelling."""
    alone = [find(_one_bank_off(share, held=False), CAR) for share in (0.08, 0.14)]
    assert alone[0].present["leak"] < 0.6  # it had been .87
    for told, more in zip(alone, ("8 %", "14 %"), strict=True):
        (said,) = [one for one in told.warnings if "at one airflow alone" in one]
        assert f"The trims of bank 2 stand {more} above those of bank 1," in said
        assert "hold 2,500 rpm" in said
    assert not any("at one airflow" in one for one in find(_second_leaks(), CAR).warnings)


def test_a_proof_over_a_bank_that_was_off_is_held_back() -> None:
    """It said that a leak was gone."""
    proof = prove(_one_bank_off(0.16), with_second_bank(healthy("after.csv", 8)), CAR)
    assert proof.withheld
    assert any("something else is wrong" in one for one in proof.warnings)


def test_trims_of_one_bank_alone_are_known_as_well_as_before() -> None:
    """How far banks differ is asked of two; of one it would only blur what its trims say."""
    for made, name in ((healthy(), "alone"), (with_second_bank(healthy()), "split")):
        case = solve(stretches(made), [], CAR)
        told = case.model.unknowns.sd[case.model.unknowns.index("bank_split")]
        assert told == case.priors.fuel[f"log_bank_{name}"]
