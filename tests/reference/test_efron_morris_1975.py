"""Shares of few cases lean on each other as far as they should: a worked example.

Source: B. Efron and C. Morris, *Data analysis using Stein's estimator and its generalizations*,
Journal of the American Statistical Association 70 (1975) 311-319, table 1: hits of eighteen
players in their first 45 times at bat of 1970, and their averages over the rest of the season.
From memory. Their estimator is another one (Stein's, on transformed averages), so values are
compared to within .015, and the gain to a factor.
"""

import numpy as np
import pytest

from bellmouth.book.shares import shares_of

AT_BAT = 45
HITS = (18, 17, 16, 15, 14, 14, 13, 12, 11, 11, 10, 10, 10, 10, 10, 9, 8, 7)
REST = (
    0.346, 0.298, 0.276, 0.222, 0.273, 0.270, 0.263, 0.210, 0.269, 0.230, 0.264, 0.256, 0.303,
    0.264, 0.226, 0.286, 0.316, 0.200,
)  # fmt: skip
STEIN = {18: 0.290, 17: 0.286, 16: 0.281, 15: 0.277, 14: 0.273, 13: 0.268, 12: 0.264, 11: 0.259,
         10: 0.254, 9: 0.249, 8: 0.244, 7: 0.239}  # fmt: skip


@pytest.fixture(scope="module")
def values() -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    return np.array([one.value for one in shares_of([(hits, AT_BAT) for hits in HITS])])


def test_each_leans_as_far_as_in_the_paper(
    values: np.ndarray[tuple[int], np.dtype[np.float64]],
) -> None:
    assert values == pytest.approx([STEIN[hits] for hits in HITS], abs=0.015)


def test_leaning_foretells_the_rest_of_the_season_better(
    values: np.ndarray[tuple[int], np.dtype[np.float64]],
) -> None:
    """Total squared errors in the paper: .077 of the averages themselves, .022 of Stein's."""
    rest, alone = np.array(REST), np.array(HITS) / AT_BAT
    apart = float(((alone - rest) ** 2).sum())
    assert apart == pytest.approx(0.077, abs=0.002)
    assert float(((values - rest) ** 2).sum()) < 0.35 * apart
