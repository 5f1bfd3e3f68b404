"""SAE J2012 / ISO 15031-6: two-byte layout of trouble codes, from memory (M)."""

import pytest

from bellmouth.j1979 import codes
from tests.reference.reading import rows


@pytest.mark.parametrize("row", rows("dtc"), ids=lambda row: row["code"])
def test_rows_both_ways(row: dict[str, str]) -> None:
    data = bytes.fromhex(row["hex"])
    assert codes.decode_code(data) == row["code"]
    assert codes.encode_code(row["code"]) == data
