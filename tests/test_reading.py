"""Whatever lies under the name that somebody gave, every reader ends, and in one sentence."""

import os
import threading
from collections.abc import Callable
from contextlib import suppress
from datetime import date
from pathlib import Path

import pytest

from bellmouth.bus.readiness import read_rules
from bellmouth.car.reader import read_car
from bellmouth.errors import BellmouthError
from bellmouth.finding.family import family_in, read_family
from bellmouth.finding.priors import read_weights
from bellmouth.learning.attempts import Attempts
from bellmouth.learning.marks import read_marks
from bellmouth.learning.procedure_reader import read_procedure
from bellmouth.practice.live_memory import read_state
from bellmouth.practice.script import read_script
from bellmouth.reading import bytes_of, json_in, text_of, toml_in
from bellmouth.recording import read_recording
from bellmouth.recording.header import read_mapping
from bellmouth.work.finding_file import read_finding

READERS: tuple[Callable[[Path], object], ...] = (
    read_car, read_family, read_finding, read_mapping, read_marks, read_procedure, read_recording,
    read_rules, read_script, read_weights,
)  # fmt: skip
JUNK = {
    "a number of thousands of digits": b"x = " + b"9" * 5000,
    "as many that are hexadecimal": b"name = 0x" + b"f" * 5000,
    "the same in JSON": b'{"x": ' + b"9" * 5000 + b"}",
    "lists in lists": b"x = " + b"[" * 20_000,
    "the same in JSON without a name": b"[" * 100_000,
    "tables in tables": b'{"a":' * 20_000,
    "keys in keys": b"a" + b".a" * 1500 + b" = 1",
    "keys in keys without end": b"a" + b".a" * 100_000 + b" = 1",
    "more than any": b"x = 1\n" * 50_000,
    "a number too large": b"x = 1" + b"0" * 400,
    "bytes that are no text": b"\xff\xfe\x00\xd8" * 30,
    "zeros": bytes(300),
    "two marks of byte order": b"\xef\xbb\xbf\xef\xbb\xbfx = 1",
    "nothing": b"",
}


@pytest.mark.parametrize("read", READERS)
@pytest.mark.parametrize("junk", JUNK)
def test_junk_is_one_sentence(tmp_path: Path, read: Callable[[Path], object], junk: str) -> None:
    path = tmp_path / "given"
    path.write_bytes(JUNK[junk])
    if read is read_rules and not JUNK[junk]:
        read(path)  # no rule of one's own: those that come with the program
        return
    if read is read_script and not JUNK[junk]:
        assert read(path) == ()
        return
    with pytest.raises(BellmouthError) as told:
        read(path)
    assert "\n" not in str(told.value).strip()


@pytest.mark.parametrize("read", READERS)
def test_a_folder_or_a_name_that_is_none_is_one_sentence(
    tmp_path: Path, read: Callable[[Path], object]
) -> None:
    for path in (tmp_path, tmp_path / "gone", tmp_path / "a\0b", tmp_path / ("x" * 300)):
        with pytest.raises(BellmouthError):
            read(path)


@pytest.mark.skipif(not Path("/dev/zero").is_char_device(), reason="no such device here")
@pytest.mark.parametrize("read", READERS)
def test_a_device_has_no_end_and_is_not_read(read: Callable[[Path], object]) -> None:
    with pytest.raises(BellmouthError, match="a device, not a file"):
        read(Path("/dev/zero"))


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
@pytest.mark.parametrize("read", READERS)
def test_a_pipe_that_nobody_writes_is_not_waited_for(
    tmp_path: Path, read: Callable[[Path], object]
) -> None:
    os.mkfifo(pipe := tmp_path / "pipe")
    ended = threading.Event()

    def go() -> None:
        with suppress(BellmouthError):
            read(pipe)
        ended.set()

    threading.Thread(target=go, daemon=True).start()
    assert ended.wait(20.0)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_a_pipe_that_somebody_writes_is_read_to_its_end(tmp_path: Path) -> None:
    os.mkfifo(pipe := tmp_path / "pipe")
    writer = threading.Thread(target=pipe.write_bytes, args=(b"x" * 300_000,))
    ours, theirs = os.pipe()
    os.write(theirs, b"half, ")
    os.close(theirs)
    assert bytes_of(Path(f"/dev/fd/{ours}")) == b"half, "
    os.close(ours)
    # Held open from both ends, so that whoever comes first finds the other there.
    held = os.open(pipe, os.O_RDWR)
    writer.start()
    read: list[bytes] = []
    reader = threading.Thread(target=lambda: read.append(bytes_of(pipe)))
    reader.start()
    writer.join()
    os.close(held)
    reader.join()
    assert read == [b"x" * 300_000]


