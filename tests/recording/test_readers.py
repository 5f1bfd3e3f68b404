"""What a reader accepts, mends and refuses, and in which words."""

import gzip
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bellmouth.errors import BellmouthError, RecordingError
from bellmouth.recording import Recording, read_recording

PLAIN = """time [s],engine_speed [rpm],mass_air_flow [g/s],short_term_fuel_trim_bank_1 [%]
0.000,702.5,,
0.071,,2.31,
0.142,,,-1.5625
0.213,703,,
"""


def read(tmp_path: Path, text: str | bytes, name: str = "idle.csv", **options: object) -> Recording:
    path = tmp_path / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_recording(path, **options)  # type: ignore[arg-type]


def refuse(tmp_path: Path, text: str | bytes, **options: object) -> str:
    with pytest.raises(RecordingError) as caught:
        read(tmp_path, text, **options)  # type: ignore[arg-type]
    return str(caught.value)


def test_each_parameter_has_its_own_times(tmp_path: Path) -> None:
    recording = read(tmp_path, PLAIN)
    assert recording.series["engine_speed"].time_s.tolist() == [0.0, 0.213]
    assert recording.series["engine_speed"].value.tolist() == [702.5, 703.0]
    assert recording.series["mass_air_flow"].value.tolist() == [2.31]
    assert recording.series["short_term_fuel_trim_bank_1"].value.tolist() == [-1.5625]
    assert recording.notes == ()
    assert recording.unmapped == ()
    assert recording.source == "idle.csv"


@pytest.mark.parametrize(
    "text",
    [
        PLAIN.replace("\n", "\r\n"),
        "\ufeff" + PLAIN,
        PLAIN.replace("time [s],", '"time [s]",'),
        PLAIN.replace("702.5", " 702.5 "),
        PLAIN.replace("702.5", '"702.5"'),
        "\n" + PLAIN,
        PLAIN.replace("engine_speed", "Engine Speed"),
        PLAIN.replace(",", "\t"),
        PLAIN.replace(",", ";").replace("702.5", "702,5").replace("2.31", "2,31"),
    ],
    ids=["crlf", "mark", "quotes", "spaces", "quoted", "blank", "case", "tabs", "semicolons"],
)
def test_ways_of_writing_a_table_read_the_same(tmp_path: Path, text: str) -> None:
    recording = read(tmp_path, text)
    assert recording.series["engine_speed"].value.tolist() == [702.5, 703.0]
    assert recording.series["mass_air_flow"].value.tolist() == [2.31]


def test_gzip_and_parquet_read_like_csv(tmp_path: Path) -> None:
    plain = read(tmp_path, PLAIN)
    zipped = read(tmp_path, gzip.compress(PLAIN.encode()), "idle.csv.gz")
    table = pl.read_csv(PLAIN.encode(), infer_schema_length=None)
    table.write_parquet(tmp_path / "idle.parquet")
    for other in (zipped, read_recording(tmp_path / "idle.parquet")):
        assert list(other.series) == list(plain.series)
        for name, series in plain.series.items():
            np.testing.assert_array_equal(other.series[name].time_s, series.time_s)
            np.testing.assert_array_equal(other.series[name].value, series.value)


