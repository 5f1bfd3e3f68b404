"""Bad input: one sentence on stderr, exit code 2, never a traceback, nothing on stdout."""

from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bellmouth.cli import main
from tests.cli.conftest import Run

CAR = 'displacement_l = 1.6\nmetering = "airflow"\n'
HEAD = "time [s],engine_speed [rpm],mass_air_flow [g/s],short_term_fuel_trim_bank_1 [%]\n"


def _refused(ran: Result) -> str:
    assert ran.exit_code == 2, ran.output
    assert ran.stdout == ""
    assert isinstance(ran.exception, SystemExit)
    assert "Traceback" not in ran.stderr
    sentence = ran.stderr
    assert sentence.startswith("bellmouth: ")
    assert sentence.count("\n") == 1
    return sentence


@pytest.fixture
def car_file(tmp_path: Path) -> Path:
    path = tmp_path / "car.toml"
    path.write_text(CAR, "utf-8")
    return path


@pytest.mark.parametrize(
    ("words", "part"),
    [
        (["find"], "Missing argument 'REC'"),
        (["find", "x.csv"], "Missing option '--car'"),
        (["fnid"], "No such command 'fnid'"),
        (["find", "x.csv", "--jsn"], "No such option"),
        (["completion", "tcsh"], "'tcsh' is not one of 'bash', 'zsh', 'fish'"),
        (["check"], "Missing argument 'REC'"),
        (["practice", "--seed", "-1"], "'--seed'"),
        (["practice", "--speed", "nan"], "'nan' is not a number"),
        (["practice", "--latency", "nan"], "'nan' is not a number"),
        (["practice", "--bad-wire", "nan"], "'nan' is not a number"),
        (["practice", "--seconds", "nan"], "'nan' is not a number"),
        (["record", "--seconds", "nan", "-o", "r.csv"], "'nan' is not a number"),
        (["coach", "--lead", "nan"], "'nan' is not a number"),
        (["prove", "a.csv", "b.csv", "--car", "c.toml", "--complaint", ""], "--complaint is empty"),
        (["book", "open", "a", "--complaint", " "], "--complaint is empty"),
    ],
)
def test_wrong_use_says_what_and_where_help_is(run: Run, words: list[str], part: str) -> None:
    sentence = _refused(run(*words))
    assert part in sentence
    assert "--help" in sentence


@pytest.mark.parametrize("command", ["find", "check"])
@pytest.mark.parametrize("kind", ["missing", "directory", "unreadable"])
def test_a_file_that_cannot_be_opened(
    run: Run, car_file: Path, tmp_path: Path, command: str, kind: str
) -> None:
    path = tmp_path / "recording.csv"
    if kind == "directory":
        path.mkdir()
    elif kind == "unreadable":
        # Memory that is not mapped: even root gets an input/output error.
        path.symlink_to("/proc/self/mem")
    extra = ["--car", car_file] if command == "find" else []
    assert "recording.csv" in _refused(run(command, path, *extra))


@pytest.mark.parametrize("option", ["--car", "--reference", "--prior", "--mapping"])
def test_every_file_given_is_missed_by_name(
    run: Run, recording: Path, car: Path, tmp_path: Path, option: str
) -> None:
    words = ["find", recording, "--car", car, option, tmp_path / "gone.xyz"]
    assert "gone.xyz" in _refused(run(*words))


def test_a_report_that_cannot_be_written(
    run: Run, recording: Path, car: Path, tmp_path: Path
) -> None:
    sentence = _refused(
        run("find", recording, "--car", car, "--report", tmp_path / "no" / "such" / "out.html")
    )
    assert "out.html" in sentence
    assert "there is no folder" in sentence


