"""Columns of codes and of words."""

from pathlib import Path

import polars as pl
import pytest

from bellmouth.recording import read_recording
from tests.recording.test_readers import read, refuse


@pytest.mark.parametrize("unit", ["", " []", " [code]", " [bits]", " [-]"])
def test_a_code_needs_no_unit(tmp_path: Path, unit: str) -> None:
    text = f"time [s],engine_speed [rpm],fuel_system_status{unit}\n0,700,2\n1,700,2\n"
    assert set(read(tmp_path, text).series["fuel_system_status"].value) == {2.0}


@pytest.mark.parametrize("ending", ["csv", "parquet"])
def test_a_column_of_words_keeps_nobody_from_reading_the_others(
    tmp_path: Path, ending: str
) -> None:
    """A state or a code, as loggers write them in words; it needs no unit."""
    table = pl.DataFrame(
        {
            "time [s]": [0.5 * n for n in range(40)],
            "engine_speed [rpm]": [700.0 + n % 3 for n in range(40)],
            "Fuel System Status": [
                "Closed loop, using oxygen sensor" if n % 2 else "" for n in range(40)
            ],
            "freeze_frame_trouble_code [code]": ["P0171"] * 40,
        }
    )
    path = tmp_path / f"words.{ending}"
    table.write_csv(path) if ending == "csv" else table.write_parquet(path)
    recording = read_recording(path)
    assert list(recording.series) == ["engine_speed"]
    assert recording.notes == tuple(
        f'Column "{title}" holds words, not numbers, and was left out.'
        for title in ("Fuel System Status", "freeze_frame_trouble_code [code]")
    )


def test_a_word_among_numbers_is_still_refused(tmp_path: Path) -> None:
    rows = [f"{n},{700 + n},{'STOPPED' if n == 3 else 2.5 + n}" for n in range(9)]
    sentence = refuse(
        tmp_path, "\n".join(["time [s],engine_speed [rpm],mass_air_flow [g/s]", *rows])
    )
    assert sentence.startswith('idle.csv, line 5, column "mass_air_flow [g/s]": "STOPPED" is not')
    text = "time [s],engine_speed [rpm]\n0,idle\n1,idle\n2,idle\n3,idle\n"
    assert "is not a number" in refuse(tmp_path, text)
