"""An engine with two banks: each is believed by its own fuel system, and each is told of."""

import numpy as np
import pytest

from bellmouth.car.description import Car, Known
from bellmouth.finding.find import find
from tests.finding.worked import leaks, meter_reads_low, with_key_on, with_second_bank

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
