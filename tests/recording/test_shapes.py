"""One table in the many shapes that loggers and spreadsheets give it: read the same, or refused."""

import csv
import io
from collections.abc import Callable, Sequence
from importlib import resources
from pathlib import Path

import numpy as np
import pytest

from bellmouth.recording import Recording
from tests.recording.test_readers import PLAIN, read, refuse

DEMO = resources.files("bellmouth").joinpath("data", "demo", "recording.csv").read_text("utf-8")
HEAD, *BODY = list(csv.reader(io.StringIO(DEMO)))
NAMES = [title.partition(" [")[0] for title in HEAD]
UNITS = [title.partition(" [")[2].strip("]") for title in HEAD]
GERMAN = {
    "time [s]": "Zeit [s]",
    "engine_speed [rpm]": "Drehzahl [U/min]",
    "mass_air_flow [g/s]": "Luftmasse [g/s]",
    "intake_manifold_pressure [kPa]": "Saugrohrdruck [KPA]",
    "short_term_fuel_trim_bank_1 [%]": "Kurzzeitkorrektur Bank 1 [%]",
    "long_term_fuel_trim_bank_1 [%]": "Langzeit-Gemischkorrektur Bank 1 [%]",
    "throttle_position [%]": "Drosselklappenstellung [%]",
    "calculated_load [%]": "Berechnete Motorlast [%]",
    "engine_coolant_temperature [degC]": "Kühlmitteltemperatur [°C]",
    "intake_air_temperature [degC]": "Ansauglufttemperatur [°C]",
    "ignition_timing_advance [deg]": "Zündwinkel [°KW]",
    "barometric_pressure [kPa]": "Umgebungsdruck [kPa]",
    "control_module_voltage [V]": "Bordspannung [V]",
    "vehicle_speed [km/h]": "Geschwindigkeit [KM/H]",
}


def written(rows: Sequence[Sequence[str]], mark: str = ",", *, quoted: bool = False) -> str:
    text = io.StringIO()
    if quoted:
        rows = [[f'"{cell}"' for cell in row] for row in rows]
        return "".join(mark.join(row) + "\n" for row in rows)
    csv.writer(text, delimiter=mark, lineterminator="\n").writerows(rows)
    return text.getvalue()


def cells(change: Callable[[str], str]) -> list[list[str]]:
    return [[change(cell) if cell else "" for cell in row] for row in BODY]


def thousands(cell: str, mark: str = ",", decimal: str = ".") -> str:
    whole, _, part = cell.partition(".")
    grouped = f"{int(whole):,}".replace(",", mark)
    sign = "-" if whole == "-0" else ""
    return sign + grouped + (decimal + part if part else "")


