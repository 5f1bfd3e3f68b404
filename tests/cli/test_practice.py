"""``bellmouth practice``: what it prints, writes and refuses; the wires have tests of their own."""

import re
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import pytest

from bellmouth.cli import practice
from bellmouth.practice.ignition import Action
from bellmouth.practice.mending import HEALS
from bellmouth.practice.scenario import Truth
from bellmouth.practice.server import SlcanServer
from tests.cli.conftest import Run
from tests.practice.stub_car import StubNode, stub_car

PATIENCE_S = 60.0


class Car:
    """Built in no time, unlike the real one."""

    truth = Truth("leak", {"leak": 2.5}, {"leak": "mm"})
    driver: object = None
    awake = metered = True

    def __init__(self) -> None:
        self.nodes: list[StubNode] = stub_car().nodes
        self.followed: list[Action] = []
        self.works: tuple[str, ...] = ()
        self.closed = False

    def toml(self) -> str:
        return "displacement_l = 2.0\n"

    def mend(self, works: Sequence[str]) -> None:
        self.works = tuple(works)

    def follow(self, actions: Sequence[Action]) -> None:
        self.followed += actions

    @contextmanager
    def keep_up(self) -> Iterator[None]:
        yield

    def close(self) -> None:
        self.closed = True


@pytest.fixture
def car(monkeypatch: pytest.MonkeyPatch) -> Car:
    built = Car()
    monkeypatch.setattr(practice, "_car", lambda *_: built)
    return built


def test_it_says_where_it_listens_and_what_to_type(run: Run, car: Car) -> None:
    result = run("practice", "--seconds", "0")
    assert result.exit_code == 0
    first, _, typed, *rest = result.output.splitlines()
    channel = re.fullmatch(
        r"A practice car is waiting on (socket://127\.0\.0\.1:\d+) \(slcan, 500 kbit/s\)\.", first
    )
    assert channel is not None
    assert typed == (
        f"  bellmouth record --interface slcan --channel {channel[1]} --car car.toml -o rec.parquet"
    )
    assert rest[-2:] == ["Ctrl-C ends it.", "The practice car has stopped."]
    assert "leak" not in result.output
    assert car.closed


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (["--pty"], r"on /dev/\S+ \(slcan, 500 kbit/s\)"),
        (["--kline"], r"on /dev/\S+ \(kline, 10\.4 kbit/s\)"),
        (["--bitrate", "250000"], r"\(slcan, 250 kbit/s\)"),
    ],
)
def test_other_wires_are_told_as_well(run: Run, car: Car, options: list[str], told: str) -> None:
    assert re.search(told, run("practice", "--seconds", "0", *options).output)


def test_what_is_wrong_is_told_only_when_asked(run: Run, car: Car) -> None:
    result = run("practice", "--seconds", "0", "--tell")
    assert "What is wrong with it: leak 2.5 mm." in result.output


def test_work_done_on_it_mends_it(run: Run, car: Car) -> None:
    """The recording after the work is of the very car that the one before was of."""
    result = run("practice", "--seconds", "0", "--done", "reseal")
    assert result.exit_code == 0
    assert "--car car.toml -o after.parquet\n" in result.output
    prove = "bellmouth prove rec.parquet after.parquet --car car.toml --done reseal"
    assert f"And then, beside the recording from before the work:\n  {prove}\n" in result.output
    assert car.works == ("reseal",)
    assert run("practice", "--seconds", "0", "--done", "polish").exit_code == 2
    assert set(practice._WORKS) == set(HEALS)


@pytest.mark.parametrize("tell", [[], ["--tell"]])
def test_a_work_that_mends_nothing_says_so_and_not_what_would(
    run: Run, car: Car, tell: list[str]
) -> None:
    said = "{} mends nothing that is wrong with this car."
    done = ("--done", "clean_meter", "--done", "reseal", "--done", "clean_plate")
    result = run("practice", "--seconds", "0", *done, *tell)
    assert [line for line in result.output.splitlines() if "mend" in line] == [
        said.format("clean_meter"),
        said.format("clean_plate"),
    ]
    assert ("leak" in result.output) == bool(tell)
    assert car.works == ("clean_meter", "reseal", "clean_plate")


def test_the_description_is_written_and_written_again(run: Run, car: Car, tmp_path: Path) -> None:
    path = tmp_path / "my car.toml"
    for _ in range(2):
        result = run("practice", "--seconds", "0", "--write-car", path)
        assert result.exit_code == 0
        assert f"--car '{path}'" in result.output
    assert path.read_text("utf-8").endswith("displacement_l = 2.0\n")


