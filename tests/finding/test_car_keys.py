"""What the owner says of the car moves the finding where it bears on air or fuel."""

from dataclasses import replace

import numpy as np
import pytest

from bellmouth.car.description import Car, Known
from bellmouth.finding.case import solve
from bellmouth.finding.observations import observe
from bellmouth.finding.sizes import sizes_of
from bellmouth.recording.stretch import Stretch
from tests.finding.garage import car, reading, stretches


def loaded() -> tuple[Stretch, ...]:
    """The garage's engine, and 2,500 rpm under load: its plate is fed with what nothing tells."""
    made = stretches()
    pulling = replace(
        made[2],
        kind="drive",
        readings={**made[2].readings, "intake_manifold_pressure": reading(70.0, 0.15)},
    )
    return (*made, pulling)


@pytest.mark.parametrize(("told", "points"), [(None, 4), (False, 4), (True, 3)])
def test_under_load_a_blower_without_a_sensor_leaves_the_plate_out(
    told: bool | None, points: int
) -> None:
    model = solve(loaded(), [], car(turbocharged=told)).model
    assert len(model.places["plate"]) == points
    assert len(model.places["filling"]) == 4


def test_a_boost_sensor_tells_what_feeds_the_plate_whatever_the_owner_says() -> None:
    fed = tuple(
        replace(one, readings={**one.readings, "boost_pressure": reading(kpa, 0.3)})
        for one, kpa in zip(loaded(), (100.0, 100.0, 100.0, 130.0), strict=True)
    )
    for told in (None, True):
        assert len(solve(fed, [], car(turbocharged=told)).model.places["plate"]) == 4


def test_a_leak_may_be_nearer_to_the_bank_that_was_not_recorded() -> None:
    """One bank's trim then tells less of the leak that both share."""
    leaking = stretches(leak_mm=2.0)
    wide, narrow = (np.ptp(_ninety(leaking, replace(car(), banks=banks))) for banks in (2, 1))
    assert wide > 2.0 * narrow
    both = tuple(
        replace(
            one,
            readings={
                **one.readings, "log_total_trim_bank_2": one.readings["log_total_trim_bank_1"],
            },
        )
        for one in leaking
    )  # fmt: skip
    assert np.ptp(_ninety(both, car())) < wide


def _ninety(made: tuple[Stretch, ...], known: Car) -> tuple[float, float]:
    size = sizes_of(solve(made, [], known))["leak"]["leak"]
    return float(np.log(size.low)), float(np.log(size.high))


def test_an_intake_temperature_that_only_the_owner_told_is_as_sure_as_he_is() -> None:
    bare = tuple(
        replace(
            one,
            readings={n: r for n, r in one.readings.items() if n != "intake_air_temperature"},
        )
        for one in stretches()
    )
    told = [
        observe(bare, [stretches()], car(ambient_air_temperature_c=Known(20.0, sd)))
        for sd in (0.0, 29.3)
    ]
    assert [list(one.intake_log_sd.round(3)) for one in told] == [[0.0, 0.0], [0.1, 0.0]]
    assert told[0].intake_k[0] == pytest.approx(293.15)
    untold = observe(bare, [], car())
    assert untold.intake_k[0] == pytest.approx(303.15)
    assert untold.intake_log_sd[0] == pytest.approx(12.0 / 303.15)
    # Beside a reference what the air was is half of what is compared.
    sure, unsure = (
        solve(bare, [stretches()], car(ambient_air_temperature_c=Known(30.0, sd)))
        for sd in (0.0, 40.0)
    )
    place = sure.model.unknowns.block("heating", 2)
    assert list(sure.model.unknowns.sd[place]) == pytest.approx([0.02, 0.02])
    assert list(unsure.model.unknowns.sd[place]) == pytest.approx([0.1335, 0.02], rel=1e-2)


def test_how_many_cylinders_there_are_is_for_the_job_card_alone() -> None:
    four, six = (
        solve(stretches(leak_mm=2.0), [], replace(car(), cylinders=n)).log_evidence for n in (4, 6)
    )
    assert four == pytest.approx(six, abs=0.0)
