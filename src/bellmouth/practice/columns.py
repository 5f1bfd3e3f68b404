"""Records of many cars side by side: every field is an array with one element a car."""

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Self

import numpy as np
from numpy.typing import NDArray

__all__ = ["Columns", "Floats", "between"]

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Columns:
    """Base of the records below; fields are arrays of shape (cars,)."""

    def __len__(self) -> int:
        return len(getattr(self, fields(self)[0].name))

    def take(self, index: Sequence[int] | NDArray[np.intp] | NDArray[np.bool_]) -> Self:
        """The rows of ``index``, in its order."""
        chosen = np.asarray(index)
        return type(self)(**{f.name: getattr(self, f.name)[chosen] for f in fields(self)})

    @classmethod
    def join(cls, parts: Sequence[Self]) -> Self:
        """The rows of all ``parts`` one after another."""
        return cls(
            **{f.name: np.concatenate([getattr(p, f.name) for p in parts]) for f in fields(cls)}
        )

    def row(self, index: int) -> dict[str, float]:
        """One car's values by field name."""
        return {f.name: float(getattr(self, f.name)[index]) for f in fields(self)}


def between(value: Floats, low: Floats | float, high: Floats | float) -> Floats:
    """``numpy.clip`` without its overhead, which counts in a loop over time steps."""
    return np.asarray(np.minimum(np.maximum(value, low), high))