def test_units_are_converted_to_the_parameters_own(tmp_path: Path) -> None:
    recording = read(
        tmp_path,
        "time [ms],mass_air_flow [lb/min],engine_coolant_temperature [degF],"
        "vehicle_speed [mph],intake_manifold_pressure [inHg]\n"
        "0,1,212,60,29.92\n500,1,212,60,29.92\n",
    )
    values = {name: float(series.value[0]) for name, series in recording.series.items()}
    # The same numbers as the table of unit conversions of the reference values.
    assert values["mass_air_flow"] == pytest.approx(7.559873, rel=1e-6)
    assert values["engine_coolant_temperature"] == pytest.approx(100.0, abs=1e-9)
    assert values["vehicle_speed"] == pytest.approx(96.560640, rel=1e-6)
    assert values["intake_manifold_pressure"] == pytest.approx(101.320748, rel=1e-6)
    assert recording.series["mass_air_flow"].time_s.tolist() == [0.0, 0.5]


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "idle.csv: the file is empty."),
        (" \n \n", "idle.csv: the file is empty."),
        (
            b"\x7fELF\0\1\2\0\0\0",
            "idle.csv: a binary file, not a table. Give a CSV (also .csv.gz) or Parquet file.",
        ),
        (
            b"\x1f\x8b\x08\x00broken",
            "idle.csv: a gzip file that is damaged or cut short. Copy it again.",
        ),
        (
            b"PAR1broken",
            "idle.csv: a Parquet file that is damaged or cut short. Copy it again.",
        ),
        (
            "Dear customer\nyour car is ready\n",
            "idle.csv, line 1: not a table of comma-separated values. The first line names the "
            'columns, such as "time [s],engine_speed [rpm]".',
        ),
        (
            PLAIN.replace("time [s]", "clock [s]"),
            'idle.csv, line 1: no time column. The first column is "time [s]".',
        ),
        (
            "time [s],their speed\n0,1\n",
            "idle.csv, line 1: no column is a parameter known here. Name them after the standard, "
            'such as "engine_speed [rpm]", or give a mapping.',
        ),
        (
            PLAIN.replace("[g/s]", "[lb/h]"),
            'idle.csv, line 1, column "mass_air_flow [lb/h]": unknown unit "lb/h". '
            "Use g/s, kg/h or lb/min.",
        ),
        (
            PLAIN.replace(" [g/s]", ""),
            'idle.csv, line 1, column "mass_air_flow": no unit. Write it as "mass_air_flow [g/s]", '
            "or with another of g/s, kg/h or lb/min.",
        ),
        (
            PLAIN.replace("mass_air_flow [g/s]", "engine_speed [1/min]"),
            'idle.csv, line 1, column "engine_speed [1/min]": engine_speed stands twice, first as '
            '"engine_speed [rpm]". Leave one.',
        ),
        (
            PLAIN.replace("2.31", "2.3l"),
            'idle.csv, line 3, column "mass_air_flow [g/s]": "2.3l" is not a number. '
            "Correct the cell or leave it empty.",
        ),
        (
            PLAIN.replace("\n0.071", "\n\n0,071"),
            "idle.csv, line 4: 5 cells where the header names 4 columns. "
            "Write decimals with a point.",
        ),
        (
            PLAIN.replace("0.142", "-0.142"),
            'idle.csv, line 4, column "time [s]": negative time -0.142. '
            "Times count up from the start.",
        ),
        (PLAIN.splitlines()[0], "idle.csv: holds no samples, only a header."),
        (
            "time [s],engine_speed [rpm]\n,700\n,701\n",
            'idle.csv: no row has a time in column "time [s]".',
        ),
        ("time [s],engine_speed [rpm]\n0,\n1,\n", "idle.csv: holds no samples, only a header."),
        (
            "time [s],engine_speed [rpm]\n3,700\n",
            "idle.csv: holds one moment only. Record at least half a minute.",
        ),
        (
            "time [s],engine_speed [rpm]\n0,20000\n1,20001\n",
            'idle.csv, column "engine_speed [rpm]": every value is outside what is possible '
            "(0 to 12000 rpm; first 20000). Check the unit and the column.",
        ),
    ],
)
def test_what_cannot_be_read_is_refused_in_one_sentence(
    tmp_path: Path, text: str | bytes, sentence: str
) -> None:
    assert refuse(tmp_path, text) == sentence


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(RecordingError, match=r"^none.csv: cannot be read \(No such file"):
        read_recording(tmp_path / "none.csv")


def test_impossible_samples_are_dropped_and_counted(tmp_path: Path) -> None:
    text = PLAIN + "0.3,20000,,300\n0.4,,,-2\n"
    recording = read(tmp_path, text)
    assert recording.dropped == {"engine_speed": 1, "short_term_fuel_trim_bank_1": 1}
    assert recording.series["engine_speed"].value.max() == 703
    assert recording.notes == (
        'Column "engine_speed [rpm]": 1 sample outside 0 to 12000 rpm left out.',
        'Column "short_term_fuel_trim_bank_1 [%]": 1 sample outside -100 to 99.2188 % left out.',
    )


def test_cells_that_say_nan_or_infinite_are_left_out_and_said(tmp_path: Path) -> None:
    recording = read(tmp_path, PLAIN + "0.3,NaN,inf,\n0.4,-inf,,\n")
    assert recording.series["engine_speed"].value.tolist() == [702.5, 703.0]
    assert recording.notes == (
        'Column "engine_speed [rpm]": 2 cells were NaN or infinite and left out.',
        'Column "mass_air_flow [g/s]": 1 cell was NaN or infinite and left out.',
    )


def test_unknown_columns_are_listed_with_the_nearest_name(tmp_path: Path) -> None:
    text = PLAIN.replace("mass_air_flow", "mass_airflow").replace("2.31", "two")
    recording = read(tmp_path, text)
    assert recording.unmapped == ("mass_airflow [g/s]",)
    assert recording.notes == (
        'Column "mass_airflow [g/s]" is no parameter known here and was left out '
        "(did you mean mass_air_flow?).",
    )


