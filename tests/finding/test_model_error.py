"""The laws' own misfit: what points have in common, what a wide range of flow adds, and which
points are not asked at all; a real engine's whole map accuses nobody.

Source of the map: a 2.0 l engine of a university's engine laboratory, public in the repository
``akkaniclas/TSFS09-Projekt`` (``EngineMapTSFS09.mat``). It is read where it lies and skipped where
that folder is absent.
"""

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from bellmouth.finding.case import Case, solve
from bellmouth.recording.stretch import Stretch
from measure.real_map import MAP_CAR, throttled_points
from tests.finding.garage import car, reading, stretches
from tests.finding.test_infer import probabilities

MAP = Path(__file__).parents[3] / "shared" / "data" / "map" / "engine_2_0_l.csv"


def _at(made: tuple[Stretch, ...], kpa: float, flow_share: float) -> tuple[Stretch, ...]:
    """The last stretch at another pressure and flow; the air and the opening need not fit."""
    last = made[-1].readings
    last["intake_manifold_pressure"] = reading(kpa, 0.15)  # type: ignore[index]
    air = last["mass_air_flow"].value * flow_share
    last["mass_air_flow"] = reading(air, 0.004 * air)  # type: ignore[index]
    return made


def _misfit(case: Case, scale: int, channel: str) -> NDArray[np.float64]:
    """What the covariance of a channel holds, (points, points)."""
    chosen = case.model.channels == channel
    return np.asarray(case.covariances[scale][np.ix_(chosen, chosen)])


def test_every_covariance_can_be_factorised() -> None:
    for case in (solve(stretches(), [], car()), solve(stretches(), [stretches()], car())):
        for one in case.covariances:
            assert np.allclose(one, one.T)
            assert np.linalg.eigvalsh(one).min() > 0


def test_the_plates_misfit_is_another_at_another_pressure_ratio() -> None:
    """At one flow two points of one pressure share most of it, of two pressures little."""

    def shared(kpa: float) -> float:
        made = stretches()
        flow = made[1].value("mass_air_flow") / made[2].value("mass_air_flow")
        made[1].readings["intake_manifold_pressure"] = reading(66.0, 0.15)  # type: ignore[index]
        plate = _misfit(solve(_at(made, kpa, flow), [], car()), 0, "plate")
        return float(plate[1, 2] / np.sqrt(plate[1, 1] * plate[2, 2]))

    assert shared(66.0) > 0.6
    assert shared(45.0) < shared(66.0) / 3


def test_both_laws_may_run_off_over_a_wide_range_of_flow() -> None:
    """In the wide scale only, and the more the farther from idle."""

    def spread(scale: int, channel: str, share: float) -> float:
        case = solve(_at(stretches(), 60.0, share), [], car())
        return float(_misfit(case, scale, channel)[-1, -1])

    for channel in ("filling", "plate"):
        assert spread(1, channel, 4.0) > spread(1, channel, 1.0) + 0.02
        assert spread(0, channel, 4.0) == pytest.approx(spread(0, channel, 1.0), rel=0.2)


def test_near_full_load_a_recording_alone_is_not_asked_of_its_air() -> None:
    """A healthy engine's own filling falls off there as a leak would make it; a reference tells."""
    near = _at(stretches(), 85.0, 3.0)
    alone, beside = solve(near, [], car()), solve(near, [stretches()], car())
    for channel in ("filling", "plate"):
        assert (alone.model.channels == channel).sum() == 2
        assert (beside.model.channels == channel).sum() == 6


@pytest.mark.skipif(not MAP.is_file(), reason=f"the real engine's map is not at {MAP}")
def test_a_real_engines_whole_map_accuses_nobody() -> None:
    """Every other of 147 points, healthy as far as is known, is no fault for certain."""
    found = probabilities(solve(throttled_points(MAP)[::2], [], MAP_CAR))
    faults = {name: one for name, one in found.items() if name not in ("healthy", "unexplained")}
    assert max(faults.values()) < 0.5
