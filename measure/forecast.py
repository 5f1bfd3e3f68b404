"""How often the forecast's intervals hold: ``python -m measure.forecast --cars 300 --seed 2``."""

import argparse
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bellmouth.book.forecast import Forecast, forecast
from measure.histories import History, draw_histories

__all__ = ["Told", "covered", "main", "show", "tell"]


@dataclass(frozen=True)
class Told:
    """A history and what was forecast of it, alone or with the cars of its kind."""

    history: History
    found: Forecast


def tell(histories: Sequence[History], *, alike: bool = True) -> list[Told]:
    """Forecast every history."""
    return [Told(one, forecast(one.car, one.alike if alike else ())) for one in histories]


def covered(told: Sequence[Told], width: int, *, days: bool = False) -> float:
    """Share of the truths inside the interval of 50 or 90 %, ends included."""
    inside = []
    for one in told:
        span = one.found.inspect_on if days else one.found.inspect_at_km
        truth = one.history.reached_on if days else one.history.reached_km
        low, high = getattr(span, f"low{width}"), getattr(span, f"high{width}")
        inside.append(low <= truth <= high)
    return float(np.mean(inside))


def show(told: Sequence[Told], title: str) -> None:
    """One line of figures; distances in thousand km."""
    ahead = [one for one in told if one.history.reached_km > one.history.car.visits[-1].km]
    wide = [one.found.inspect_at_km.high90 - one.found.inspect_at_km.low90 for one in told]
    off = [abs(one.found.inspect_at_km.value - one.history.reached_km) for one in told]
    late = np.mean([one.history.reached_km < one.found.inspect_at_km.low90 for one in told])
    early = np.mean([one.history.reached_km > one.found.inspect_at_km.high90 for one in told])
    print(
        f"{title:32} n {len(told):4}  90 %: {covered(told, 90):.3f}  50 %: {covered(told, 50):.3f}"
        f"  days 90 %: {covered(told, 90, days=True):.3f}  not yet reached: n {len(ahead)}, "
        f"90 %: {covered(ahead, 90):.3f}  width {np.median(wide) / 1e3:.0f}  "
        f"off {np.median(off) / 1e3:.1f}  reached before {late:.3f}, after {early:.3f}"
    )


def show_jumps(count: int, seed: int) -> None:
    """How often a jump is noticed, and how often one is claimed that was not there."""
    histories = draw_histories(count, seed + 1000, jumps=True)
    told = tell(histories)
    for low, high in ((0.5, 0.8), (0.8, 1.2), (1.2, 1.6)):
        mine = [one for one in told
                if one.history.odd and low <= abs(one.history.odd.levels) < high]  # fmt: skip
        seen = [one for one in mine if one.found.not_dirt is not None]
        if mine:
            print(f"jumps of {low} to {high} levels: noticed {len(seen)} of {len(mine)}")
    none = [one for one in told if one.history.odd is None]
    false = sum(one.found.not_dirt is not None for one in none)
    print(f"histories with no jump among them: claimed in {false} of {len(none)}")


def main() -> None:
    """Print coverage on histories that nothing was tuned on."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cars", type=int, default=300)
    parser.add_argument("--seed", type=int, default=2)
    given = parser.parse_args()
    histories = draw_histories(given.cars, given.seed)
    together, alone = tell(histories), tell(histories, alike=False)
    show(together, "with the cars of its kind")
    for visits in (3, 4, 5, 6):
        mine = [one for one in together if len(one.history.car.visits) == visits]
        if mine:
            show(mine, f"  {visits} visits")
    show(alone, "alone")
    claimed = sum(one.found.not_dirt is not None for one in together)
    print(f"not dirt claimed in {claimed} of {len(together)} histories that are all dirt")
    show_jumps(given.cars // 2, given.seed)


if __name__ == "__main__":
    main()