@pytest.mark.parametrize("overwrite", [[], ["--overwrite"]])
def test_a_folder_is_no_name_for_a_report(
    run: Run, recording: Path, car: Path, tmp_path: Path, overwrite: list[str]
) -> None:
    """--overwrite would not help, so it is not offered."""
    sentence = _refused(run("find", recording, "--car", car, "--report", tmp_path, *overwrite))
    assert "is a folder" in sentence
    assert "--overwrite" not in sentence


def test_a_conversion_into_a_folder_that_is_not_there_names_what_was_asked_for(
    run: Run, recording: Path, tmp_path: Path
) -> None:
    sentence = _refused(run("convert", recording, tmp_path / "none" / "x.csv"))
    assert sentence.startswith(f"bellmouth: {tmp_path / 'none' / 'x.csv'}: there is no folder")


@pytest.mark.parametrize(
    "words",
    [
        ["record", "--seconds", "1", "-o"],
        ["book", "export", "a"],
    ],
)
def test_a_folder_that_is_not_there_is_said_before_anything_is_opened(
    run: Run, tmp_path: Path, words: list[str]
) -> None:
    assert "there is no folder" in _refused(run(*words, tmp_path / "none" / "x.parquet"))


def test_a_mark_too_large_for_a_time(run: Run, recording: Path, tmp_path: Path) -> None:
    marks = tmp_path / "marks.json"
    marks.write_text('{"lamp_blinks": 1e400}', "utf-8")
    words = ["judge", recording, "--procedure", "throttle-closed-position", "--marks", marks]
    assert "is not a time in seconds" in _refused(run(*words))


@pytest.mark.parametrize("command", [["family", "show"], ["find", "--prior"]])
def test_a_file_that_is_no_text_is_said_in_plain_words(
    run: Run, recording: Path, car: Path, tmp_path: Path, command: list[str]
) -> None:
    path = tmp_path / "odd.toml"
    path.write_bytes(b"name = '\xff\xfe'")
    words = [*command, path, *([recording, "--car", car] if "find" in command else [])]
    assert "not a text file in UTF-8" in _refused(run(*words))
    path.unlink()
    assert "cannot be read (No such file or directory)" in _refused(run(*words))


def test_an_empty_name_is_the_folder_that_one_is_in(run: Run, car: Path) -> None:
    assert "bellmouth: .: cannot be read" in _refused(run("find", "", "--car", car))


def test_a_long_complaint_is_not_shown_whole(run: Run, recording: Path, car: Path) -> None:
    sentence = _refused(run("find", recording, "--car", car, "--complaint", "x" * 3000))
    assert len(sentence) < 500


@pytest.mark.parametrize(
    ("text", "part"),
    [
        (f"leak = {'9' * 400}", "a number of more than 300 digits"),
        ("leak = 1e400", "weight of leak is too large"),
        ("healthy = 1e308\nleak = 1e308", "weight of healthy is too large"),
    ],
)
def test_weights_that_no_sum_holds(
    run: Run, recording: Path, car: Path, tmp_path: Path, text: str, part: str
) -> None:
    prior = tmp_path / "prior.toml"
    prior.write_text(text, "utf-8")
    assert part in _refused(run("find", recording, "--car", car, "--prior", prior))


def _changed(recording: Path, tmp_path: Path, title: str, change: Callable[[float], float]) -> Path:
    """The recording with every value of a column changed."""
    rows = [line.split(",") for line in recording.read_text("utf-8").splitlines()]
    place = next(n for n, name in enumerate(rows[0]) if name.startswith(title))
    for row in rows[1:]:
        row[place] = f"{change(float(row[place])):.9g}" if row[place] else ""
    path = tmp_path / "changed.csv"
    path.write_text("\n".join(",".join(row) for row in rows) + "\n", "utf-8")
    return path


