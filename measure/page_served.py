"""The page and a car, each in a process of its own, for what is measured on the page.

``python -m measure.page_served FOLDER`` serves on a free port of loopback. It is the application
of ``bellmouth serve`` and some addresses more: ``/measure/epoch`` tells when the readings' time was
0, by the wall clock that a browser on this machine reads too, ``/measure/end`` ends a capture and
leaves its file where it is.
"""

import os
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import httpx2
import uvicorn
from starlette.responses import HTMLResponse, Response

from bellmouth.book.book import Book
from bellmouth.pages.site.app import create_app
from bellmouth.pages.site.garage import Garage
from bellmouth.pages.site.guard import Settings
from bellmouth.pages.site.traces import Traces
from tests.pages.site.served import ONSETS

__all__ = ["Served", "main", "practice_car", "serving"]

#: The kind of practice car that reports most: 30 parameters.
VARIANT = "C"
#: An empty page that answers one control, against which the first page is held.
_EMPTY = """<!DOCTYPE html><html lang="en"><title>Empty</title>
<script src="/static/site.js"></script><button type="button" data-set-light="sun">Sun</button>
</html>"""
_TICKS_PER_S = os.sysconf("SC_CLK_TCK")


@dataclass(frozen=True)
class Served:
    """The server: where it is, and its process."""

    address: str
    process: int
    folder: Path

    def cpu_s(self) -> float:
        """What its process has used of a processor so far, all threads, user and system. [s]"""
        stat = Path(f"/proc/{self.process}/stat").read_text("utf-8").rpartition(")")[2].split()
        return (int(stat[11]) + int(stat[12])) / _TICKS_PER_S

    def post(self, path: str, data: Mapping[str, str] | None = None) -> httpx2.Response:
        """Send a form as the page itself does."""
        origin = {"origin": self.address}
        return httpx2.post(f"{self.address}{path}", data=data, headers=origin, timeout=120.0)

    def epoch_s(self) -> float:
        """Unix time of the readings' time 0, as near as the server knows it. [s]"""
        return float(httpx2.get(f"{self.address}/measure/epoch").text)

    def car(self, name: str) -> str:
        """Open a job on a new car; its path."""
        data = {"name": name, "displacement_l": "1.6", "metering": "airflow", "idle_rpm": "700"}
        return self.post("/cars", data).headers["location"].removesuffix("/record")

    def begin(self, car: str, channel: str) -> None:
        """Begin a capture, and wait until readings come."""
        said = self.post(f"{car}/record/live", {"interface": "slcan", "channel": channel})
        if said.status_code != 303:
            raise RuntimeError(said.text)
        until = time.monotonic() + 120.0
        while self.epoch_s() <= 0.0 and time.monotonic() < until:
            time.sleep(0.2)

    def end(self, car: str) -> None:
        """End a capture; its file stays."""
        httpx2.get(f"{self.address}/measure/end/{car.rpartition('/')[2]}", timeout=120.0)


@contextmanager
def serving(folder: Path) -> Iterator[Served]:
    """The page, for as long as it is entered."""
    line = [sys.executable, "-m", "measure.page_served", str(folder)]
    with subprocess.Popen(line, stdout=subprocess.PIPE, text=True) as process:  # noqa: S603
        try:
            yield Served(_line(process, "http://").strip(), process.pid, folder)
        finally:
            process.terminate()


@contextmanager
def practice_car() -> Iterator[str]:
    """Channel of a practice car on a wire of its own, driven by its mechanic."""
    code = "from bellmouth.cli import main; main()"
    line = [sys.executable, "-c", code, "practice", "--variant", VARIANT]
    unbuffered = {**os.environ, "PYTHONUNBUFFERED": "1"}
    with subprocess.Popen(  # noqa: S603
        line, stdout=subprocess.PIPE, text=True, env=unbuffered
    ) as process:
        try:
            yield _line(process, "socket://").split("waiting on ")[1].split(" ")[0]
        finally:
            process.terminate()


def _line(process: "subprocess.Popen[str]", holds: str) -> str:
    for line in process.stdout or ():
        if holds in line:
            return line
    raise RuntimeError(f"The process ended without saying {holds}")


class _Epoch:
    """The least difference of wall clock and readings' time is nearest to the truth."""

    def __init__(self) -> None:
        self.least_s = 0.0

    def watch(self) -> None:
        """Look on at every reading of this process."""
        heard = Traces.heard

        def looked_at(traces: Traces, at_s: float, values: Mapping[str, float]) -> None:
            epoch = time.time() - at_s
            self.least_s = min(self.least_s, epoch) if self.least_s else epoch
            heard(traces, at_s, values)

        Traces.heard = looked_at  # type: ignore[method-assign, assignment]


def main(arguments: list[str]) -> int:
    """Serve until terminated."""
    folder = Path(arguments[0])
    epoch = _Epoch()
    epoch.watch()
    with uvicorn.Config("", host="127.0.0.1", port=0).bind_socket() as listening:
        port = listening.getsockname()[1]
        garage = Garage(Book(folder / "book"), folder / "captures")
        app = create_app(garage, Settings(frozenset({f"127.0.0.1:{port}"})))
        app.add_api_route("/measure/epoch", lambda: Response(f"{epoch.least_s:.6f}"))
        app.add_api_route("/measure/empty", lambda: HTMLResponse(_EMPTY))
        app.add_api_route("/measure/end/{key}", lambda key: garage.captures[key].close())
        app.add_api_route("/onsets.js", lambda: Response(ONSETS, media_type="text/javascript"))
        print(f"http://127.0.0.1:{port}", flush=True)
        server = uvicorn.Server(
            uvicorn.Config(app, log_level="warning", timeout_graceful_shutdown=2)
        )
        server.run(sockets=[listening])
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