def clock(cell: str, begin_s: float = 43_384.25) -> str:
    at = begin_s + float(cell)
    hour, minute = int(at // 3600 % 24), int(at % 3600 // 60)
    return f"{hour:02}:{minute:02}:{at % 60:06.3f}"


def timed(change: Callable[[str], str]) -> list[list[str]]:
    return [[change(row[0]), *row[1:]] for row in BODY]


ENDS = (
    "Total rows: 1389\n",
    "Mittelwert;;\n",
    "\nMin,0,1\nMax,900,2\nMean,700,1.5\n",
    "# end of recording\n",
)
SHAPES: dict[str, str | bytes] = {
    "1.541,5": written([HEAD, *cells(lambda cell: thousands(cell, ".", ","))], ";"),
    "1,541.5 quoted": written([HEAD, *cells(thousands)], quoted=True),
    "1,541.5 and tabs": written([HEAD, *cells(thousands)], "\t"),
    "1 541.5": written([HEAD, *cells(lambda cell: thousands(cell, "\u202f"))]),
    "1'541.5": written([HEAD, *cells(lambda cell: thousands(cell, "'"))], ";"),
    "decimal commas in quotes": written([HEAD, *cells(lambda cell: cell.replace(".", ","))]),
    "a title": "Recording of 3 May, 2026\n\n" + DEMO,
    "lines of cells": 'Date,3 May 2026\nOdometer,"84,300"\nDriver\n' + DEMO,
    "a remark with a bracket": "# of 3 May [cold]\n" + DEMO,
    "a remark in the table": DEMO.replace("\n0.304", "\n# pinched the hose\n0.304"),
    "names as a remark": "# " + DEMO,
    "units below": written([NAMES, UNITS, *BODY]),
    "units below in brackets": written([NAMES, [], [f"[{unit}]" for unit in UNITS], *BODY], ";"),
    "units twice": written([HEAD, UNITS, *BODY]),
    "a title and units below": "Recording 1\n" + written([NAMES, UNITS, *BODY], "\t"),
    "German": written([list(GERMAN.values()), *BODY]),
    "German in Windows letters": written([list(GERMAN.values()), *BODY], ";").encode("cp1252"),
    "Windows quotes": ("\u201eKaltstart\u201c, 10 €\n" + DEMO).encode("cp1252"),
    "UTF-16 with a title": ("Aufnahme 3\n" + DEMO).encode("utf-16"),
    "time of day": written([["Uhrzeit", *HEAD[1:]], *timed(clock)]),
    "through midnight": written([HEAD, *timed(lambda cell: clock(cell, 86_300))]),
    "colons all the way": written([HEAD, *timed(lambda cell: clock(cell).replace(".", ":"))]),
    "hh:mm:ss": written([["time [hh:mm:ss.fff]", *HEAD[1:]], *timed(clock)]),
    "clock and units below": written(
        [["Zeit", *NAMES[1:]], ["hh:mm:ss", *UNITS[1:]], *timed(clock)]
    ),
    "days of a spreadsheet": written(
        [["time [d]", *HEAD[1:]], *timed(lambda cell: f"{46_145.5 + float(cell) / 86_400:.9f}")]
    ),
    "seconds and a clock": written(
        [["Uhrzeit", "Zeit [s]", *HEAD[1:]], *([clock(row[0]), *row] for row in BODY)]
    ),
    "empty columns": "".join(line + ",,\n" for line in DEMO.splitlines()),
    **{f"an end {number}": DEMO + end for number, end in enumerate(ENDS)},
}


def assert_same(found: Recording, wanted: Recording, time_s: float = 0.0) -> None:
    assert found.series.keys() == wanted.series.keys()
    for name, series in wanted.series.items():
        np.testing.assert_allclose(found.series[name].time_s, series.time_s, atol=time_s)
        np.testing.assert_allclose(found.series[name].value, series.value, rtol=1e-12)


@pytest.mark.parametrize("shape", SHAPES)
def test_the_demo_recording_in_every_shape(tmp_path: Path, shape: str) -> None:
    text = SHAPES[shape]
    assert text != DEMO
    assert_same(read(tmp_path, text), read(tmp_path, DEMO), time_s=1e-3)


def test_the_plain_table_says_nothing(tmp_path: Path) -> None:
    assert read(tmp_path, DEMO).notes == ()


@pytest.mark.parametrize(
    ("text", "note"),
    [
        ("3 May\n" + PLAIN, 'Line 1 above the names was passed over: "3 May".'),
        ("A\n\nB\n" + PLAIN, '2 lines above the names were passed over, the first: "A".'),
        (PLAIN + "Mean,700\n", 'The last line, "Mean", is no row of the table and was left out.'),
        (
            PLAIN + "Min,700\nMax,703\n",
            '2 lines below the table, from line 6 ("Min"), were left out.',
        ),
        (PLAIN + "# off\n0.3,704,,\n", "A remark on line 6 was passed over."),
        (
            PLAIN.replace(",", ";").replace(".", ",").replace("703", "1.703"),
            'Column "engine_speed [rpm]": "1.703" on line 5 and others like it were read as '
            "thousands (1703), as decimals have a comma in other cells.",
        ),
        (
            PLAIN.replace("mass_air_flow [g/s]", "Luftmasse [mg/Hub]"),
            'Column "Luftmasse [mg/Hub]" was left out as mass_air_flow: its unit "mg/Hub" is '
            "unknown. Use g/s, kg/h or lb/min.",
        ),
        (
            PLAIN.replace("mass_air_flow", "Drehzahl").replace("g/s", "rpm"),
            'Column "Drehzahl [rpm]" was left out, as another one is the engine_speed.',
        ),
    ],
)  # fmt: skip
def test_what_was_passed_over_is_said(tmp_path: Path, text: str, note: str) -> None:
    assert read(tmp_path, text).notes == (note,)


EITHER = 'idle.csv, line {0}, column "engine_speed [rpm]": "{1}" may be {2} or {3}, and no other '
EITHER += "cell tells which. Write thousands without a mark."


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        # Whole numbers and nothing else: one comma file, one with semicolons.
        (
            "time [s],engine_speed [rpm]\n0,900\n1,1.542\n",
            EITHER.format(3, "1.542", "1542", "1.542"),
        ),
        (
            "time [s];engine_speed [rpm]\n0;900\n1;1,542\n",
            EITHER.format(3, "1,542", "1542", "1.542"),
        ),
        (
            "time [s],engine_speed [rpm]\n0,2.000\n1,3.000\n",
            EITHER.format(2, "2.000", "2000", "2.000"),
        ),
        # Points are decimals elsewhere, but this column counts below a thousand without one.
        (
            "time [s],engine_speed [rpm]\n0.5,900\n1.5,1.542\n",
            EITHER.format(3, "1.542", "1542", "1.542"),
        ),
        (
            "time [s],engine_speed [rpm]\n0.5,2.012\n1.5,1.542\n",
            EITHER.format(2, "2.012", "2012", "2.012"),
        ),
        # Either mark has decimals somewhere.
        (
            "time [s];engine_speed [rpm];mass_air_flow [g/s]\n0,5;2.012;3.5\n1,5;900;3\n",
            EITHER.format(2, "2.012", "2012", "2.012"),
        ),
        # Milliseconds with thousands beside decimals with points.
        (
            "time [ms],engine_speed [rpm]\n500,900.5\n999,901\n1.500,902\n",
            'idle.csv, line 4, column "time [ms]": "1.500" may be 1500 or 1.500, and no other cell '
            "tells which. Write thousands without a mark.",
        ),
        (
            "time [ms],engine_speed [rpm]\n1.000,900\n1.500,901\n2.000,902\n",
            'idle.csv, line 2, column "time [ms]": "1.000" may be 1000 or 1.000, and no other cell '
            "tells which. Write thousands without a mark.",
        ),
        (
            "0.1,700\n0.2,701\n" + PLAIN,
            "idle.csv, line 1: values above the line that names the columns (line 3). Put the "
            "names first, one table a file.",
        ),
        (
            PLAIN.replace("\n0.000", "\nms,rpm,g/s,%\n0.000"),
            'idle.csv, line 2, column "time [s]": its unit here is "ms". Leave the right one.',
        ),
        (
            "time,engine_speed\ns,foo\n0,700\n1,701\n",
            'idle.csv, line 1, column "engine_speed": unknown unit "foo". '
            "Use rpm, 1/min or 1/s.",
        ),
        (
            "time,Uhrzeit,engine_speed [rpm]\n0,10:00:00,700\n1,10:00:01,701\n",
            'idle.csv, line 1, column "time": no unit. Write it as "time [s]", or with another of '
            "s, ms, min or h.",
        ),
        (
            "Zeit [s],Drehzahl\n0,700\n1,701\n",
            "idle.csv, line 1: no column is a parameter known here. Name them after the standard, "
            'such as "engine_speed [rpm]", or give a mapping. Column "Drehzahl" was left out as '
            "engine_speed: it has no unit. Use rpm, 1/min or 1/s.",
        ),
        (
            "Zeit [s],Drehzahl [rpm],Motordrehzahl [rpm]\n0,700,700\n1,701,701\n",
            'idle.csv, line 1, column "Motordrehzahl [rpm]": engine_speed stands twice, first as '
            '"Drehzahl [rpm]". Leave one.',
        ),
        (
            PLAIN.replace("[%]\n", "[%],\n").replace("0.071,,2.31,", "0.071,,2,31,"),
            "idle.csv, line 3: 5 cells where the header names 4 columns. "
            "Write decimals with a point.",
        ),
        (
            PLAIN + "Mean,700\n0.3,704,,\n",
            'idle.csv, line 6, column "time [s]": "Mean" is not a number. '
            "Correct the cell or leave it empty.",
        ),
        (
            PLAIN + "#DIV/0!,700\n",
            'idle.csv, line 6, column "time [s]": "#DIV/0!" is not a number. '
            "Correct the cell or leave it empty.",
        ),
        (
            "time [s],engine_speed [rpm]\n"
            + "".join(f"{46_145 + n / 86_400:.6f},{700 + n}\n" for n in range(60)),
            'idle.csv, column "time [s]": 60 rows in 0.00068 s, where a recording has several a '
            "second. Is it in another unit, such as h or d?",
        ),
    ],
)  # fmt: skip
def test_what_may_be_read_two_ways_is_refused(tmp_path: Path, text: str, sentence: str) -> None:
    assert refuse(tmp_path, text) == sentence