@pytest.mark.parametrize(
    ("title", "factor", "part"),
    [
        ("engine_speed", 60.0, "samples of engine_speed are impossible"),
        ("mass_air_flow", 1e-6, "mass_air_flow reads"),
        ("time", 1e-3, "1388 rows in 0.2 s, where a recording has several a second."),
    ],
)
def test_a_column_in_another_unit_is_named(
    run: Run, recording: Path, car: Path, tmp_path: Path, title: str, factor: float, part: str
) -> None:
    """Not that the engine was off, nor that nothing was recorded."""
    path = _changed(recording, tmp_path, title, lambda value: value * factor)
    assert part in _refused(run("find", path, "--car", car))


def test_a_manifold_pressure_that_stays_at_ambient_is_named(
    run: Run, recording: Path, car: Path, tmp_path: Path
) -> None:
    path = _changed(recording, tmp_path, "intake_manifold", lambda _: 100.0)
    assert "intake_manifold_pressure is 1" in _refused(run("find", path, "--car", car))


def test_an_engine_that_hardly_ran_is_not_called_off(
    run: Run, recording: Path, car: Path, tmp_path: Path
) -> None:
    path = tmp_path / "begun.csv"
    path.write_text("\n".join(recording.read_text("utf-8").splitlines()[:80]) + "\n", "utf-8")
    assert "nothing held still while the engine ran" in _refused(run("find", path, "--car", car))


def test_a_car_in_a_table_of_its_own_is_told_so(run: Run, recording: Path, tmp_path: Path) -> None:
    path = tmp_path / "car.toml"
    path.write_text(f"[car]\n{CAR}", "utf-8")
    assert "Take the line [car] out" in _refused(run("find", recording, "--car", path))


@pytest.mark.parametrize(
    "words",
    [
        ["--result", "smoke_test"],
        ["--result", "nonsense=seen"],
        ["--result", "smoke_test=purple"],
        ["--result", "="],
        ["--complaint", "too expensive"],
        ["--complaint", ""],
    ],
)
def test_a_result_or_complaint_that_nobody_knows(
    run: Run, recording: Path, car: Path, words: list[str]
) -> None:
    _refused(run("find", recording, "--car", car, *words))


@pytest.mark.parametrize(
    "text",
    [
        "",
        "\n\n\n",
        "hello",
        "time [s],engine_speed [rpm]\n",
        "time,engine_speed\n0,700\n",
        "time [s],engine_speed [furlong]\n0,700\n",
        "engine_speed [rpm],time [s]\n700,0\n",
        f"{HEAD}0,seven hundred,2,0\n",
        f"{HEAD}0,700,2,0\n",
        f"{HEAD}" + "".join(f"{t},0,0,0\n" for t in range(90)),
        f"{HEAD}" + "".join(f"{t},20000,2,300\n" for t in range(90)),
        f"{HEAD}" + "".join(f"{t},nan,inf,-inf\n" for t in range(90)),
        f"{HEAD}" + "".join(f"{-t},700,2,0\n" for t in range(90)),
    ],
)
def test_a_recording_that_cannot_be_used_is_refused_or_answered(
    run: Run, car_file: Path, tmp_path: Path, text: str
) -> None:
    path = tmp_path / "recording.csv"
    path.write_text(text, "utf-8")
    ran = run("find", path, "--car", car_file)
    assert isinstance(ran.exception, SystemExit | None)
    if ran.exit_code:
        _refused(ran)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "displacement_l = 1.6",
        "displacement_l = 0\nmetering = 'airflow'",
        "displacement_l = nan\nmetering = 'airflow'",
        "displacement_l = 1.6\nmetering = 'airflow'\nwheels = 4",
        "displacement_l = 1.6\nmetering = 'guess'",
        "displacement_l = [",
        "displacement_l = 1.6\nmetering = 'airflow'\ncylinders = 2.5",
        "\x00",
    ],
)
def test_a_car_file_that_cannot_be_used(
    run: Run, recording: Path, tmp_path: Path, text: str
) -> None:
    path = tmp_path / "odd.toml"
    path.write_text(text, "utf-8")
    assert "odd.toml" in _refused(run("find", recording, "--car", path))


