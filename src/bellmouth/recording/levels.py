"""Plateaus gathered into as few operating points as asked for."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bellmouth.recording.grid import STEP_S
from bellmouth.recording.plateaus import Plateau
from bellmouth.recording.stretch import Kind

__all__ = ["Group", "gather"]

# Operating points farther apart than this in any signal are never joined. [tolerances]
FARTHEST = 4.0


@dataclass(frozen=True)
class Group:
    """A stretch to be: its kind and its pieces of the grid (first and stop cells)."""

    kind: Kind
    pieces: list[tuple[int, int]]

    @property
    def start_s(self) -> float:
        """Where the first piece begins. [s]"""
        return min(first for first, _ in self.pieces) * STEP_S

    @property
    def end_s(self) -> float:
        """Where the last piece ends. [s]"""
        return max(stop for _, stop in self.pieces) * STEP_S


def gather(found: Sequence[tuple[Kind, Plateau]], kind: Kind, most: int) -> list[Group]:
    """Plateaus of one kind, at most ``most`` of them.

    The two closest operating points are joined first; where all are far apart the shortest is
    left out.
    """
    ours = [plateau for one, plateau in found if one == kind]
    groups = [Group(kind, [(p.first, p.stop)]) for p in ours]
    levels = [p.level for p in ours]
    cells = [float(p.stop - p.first) for p in ours]
    while len(groups) > most:
        table = np.stack(levels)
        apart = np.abs(table[:, None] - table[None]).max(axis=2)
        apart[np.tril_indices(len(groups))] = np.inf
        one, two = divmod(int(apart.argmin()), len(groups))
        if apart[one, two] > FARTHEST:
            two = int(np.argmin(cells))
        else:
            total = cells[one] + cells[two]
            levels[one] = (levels[one] * cells[one] + levels[two] * cells[two]) / total
            cells[one] = total
            groups[one].pieces.extend(groups[two].pieces)
        del groups[two], levels[two], cells[two]
    return groups
