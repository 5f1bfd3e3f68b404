"""Tables whose cells are mostly empty: read as a general reader reads them, or left to it."""

import numpy as np
import polars as pl
import pytest

from bellmouth.recording.csv_sparse import sparse_cells


def _body(cells: list[tuple[int, str]], width: int, separator: str = ",") -> bytes:
    """A row a cell: the time, and one reading in the column that it names."""
    rows = []
    for number, (column, cell) in enumerate(cells):
        row = [f"{0.073 * number:.3f}", *[""] * (width - 1)]
        row[column] = cell
        rows.append(separator.join(row))
    return ("\n".join(rows) + "\n").encode()


def _by_polars(body: bytes, width: int) -> np.ndarray:
    schema = {str(index): pl.Float64() for index in range(width)}
    return pl.read_csv(body, has_header=False, schema=schema).to_numpy().T


def test_every_number_is_the_one_that_a_general_reader_makes_of_it() -> None:
    rng, width = np.random.default_rng(4), 14
    written = [
        f"{rng.normal() * 10.0 ** rng.integers(-4, 6):.{rng.integers(0, 7)}f}" for _ in range(4000)
    ]
    written += ["0", "-0", "-0.0", "7.", "0.1", "-0.000001", "123456789012345", "12345678.901234"]
    body = _body([(1 + n % (width - 1), cell) for n, cell in enumerate(written)], width)
    found = sparse_cells(body, ",", width)
    assert found is not None
    np.testing.assert_array_equal(found, _by_polars(body, width))
    assert np.signbit(found[(~np.isnan(found)) & (found == 0.0)]).sum() >= 2


def test_a_number_without_a_leading_digit_is_read() -> None:
    found = sparse_cells(_body([(1, ".5"), (2, "-.25"), (3, "")], 9), ",", 9)
    assert found is not None
    assert found[1, 0] == 0.5
    assert found[2, 1] == -0.25
    assert np.isnan(found[3:]).all()


@pytest.mark.parametrize("separator", [";", "\t", "|"])
def test_any_separator_will_do(separator: str) -> None:
    found = sparse_cells(_body([(1, "8.5")] * 5, 9, separator), separator, 9)
    assert found is not None
    assert (found[1] == 8.5).all()


@pytest.mark.parametrize(
    "cell",
    ["1e3", "nan", "inf", "x", "-", ".", "--1", "1-", "1.2.3", "1,5", '"1"', " 1", "+1", "1_0",
     "12345678901234.56", "1\n", "\n", "\u0661"],
)  # fmt: skip
def test_what_is_no_plain_decimal_is_left_to_others(cell: str) -> None:
    assert sparse_cells(_body([(1, "1"), (2, cell), (3, "2")], 9), ",", 9) is None


def test_a_full_table_a_ragged_a_long_and_an_empty_one_are_left_to_others() -> None:
    sound = _body([(1, "1")] * 9, 9)
    assert sparse_cells(sound, ",", 9) is not None
    assert sparse_cells(sound, ",", 10) is None
    assert sparse_cells(sound.rstrip(b"\n"), ",", 9) is None
    assert sparse_cells(sound.replace(b"\n", b"\r\n"), ",", 9) is None
    assert sparse_cells(sound[:-1].replace(b",\n", b"\n,", 1) + b"\n", ",", 9) is None
    assert sparse_cells(b"0.0,1.5,2.5\n0.1,1.5,2.5\n", ",", 3) is None
    assert sparse_cells(b"", ",", 9) is None
    assert sparse_cells(sound * 10_000, ",", 9) is None
