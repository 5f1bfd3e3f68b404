"""A plain table is read at once: cell by cell takes twenty times as long."""

from pathlib import Path

import numpy as np
import pytest

from bellmouth.errors import RecordingError
from bellmouth.recording import csv_rows, read_recording


def _table(cell: str) -> str:
    """Three minutes with points as the contract has them: times to the millisecond, a coarse clock
    of the engine's own beside them, and a column of ``cell``."""
    head = (
        "time [s],engine_speed [rpm],time_since_engine_start [s],fuel_rail_pressure_absolute [kPa]"
    )
    rows = (
        f"{row * 0.45:.3f},{700 + row % 3},{row // 2},{cell if row % 4 else '350'}"
        for row in range(400)
    )
    return "\n".join([head, *rows]) + "\n"


@pytest.mark.parametrize("cell", ["", "350", "3.5", "350.0", "3.5000", "1.25"])
def test_points_that_can_mark_decimals_alone_keep_it_quick(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, cell: str
) -> None:
    def slow(*_: object, **__: object) -> None:
        raise AssertionError("read cell by cell")

    monkeypatch.setattr(csv_rows, "patient_rows", slow)
    (path := tmp_path / "plain.csv").write_text(_table(cell))
    read = read_recording(path)
    assert read.series["engine_speed"].value.size == 400
    assert np.ptp(read.series["time_since_engine_start"].value) == 199.0


def test_points_that_may_mark_thousands_are_looked_at(tmp_path: Path) -> None:
    (path := tmp_path / "odd.csv").write_text(_table("3.512"))
    with pytest.raises(RecordingError, match=r'line 3, column "fuel_rail.*may be 3512 or 3\.512'):
        read_recording(path)
