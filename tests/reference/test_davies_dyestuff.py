"""Spread within and between: the classic one-way example.

Source: O. L. Davies and P. L. Goldsmith (eds.), *Statistical Methods in Research and Production*,
4th ed. (1972), section 6.4: yield of dyestuff of five samples from each of six batches. Mean
squares 11,271.5 between and 2,451.25 within, hence standard deviations of 42.0 and 49.5. Data and
values from memory.
"""

import pytest

from bellmouth.book.spread import spread_of

YIELDS = {
    "A": (1545, 1440, 1440, 1520, 1580),
    "B": (1540, 1555, 1490, 1560, 1495),
    "C": (1595, 1550, 1605, 1510, 1560),
    "D": (1445, 1440, 1595, 1465, 1545),
    "E": (1595, 1630, 1515, 1635, 1625),
    "F": (1520, 1455, 1450, 1480, 1445),
}


def test_variance_components_are_the_books() -> None:
    found = spread_of([YIELDS])
    assert (found.things, found.persons, found.readings) == (1, 6, 30)
    assert found.again is not None
    assert found.other is not None
    assert found.again.value**2 == pytest.approx(2451.25)
    assert found.other.value**2 == pytest.approx((11271.5 - 2451.25) / 5)


def test_the_interval_within_is_the_chi_squared_one() -> None:
    """24 degrees of freedom: chi-squared 13.848 and 36.415 (5 % and 95 %), printed tables."""
    found = spread_of([YIELDS]).again
    assert found is not None
    assert found.low**2 == pytest.approx(24 * 2451.25 / 36.415, rel=1e-4)
    assert found.high**2 == pytest.approx(24 * 2451.25 / 13.848, rel=1e-4)