def _never_a_traceback(*words: str | Path) -> None:
    ran = CliRunner().invoke(main, [str(word) for word in words])
    assert isinstance(ran.exception, SystemExit | None), repr(ran.exception)
    assert ran.exit_code in {0, 1, 2}
    if ran.exit_code == 2:
        _refused(ran)


# A finding costs more than a shrug, so the usual run tries fewer.
_PROPERTY = settings(
    max_examples=max(settings().max_examples // 3, 10),
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)


@_PROPERTY
@given(content=st.binary(max_size=400))
def test_bytes_as_a_recording(tmp_path: Path, car_file: Path, content: bytes) -> None:
    path = tmp_path / "recording.csv"
    path.write_bytes(content)
    _never_a_traceback("find", path, "--car", car_file)
    _never_a_traceback("check", path)


_CELLS = st.one_of(
    st.floats().map(str),
    st.integers(-(10**9), 10**9).map(str),
    st.sampled_from(["", "n/a", "1,5", "-", "700", "1e400", '"', "0x10", "١٢"]),
)


@_PROPERTY
@given(
    rows=st.lists(st.lists(_CELLS, min_size=1, max_size=6), max_size=30),
    pad=st.integers(0, 3),
)
def test_odd_cells_in_a_recording(
    tmp_path: Path, car_file: Path, rows: list[list[str]], pad: int
) -> None:
    path = tmp_path / "recording.csv"
    body = "".join(",".join(row) + "\n" for row in rows) * (1 + 10 * pad)
    path.write_text(HEAD + body, "utf-8")
    _never_a_traceback("find", path, "--car", car_file)
    _never_a_traceback("check", path)


@_PROPERTY
@given(
    speed=st.floats(0, 9000), flow=st.floats(0, 300), trim=st.floats(-100, 100),
    pressure=st.floats(0, 255), metering=st.sampled_from(["airflow", "pressure"]),
    displacement=st.floats(0.2, 10),
)  # fmt: skip
def test_any_steady_reading_is_refused_or_answered(
    tmp_path: Path, speed: float, flow: float, trim: float, pressure: float, metering: str,
    displacement: float,
) -> None:  # fmt: skip
    path = tmp_path / "recording.csv"
    head = HEAD.replace("\n", ",intake_manifold_pressure [kPa]\n")
    rows = "".join(f"{t / 2},{speed},{flow},{trim},{pressure}\n" for t in range(200))
    path.write_text(head + rows, "utf-8")
    car_file = tmp_path / "car.toml"
    car_file.write_text(f'displacement_l = {displacement}\nmetering = "{metering}"\n', "utf-8")
    _never_a_traceback("find", path, "--car", car_file)


@_PROPERTY
@given(
    text=st.one_of(
        st.text(max_size=80),
        st.tuples(
            st.sampled_from(["displacement_l", "metering", "idle_rpm", "banks", "complaint", "x"]),
            st.one_of(st.floats(), st.integers(), st.booleans(), st.text(max_size=5)),
        ).map(lambda pair: f"{CAR}{pair[0]} = {str(pair[1]).lower()!s}\n"),
    )
)
def test_anything_as_a_car_file(tmp_path: Path, text: str) -> None:
    recording = tmp_path / "recording.csv"
    recording.write_text(HEAD + "0,700,2,0\n1,700,2,0\n", "utf-8")
    path = tmp_path / "car.toml"
    path.write_text(text, "utf-8", errors="surrogatepass")
    _never_a_traceback("find", recording, "--car", path)


@_PROPERTY
@given(word=st.text(max_size=30).filter(lambda word: "\x00" not in word))
def test_anything_as_a_result_or_a_complaint(recording: Path, car: Path, word: str) -> None:
    _never_a_traceback("find", recording, "--car", car, f"--result={word}")
    _never_a_traceback("find", recording, "--car", car, f"--complaint={word}")