def test_many_lines_of_words_are_no_end(tmp_path: Path) -> None:
    told = refuse(tmp_path, PLAIN + "note,1,2,3\n" * 13)
    assert told.startswith('idle.csv, line 6, column "time [s]": "note" is not a number.')


def test_a_mapping_finds_names_further_down(tmp_path: Path) -> None:
    text = "Run 7\nT;n;m\ns;U/min;kg/h\n0,5;900,5;3,6\n1,5;1.901;7,2\n"
    mapping = {"T": "time", "n": "engine_speed", "m": "mass_air_flow"}
    found = read(tmp_path, text, mapping=mapping)
    assert found.series["engine_speed"].value.tolist() == [900.5, 1901.0]
    assert found.series["mass_air_flow"].value == pytest.approx([1.0, 2.0])


def test_a_misspelt_mapping_is_told_beside_the_names(tmp_path: Path) -> None:
    mapping = {"T": "time [s]", "n": "engine_speed [rpm]", "mm": "mass_air_flow [g/s]"}
    assert refuse(tmp_path, "Run 7\nT;n;m\n0;900;3\n1;901;4\n", mapping=mapping) == (
        'idle.csv, line 2: the mapping names the column "mm", which is not there. Did you mean "m"?'
    )


def test_names_without_brackets_may_stand_again(tmp_path: Path) -> None:
    found = read(tmp_path, "time;engine_speed\ns;rpm\n0;900\ntime;engine_speed\n1;901\n")
    assert found.series["engine_speed"].value.tolist() == [900.0, 901.0]
    assert found.notes == ("The header stands again on line 4; it was passed over.",)


def test_days_with_points_are_the_calendars(tmp_path: Path) -> None:
    text = "time,engine_speed [rpm]\n30.4.2026 23:59:59,700\n2.5.2026 0:00:01,701\n"
    assert read(tmp_path, text).series["engine_speed"].time_s.tolist() == [0.0, 86_402.0]