@pytest.mark.parametrize(
    "text", ["x = 1" + "0" * 300, "x = " + "9" * 5000, "x = [{y = -1" + "0" * 300 + "}]"]
)
def test_a_number_that_no_reckoning_takes_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="a number of more than 300 digits"):
        toml_in(text)
    with pytest.raises(ValueError, match="a number of more than 300 digits"):
        json_in(text.replace("x = ", "[").replace("{y = ", '{"y": ') + "]")
    assert toml_in("x = 1" + "0" * 299 + "\ny = 2024-01-02") == {
        "x": 10**299, "y": date(2024, 1, 2)
    }  # fmt: skip


@pytest.mark.parametrize("name", ["a", '"a b"', "'a'", "a.2-", '"."'])
@pytest.mark.parametrize("dot", [".", " . ", "\t."])
@pytest.mark.parametrize("line", ["{} = 1", "[{}]", "[[{}]]", "x = {{{} = 1}}"])
def test_a_key_of_endless_names_is_refused_before_it_takes_time(
    name: str, dot: str, line: str
) -> None:
    few = dot.join([name] * 40)
    assert toml_in(line.format(few))
    many = dot.join([name] * 30_000)
    with pytest.raises(ValueError, match=r"^a key of more than 100 names$"):
        toml_in(line.format(many))


@pytest.mark.parametrize(
    "text",
    ["a." * 99, "a. " * 30 + "\n", "a" * 100_000, "." * 100_000, "'" * 99_999, "-" * 99],
)
def test_what_only_looks_like_such_a_key_is_text(text: str) -> None:
    said = toml_in(f'x = """{text}"""  # {text.splitlines()[0]}\n')
    assert said["x"] == text


def test_rules_of_odd_kinds_are_one_sentence(tmp_path: Path) -> None:
    path = tmp_path / "rules.toml"
    path.write_text("must_be_complete = [[1]]\n", "utf-8")
    with pytest.raises(BellmouthError, match=r"no monitor is called"):
        read_rules(path)


def test_text_is_read_whoever_wrote_it(tmp_path: Path) -> None:
    path = tmp_path / "text"
    path.write_bytes(b"\xef\xbb\xbfa = 1\r\nb = 2\rc = 3\n")
    assert text_of(path) == "a = 1\nb = 2\nc = 3\n"


@pytest.mark.parametrize(
    "line",
    ["coordinates = [1]", "coordinates = 1", "engine = 1", "shares = []", "correlations = 1",
     "cars = inf", "cars = nan", "like_the_rest = 1" + "0" * 400],
)  # fmt: skip
def test_a_family_file_of_odd_values_is_one_sentence(line: str) -> None:
    whole = {
        "name": '"a"', "made": '"b"', "software": '"c"', "cars": "9", "recordings": "9",
        "like_the_rest": "0.9", "engine": '{displacement_l = 2.0, metering = "airflow"}',
        "coordinates": "{fill_level = {mean = 0.0, sd = 1.0}}", "correlations": "[[1.0]]",
        "shares": "{healthy = 1.0}", "format": "1",
    }  # fmt: skip
    text = "\n".join(f"{key} = {value}" for key, value in whole.items())
    assert family_in(text, "two.toml").cars == 9
    key = line.partition(" ")[0]
    odd = "\n".join(f"{k} = {v}" if k != key else line for k, v in whole.items())
    with pytest.raises(BellmouthError, match=r"two\.toml"):
        family_in(odd, "two.toml")


@pytest.mark.parametrize("name", ["~nobody-of-that-name/two.toml", "x" * 300])
def test_a_family_file_that_cannot_be_there_is_one_sentence(tmp_path: Path, name: str) -> None:
    path = tmp_path / "car.toml"
    path.write_text(f'displacement_l = 2.0\nmetering = "airflow"\nfamily = "{name}"\n', "utf-8")
    with pytest.raises(BellmouthError, match=r"car\.toml, line 3: family file .* is not there"):
        read_car(path)


def test_what_a_program_kept_and_nested_without_end_is_not_read(tmp_path: Path) -> None:
    deep = b'{"version": 1, "a": ' + b"[" * 100_000
    (tmp_path / "attempts.jsonl").write_bytes(deep + b"\n")
    assert Attempts(tmp_path).unread() == 1
    state = tmp_path / "state"
    state.write_bytes(deep)
    with pytest.raises(BellmouthError, match="state: is not what a practice car kept"):
        read_state(state, "x")
