"""The process fit finds what was put in; real sizes stay where the docs quote them."""

import numpy as np
import pytest

from measure import DATA
from measure.model_error import filling_residual, fit_process, map_points


def test_spread_and_length_of_a_drawn_process_are_found() -> None:
    rng = np.random.default_rng(4)
    place = np.sort(rng.uniform(0.0, 12.0, 160))[:, None]
    distance = (place - place.T) ** 2
    covariance = 0.08**2 * np.exp(-0.5 * distance) + 0.02**2 * np.eye(160)
    drawn = np.linalg.cholesky(covariance) @ rng.standard_normal(160)
    found = fit_process(place, drawn, (0.5,))
    assert found.spread == pytest.approx(0.08, rel=0.35)
    assert found.local == pytest.approx(0.02, rel=0.25)
    assert found.lengths[0] == pytest.approx(1.0, rel=0.3)


@pytest.mark.skipif(not DATA.is_dir(), reason=f"real recordings are not at {DATA}")
def test_the_real_engines_filling_leaves_about_a_tenth() -> None:
    residual, _ = filling_residual(map_points(DATA / "map" / "engine_2_0_l.csv"))
    # The data's own description: 9 % for a law with one parameter more.
    assert 0.08 < float(np.std(residual)) < 0.14
