"""A practice car and the page's server, each a process of its own: the car is what any car's
adapter is to the page, and the server can be killed.
"""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx2

from tests.ports import kept_port

__all__ = ["Car", "Server", "car_process"]

_WITHIN_S = 180.0  # on however busy a machine
_CAR = """
import sys
from bellmouth.practice.live import PracticeCar
from bellmouth.practice.wires import WireChoice, serve
car = PracticeCar("healthy", seed=7, coolant_c=85.0)
with car.keep_up():
    car.do("key", 2.0)
    wire = serve(car, WireChoice())
    print(wire.channel, flush=True)
    for line in sys.stdin:
        control, value = line.split()
        car.do(control, float(value))
    wire.close()
car.close()
"""
_SERVER = "from bellmouth.cli import main; main()"
_PATIENT = "from bellmouth.learning import coach; coach._VOID_S = 120.0; "


class Car:
    """Somebody in the seat of a practice car in a process of its own."""

    def __init__(self, process: "subprocess.Popen[str]") -> None:
        self._process = process
        assert process.stdout is not None
        self.channel = process.stdout.readline().strip()

    def do(self, control: str, value: float) -> None:
        """Move a control."""
        assert self._process.stdin is not None
        self._process.stdin.write(f"{control} {value}\n")
        self._process.stdin.flush()


@contextmanager
def car_process() -> Iterator[Car]:
    """The car, its key on, for as long as it is entered."""
    with subprocess.Popen(
        [sys.executable, "-c", _CAR], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as process:
        yield Car(process)
        assert process.stdin is not None
        process.stdin.close()
        process.wait(timeout=_WITHIN_S)


class Server:
    """``bellmouth serve`` on a book, always on the same port.

    A ``patient`` one calls no attempt void because the machine stood still, which a test that is
    about something else must not end in.
    """

    def __init__(self, folder: Path, *, patient: bool = False) -> None:
        self.folder, self.port = folder, kept_port()
        self._program = (_PATIENT if patient else "") + _SERVER
        self.address = f"http://127.0.0.1:{self.port}"
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start it, and wait until it answers."""
        self._process = subprocess.Popen(
            [sys.executable, "-c", self._program, "serve",
             "--port", str(self.port), "--book", str(self.folder)],
            stdout=subprocess.DEVNULL, env={**os.environ, "PYTHONUNBUFFERED": "1"},
        )  # fmt: skip
        end = time.monotonic() + _WITHIN_S
        while time.monotonic() < end:
            try:
                httpx2.get(self.address, timeout=5.0)
            except httpx2.TransportError:
                time.sleep(0.1)
            else:
                return
        raise TimeoutError("the server did not start")

    @property
    def process_id(self) -> int:
        """The process that serves."""
        assert self._process is not None
        return self._process.pid

    def kill(self) -> None:
        """As a power cut would."""
        assert self._process is not None
        self._process.send_signal(signal.SIGKILL)
        self._process.wait(timeout=_WITHIN_S)

    def __enter__(self) -> "Server":
        """Started."""
        try:
            self.start()
        except BaseException:
            self.__exit__()
            raise
        return self

    def __exit__(self, *_: object) -> None:
        """Ended, however it stands."""
        assert self._process is not None
        if self._process.poll() is None:
            self._process.terminate()
            self._process.wait(timeout=_WITHIN_S)

    def new_car(self, name: str) -> str:
        """A car in its book, by its address."""
        data = {"name": name, "displacement_l": "2.0", "metering": "airflow"}
        answer = httpx2.post(f"{self.address}/cars", data=data, headers={"origin": self.address})
        assert answer.status_code == 303, answer.text
        return f"{self.address}{answer.headers['location']}".removesuffix("/record")
