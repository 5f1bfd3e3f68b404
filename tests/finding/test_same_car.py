"""Recordings of two cars are refused, and software that was changed in between is said."""

from dataclasses import replace

import pytest

from bellmouth import find, prove
from bellmouth.errors import FindingError
from bellmouth.finding.same_car import other_software
from bellmouth.recording.of_car import OfCar
from tests.finding.test_prove import CAR
from tests.finding.worked import healthy, meter_reads_low

BEFORE = replace(meter_reads_low("before.csv"), of_car=OfCar("a1f", ("CAL-1",), ("0000AAAA",)))
AFTER = healthy("after.csv")


def test_a_proof_over_two_cars_is_refused() -> None:
    other = replace(AFTER, of_car=OfCar("a20"))
    with pytest.raises(FindingError, match=r"after\.csv: is of another car than before\.csv, by"):
        prove(BEFORE, other, CAR)
    with pytest.raises(FindingError, match="is of another car"):
        find(BEFORE, CAR, references=[other])
    with pytest.raises(FindingError, match="is of another car"):
        find(BEFORE, CAR, also=[other])


@pytest.mark.parametrize("vehicle", ["a1f", ""])
def test_one_car_or_one_that_says_nothing_is_proved_as_ever(vehicle: str) -> None:
    found = prove(BEFORE, replace(AFTER, of_car=OfCar(vehicle)), CAR)
    assert found.verdict == "better"
    assert found == prove(replace(BEFORE, of_car=OfCar()), AFTER, CAR)


@pytest.mark.parametrize(
    ("after", "said"),
    [
        (OfCar("a1f", ("CAL-1",), ("0000AAAA",)), ""),
        (OfCar("a1f"), ""),
        (OfCar("a1f", ("CAL-2",), ("0000BBBB",)), "(calibration CAL-1 before, CAL-2 after)"),
        (
            OfCar("", ("CAL-1",), ("0000BBBB",)),
            "(verification number 0000AAAA before, 0000BBBB after)",
        ),
    ],
)
def test_software_that_was_changed_between_is_said(after: OfCar, said: str) -> None:
    told = other_software(BEFORE, replace(AFTER, of_car=after))
    assert (said in "".join(told)) if said else told == ()
    if said.startswith("(cal"):
        proof = prove(BEFORE, replace(AFTER, of_car=after), CAR)
        assert told[0] in proof.warnings
        assert proof.verdict == "better"
