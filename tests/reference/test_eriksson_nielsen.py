"""L. Eriksson and L. Nielsen, Modeling and Control of Engines and Drivelines (2014), chapter 7.

The charging expression is quoted from memory (M); the worked values are arithmetic (X).
"""

import re

import pytest

from bellmouth.physics import cylinder
from tests.reference.reading import rows

ROWS = [row for row in rows("mean_value_model") if row["quantity"].startswith("charging")]


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["input"])
def test_charging_rows(row: dict[str, str]) -> None:
    ratio, exhaust, intake = (float(number) for number in re.findall(r"[\d.]+", row["input"]))
    share = float(cylinder.charging_efficiency(ratio, exhaust, intake))
    assert share == pytest.approx(float(row["value"]), abs=6e-7)