def test_a_mapping_names_their_columns(tmp_path: Path) -> None:
    text = PLAIN.replace("mass_air_flow [g/s]", "Their MAF")
    (tmp_path / "mapping.toml").write_text('[columns]\n"Their MAF" = "mass_air_flow [kg/h]"\n')
    for mapping in (tmp_path / "mapping.toml", {"Their MAF": "mass_air_flow [kg/h]"}):
        recording = read(tmp_path, text, mapping=mapping)
        assert recording.series["mass_air_flow"].value[0] == pytest.approx(2.31 / 3.6)
    sentence = refuse(tmp_path, text, mapping={"Their MAF": "mass_air_flo [g/s]"})
    assert sentence == (
        'idle.csv, line 1, column "Their MAF": mapped to "mass_air_flo [g/s]", which is no '
        "parameter's name. Did you mean mass_air_flow?"
    )
    (tmp_path / "mapping.toml").write_text('[column]\n"Their MAF" = 1\n')
    sentence = refuse(tmp_path, text, mapping=tmp_path / "mapping.toml")
    assert sentence == (
        "mapping.toml: a mapping holds one table, [columns], with lines such as "
        '"Their Header" = "mass_air_flow [g/s]".'
    )


def test_rows_out_of_order_are_sorted_and_doubled_times_averaged(tmp_path: Path) -> None:
    text = "time [s],engine_speed [rpm]\n0,700\n2,720\n1,710\n2,730\n3,740\n"
    recording = read(tmp_path, text)
    assert recording.series["engine_speed"].time_s.tolist() == [0, 1, 2, 3]
    assert recording.series["engine_speed"].value.tolist() == [700, 710, 725, 740]
    assert recording.notes == (
        "1 row was out of order of time sorted in.",
        'Column "engine_speed [rpm]": a time read twice, averaged.',
    )


def test_a_restarted_clock_is_appended_with_a_seam(tmp_path: Path) -> None:
    rows = [f"{t},{700 + t}" for t in (0, 10, 20, 0, 10, 20)]
    recording = read(tmp_path, "time [s],engine_speed [rpm]\n" + "\n".join(rows))
    assert recording.series["engine_speed"].time_s.tolist() == [0, 10, 20, 80, 90, 100]
    assert recording.notes == (
        "The clock began again at 0 s; what follows is placed 60 s after the part before it "
        "(20.0 s).",
    )


def test_a_clock_that_was_set_back_mixes_no_two_moments(tmp_path: Path) -> None:
    """As a telephone's does that learns the time while it records: what follows is no earlier."""
    times = [100 + t for t in range(40)] + [120 + t for t in range(40)]
    rows = [f"{t},{700 if n < 40 else 2500}" for n, t in enumerate(times)]
    recording = read(tmp_path, "time [s],engine_speed [rpm]\n" + "\n".join(rows))
    speed = recording.series["engine_speed"]
    assert speed.value.tolist() == [700] * 40 + [2500] * 40
    assert speed.time_s[40] - speed.time_s[39] == pytest.approx(60)
    assert recording.notes == (
        "The clock was set back by 19 s; what follows is placed 60 s after the part before it "
        "(39.0 s).",
    )


def test_pieces_of_one_clock_in_another_order_are_sorted(tmp_path: Path) -> None:
    times = [200 + t for t in range(40)] + [150 + t for t in range(40)]
    rows = [f"{t},{700 if n < 40 else 2500}" for n, t in enumerate(times)]
    recording = read(tmp_path, "time [s],engine_speed [rpm]\n" + "\n".join(rows))
    assert recording.series["engine_speed"].value.tolist() == [2500] * 40 + [700] * 40


def test_tables_below_one_another_have_one_clock(tmp_path: Path) -> None:
    """As a program leaves them that keeps a table a parameter."""
    speed = [f"{t},{700 + t % 3},," for t in range(40)]
    flow = [f"{t + 0.5},,2.{t % 7}," for t in range(40)]
    trim = [f"{t + 0.2},,,3.125" for t in range(40)]
    head = "time [s],engine_speed [rpm],mass_air_flow [g/s],long_term_fuel_trim_bank_1 [%]"
    recording = read(tmp_path, "\n".join([head, *speed, *flow, *trim]))
    assert [series.time_s[0] for series in recording.series.values()] == [0.0, 0.5, 0.2]
    assert recording.series["long_term_fuel_trim_bank_1"].time_s[-1] == pytest.approx(39.2)