def test_a_file_of_somebody_elses_is_not_replaced(run: Run, car: Car, tmp_path: Path) -> None:
    path = tmp_path / "car.toml"
    path.write_text("# my own car\n", "utf-8")
    result = run("practice", "--seconds", "0", "--write-car", path)
    assert result.exit_code == 2
    assert result.stderr == (
        f"bellmouth: {path}: is there already. Choose another name, or add --overwrite.\n"
    )
    assert path.read_text("utf-8") == "# my own car\n"
    assert run("practice", "--seconds", "0", "--write-car", path, "--overwrite").exit_code == 0
    assert path.read_text("utf-8").startswith("# A practice car, written by bellmouth practice.")


def test_a_script_drives(run: Run, car: Car, tmp_path: Path) -> None:
    path = tmp_path / "drive.toml"
    path.write_text('[[at]]\ns = 2.0\nkey = "on"\n', "utf-8")
    assert run("practice", "--seconds", "0", "--driver", path).exit_code == 0
    assert car.followed == [Action(2.0, "key", 2.0)]
    assert car.driver is None


def test_a_person_does_what_the_script_says_early_or_late(
    run: Run, car: Car, tmp_path: Path
) -> None:
    path = tmp_path / "drive.toml"
    path.write_text('[[at]]\ns = 2.0\nkey = "on"\n', "utf-8")
    assert run("practice", "--seconds", "0", "--driver", path, "--human").exit_code == 0
    (action,) = car.followed
    assert (action.control, action.value) == ("key", 2.0)
    assert action.at_s != 2.0
    assert action.at_s == pytest.approx(2.0, abs=1.0)


def test_a_mechanic_sits_in_it_unless_somebody_else_does(run: Run, car: Car) -> None:
    run("practice", "--seconds", "0")
    assert type(car.driver).__name__ == "Mechanic"
    run("practice", "--seconds", "0", "--driver", "none")
    assert car.driver is None


def test_a_port_in_use_is_one_sentence(run: Run, car: Car) -> None:
    with SlcanServer(stub_car()) as taken:
        result = run("practice", "--port", str(taken.port))
    assert result.exit_code == 2
    assert result.stderr == (
        f"bellmouth: Port {taken.port} on 127.0.0.1 cannot be used (address already in use); "
        "give another with --port, or leave it out and a free one is picked.\n"
    )


@pytest.mark.parametrize(
    ("options", "sentence"),
    [
        (
            ["--kline", "--pty"],
            "--pty and --kline: a practice car hangs on one wire; choose one.",
        ),
        (
            ["--interface", "udp_multicast", "--channel", "239.74.163.2"],
            "The interface udp_multicast sends to other machines; a practice car stays on this "
            "one. Use --port or --pty.",
        ),
        (
            ["--driver", "nobody"],
            'The driver "nobody" is neither mechanic, keyboard nor none, and there is no script '
            "of that name; choose one of these or name a file (TOML).",
        ),
        (
            ["--driver", "keyboard"],
            "--driver keyboard needs a terminal to type in; start it in one, or choose another "
            "driver.",
        ),
    ],
)
def test_what_makes_no_sense_is_one_sentence(
    run: Run, car: Car, options: list[str], sentence: str
) -> None:
    result = run("practice", *options)
    assert result.exit_code == 2
    assert result.stderr == f"bellmouth: {sentence}\n"


def test_ctrl_c_ends_the_real_one_well() -> None:
    script = "from bellmouth.cli import main; main()"
    words = [sys.executable, "-c", script, "practice", "--fault", "leak", "--size", "2.5"]
    ran = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    try:
        assert ran.stdout is not None
        heard = [ran.stdout.readline()]
        while "Ctrl-C" not in heard[-1] and heard[-1]:
            heard.append(ran.stdout.readline())
        port = re.search(r"127\.0\.0\.1:(\d+)", heard[0])
        assert port is not None, heard
        with socket.create_connection(("127.0.0.1", int(port[1])), PATIENCE_S) as client:
            client.sendall(b"V\r")
            assert client.recv(10) == b"V1013\r"
        ran.send_signal(signal.SIGINT)
        out, err = ran.communicate(timeout=PATIENCE_S)
    finally:
        ran.kill()
        ran.wait()
    assert (ran.returncode, err) == (0, "")
    assert out.endswith("The practice car has stopped.\n")
