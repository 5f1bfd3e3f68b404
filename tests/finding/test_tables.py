"""Values between a table's entries, against numpy's own and against a plane."""

import numpy as np
import pytest

from bellmouth.finding.tables import between, between_both, places

GRID = np.array([0.0, 0.1, 0.4, 1.0])
AT = np.array([-1.0, 0.0, 0.05, 0.25, 0.7, 1.0, 2.0])


def test_one_column_is_what_numpy_finds() -> None:
    table = np.array([3.0, -1.0, 2.0, 7.0])
    expected = np.interp(AT, GRID, table)
    assert between(table, places(AT, GRID)) == pytest.approx(expected)
    many = np.stack([table, 2.0 * table], axis=1)
    assert between(many, places(AT, GRID)) == pytest.approx(np.stack([expected, 2 * expected], 1))


def test_a_plane_is_a_plane_between_its_entries_and_flat_beyond_them() -> None:
    columns = np.linspace(-2.0, 2.0, 9)
    table = 5.0 * GRID[:, None] - 3.0 * columns
    across = np.array([-9.0, -2.0, -1.9, 0.3, 1.2, 2.0, 9.0])
    found = between_both(table, places(AT, GRID), places(across, columns))
    expected = 5.0 * np.clip(AT, 0.0, 1.0) - 3.0 * np.clip(across, -2.0, 2.0)
    assert found == pytest.approx(expected)
