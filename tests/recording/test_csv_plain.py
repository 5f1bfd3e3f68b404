"""Small plain tables read from their bytes say what any other reader makes of them."""

import io

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bellmouth.recording.csv_plain import plain_columns

CELLS = st.one_of(
    st.just(""),
    st.integers(-(10**6), 10**6).map(str),
    st.decimals(-(10**4), 10**4, places=6).map(lambda value: f"{value:f}"),
)


@given(
    st.integers(2, 5).flatmap(
        lambda width: st.lists(
            st.lists(CELLS, min_size=width, max_size=width), min_size=1, max_size=20
        )
    ),
    st.sampled_from([",", ";", "\t"]),
    st.sampled_from(["\n", "\r\n"]),
    st.booleans(),
)
def test_every_cell_is_the_nearest_number_to_what_is_written(
    rows: list[list[str]], separator: str, end: str, ended: bool
) -> None:
    text = end.join(separator.join(cells) for cells in rows) + (end if ended else "")
    found = plain_columns(text.encode(), separator, len(rows[0]), range(len(rows[0])))
    assert found is not None
    expected = np.array([[float(cell) if cell else np.nan for cell in row] for row in rows])
    np.testing.assert_array_equal(np.stack(found, axis=1), expected)


def test_it_agrees_with_the_general_reader_to_the_last_bit() -> None:
    numbers = np.random.default_rng(5).normal(0.0, 1e3, (300, 3)).round(4)
    body = "\n".join(",".join(map(repr, map(float, row))) for row in numbers).encode()
    frame = pl.read_csv(io.BytesIO(body + b"\n"), has_header=False)
    found = plain_columns(body, ",", 3, [2, 0])
    assert found is not None
    for column, place in zip(found, (2, 0), strict=True):
        np.testing.assert_array_equal(column, frame.to_series(place).to_numpy())


@pytest.mark.parametrize(
    "body",
    [
        "1,2\n3\n", "1,2\n\n3,4\n", "1,2,3\n", "1,nan\n", "1,1e3\n", "1,+2\n", "1, 2\n", "1,2-\n",
        "1,-\n", "1,--2\n", "1,2-3\n", "1,.5\n", "1,5.\n", "1,1.2.3\n", "1,-.5\n", ".,2\n",
        '1,"2"\n', "1,2\r3,4\r", "1,µ\n", "-,1\n", "1,.\n", "",
    ],
)  # fmt: skip
def test_what_is_out_of_the_ordinary_is_left_to_others(body: str) -> None:
    assert plain_columns(body.encode(), ",", 2, [0, 1]) is None


def test_a_large_table_is_left_to_others() -> None:
    assert plain_columns(b"1.5,2.5\n" * 200_000, ",", 2, [0, 1]) is None
