"""What every file format hands on: the header's columns as arrays, and where each row stood."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from bellmouth.recording.header import Header
from bellmouth.recording.of_car import OfCar
from bellmouth.recording.series import Floats

__all__ = ["DAMAGED_SHARE", "Rows", "odd_cells"]

#: At most this share of a file's rows may be damaged and left out; where more are, the file is not
#: what it is taken for (ours).
DAMAGED_SHARE = 0.01


@dataclass(frozen=True)
class Rows:
    """A table as it stood in the file, units not yet converted.

    ``time`` and the arrays of ``cells`` (by parameter) have one element a row; an empty cell is
    NaN, a cell that said NaN or infinity is infinite or counted in ``notes``. ``place`` names the
    row of an index for an error message (``line 17``). ``of_car`` is which car it says it is of,
    ``loads_off`` whether it says that loads were off, ``steps`` how finely it says that readings
    are known, in their units.
    """

    header: Header
    time: Floats
    cells: Mapping[str, Floats]
    place: Callable[[int], str]
    notes: tuple[str, ...] = ()
    of_car: OfCar = field(default=OfCar())
    loads_off: bool = False
    steps: Mapping[str, float] = field(default_factory=dict)


def odd_cells(title: str, count: int) -> str:
    """What is said of a column's cells that hold no finite number."""
    cells = "1 cell was" if count == 1 else f"{count} cells were"
    return f'Column "{title}": {cells} NaN or infinite and left out.'
