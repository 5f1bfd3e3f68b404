"""Mean-value engine model, E. Hendricks et al., SAE 960037, from memory (M), worked values (X)."""

import re

import numpy as np
import pytest

from bellmouth.physics import cylinder, orifice
from tests.reference.reading import rows

ROWS = [(row["quantity"], row["input"], float(row["value"])) for row in rows("mean_value_model")]


def inputs(text: str) -> list[float]:
    """Numbers after the equals signs of a text such as ``p_bar=0.35 rpm=700``."""
    return [float(number) for number in re.findall(r"=([\d.]+)", text)]


@pytest.mark.parametrize(("given", "value"), [r[1:] for r in ROWS if r[0] == "beta2"])
def test_throttle_factor(given: str, value: float) -> None:
    factor = float(cylinder.mean_value_throttle_factor(inputs(given)[0]))
    # At the joint itself the fit's root is 5e-5 above one.
    assert factor == pytest.approx(value, abs=6e-5)


@pytest.mark.parametrize(
    ("given", "value"), [r[1:] for r in ROWS if r[0].startswith("isentropic flow factor")]
)
def test_isentropic_factor_beside_it(given: str, value: float) -> None:
    factor = float(orifice.flow_function(inputs(given)[0])) / orifice.CHOKED_FLOW_FUNCTION
    assert factor == pytest.approx(value, abs=6e-7)


@pytest.mark.parametrize(
    ("given", "value"), [r[1:] for r in ROWS if r[0].startswith("volumetric efficiency")]
)
def test_filling_times_pressure(given: str, value: float) -> None:
    bar = inputs(given)[0]
    assert float(cylinder.mean_value_filling(bar * 1e5)) * bar == pytest.approx(value, abs=6e-5)


@pytest.mark.parametrize(("given", "value"), [r[1:] for r in ROWS if r[0].startswith("port air")])
def test_port_air_flow(given: str, value: float) -> None:
    bar, rpm = inputs(given)
    filling = cylinder.mean_value_filling(bar * 1e5)
    flow = cylinder.speed_density_kg_s(filling, bar * 1e5, 1.275e-3, rpm / 60.0, 300.0)
    # The model takes R = 287 J/(kg K), we 287.05.
    assert float(flow) * 1e3 == pytest.approx(value * 287.0 / 287.05, rel=3e-6)


def test_the_fit_departs_from_isentropic_flow_as_stated() -> None:
    # 6 % at a pressure ratio of 0.7, 10 % at 0.95: why it must not check an isentropic function.
    isentropic = orifice.flow_function([0.7, 0.95]) / orifice.CHOKED_FLOW_FUNCTION
    fit = cylinder.mean_value_throttle_factor([0.7, 0.95])
    np.testing.assert_allclose(1.0 - fit / isentropic, [0.065, 0.10], atol=2e-3)