def test_every_start_of_a_day_may_be_in_one_file(tmp_path: Path) -> None:
    rows = [f"{t},{700 + part}" for part in range(30) for t in range(20)]
    recording = read(tmp_path, "time [s],engine_speed [rpm]\n" + "\n".join(rows))
    speed = recording.series["engine_speed"]
    assert speed.value.tolist() == [700 + part for part in range(30) for _ in range(20)]


@pytest.mark.parametrize("gap", ["", "\n,,"])
def test_a_clock_that_counts_from_a_trigger_begins_below_zero(tmp_path: Path, gap: str) -> None:
    rows = "\n".join(f"{n - 20},{700 + n}," for n in range(60))
    recording = read(tmp_path, f"time [s],engine_speed [rpm],mass_air_flow [g/s]{gap}\n{rows}\n")
    assert recording.series["engine_speed"].time_s.tolist() == list(range(60))
    assert recording.begins_s == -20.0


def test_times_count_from_the_start(tmp_path: Path) -> None:
    recording = read(tmp_path, "time [s],engine_speed [rpm]\n1700000000.5,700\n1700000001.5,701\n")
    assert recording.series["engine_speed"].time_s.tolist() == [0.0, 1.0]


def test_latin_1_and_utf_16_are_read_and_said(tmp_path: Path) -> None:
    text = PLAIN.replace("time [s],", "time [s],Kühlwasser,").replace("\n0", "\n0,")
    text = text.replace("0,.", "0.")
    text = "time [s],Kühlwasser,engine_speed [rpm]\n0,1,700\n1,2,701\n"
    for codec, said in (("latin-1", "Latin-1"), ("utf-16", "UTF-16")):
        recording = read(tmp_path, text.encode(codec))
        assert recording.unmapped == ("Kühlwasser",)
        assert f"The file was read as {said}." in recording.notes


def never_anything_else(path: Path) -> None:
    sentence = ""
    try:
        recording = read_recording(path)
    except BellmouthError as error:
        sentence = str(error)
    else:
        for series in recording.series.values():
            assert np.isfinite(series.value).all()
            assert (np.diff(series.time_s) > 0).all()
    assert "\n" not in sentence


@given(raw=st.binary(max_size=300))
def test_any_bytes_give_a_recording_or_a_sentence(
    raw: bytes, tmp_path_factory: pytest.TempPathFactory
) -> None:
    path = tmp_path_factory.mktemp("bytes") / "any.csv"
    path.write_bytes(raw)
    never_anything_else(path)


CELLS = st.one_of(
    st.floats(allow_nan=True, allow_infinity=True).map(str),
    st.integers(0, 2000).map(str),
    st.sampled_from(["", "-", "n/a", "x", '"', "1,5", "\t", "1e9", "0x10", "1_0", "\r", "é"]),
    st.text(max_size=4),
)


@given(rows=st.lists(st.lists(CELLS, min_size=1, max_size=4), max_size=6), mark=st.booleans())
def test_any_cells_give_a_recording_or_a_sentence(
    rows: list[list[str]], mark: bool, tmp_path_factory: pytest.TempPathFactory
) -> None:
    lines = ["time [s],engine_speed [rpm],mass_air_flow [kg/h]"] + [",".join(row) for row in rows]
    path = tmp_path_factory.mktemp("cells") / "any.csv"
    path.write_bytes((("\ufeff" if mark else "") + "\n".join(lines)).encode("utf-8", "replace"))
    never_anything_else(path)


@pytest.mark.parametrize(
    "text",
    [
        "time [s],engine_speed [rpm],own\n5,,1\n5.2,702.5,\n5.4,703,\n",
        "time [s],engine_speed [rpm]\n5,99999\n5.2,702.5\n5.4,703\n",
        "time [s],engine_speed [rpm]\n4.8,\n4.9,\n5.2,702.5\n5.4,703\n",
    ],
    ids=["foreign column", "left out", "asked in vain"],
)
def test_time_begins_with_what_is_kept(tmp_path: Path, text: str) -> None:
    recording = read(tmp_path, text)
    begins = [recording.series["engine_speed"].time_s[0] + recording.begins_s]
    begins += [low_s for low_s, _ in recording.woken]
    assert recording.begins_s == pytest.approx(min(begins))
    assert recording.series["engine_speed"].time_s + recording.begins_s == pytest.approx([5.2, 5.4])


def test_rows_without_a_value_between_answers_are_a_habit_and_no_silence(tmp_path: Path) -> None:
    head = "time [s],engine_speed [rpm]\n0,700\n"
    slept = "0.5,701\n3,\n3.2,0\n3.4,0\n"
    assert list(read(tmp_path, head + slept).woken[0]) == pytest.approx([3.0, 3.2])
    assert read(tmp_path, head + "0.25,\n" + slept).woken == ()
