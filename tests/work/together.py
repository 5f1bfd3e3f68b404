"""Works that may stand on one card."""

from itertools import combinations

from bellmouth.work import WORKS

__all__ = ["AIR_WORKS", "TOGETHER"]

#: The fullest card: every work but that on the fuel, which goes with no cleaning.
AIR_WORKS = tuple(work for work in WORKS if work != "mend_fuel")
#: Every set of works that a card can hold.
TOGETHER = tuple(
    chosen
    for count in range(1, len(WORKS) + 1)
    for chosen in combinations(WORKS, count)
    if "mend_fuel" not in chosen or not {"clean_plate", "clean_meter"} & set(chosen)
)
