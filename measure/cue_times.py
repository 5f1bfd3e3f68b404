"""Cue times against the schedule under full load: ``python -m measure.cue_times --seconds 40``.

One busy process a core, and the coach in a process with a screen that draws, as in real use.
"""

import argparse
import multiprocessing
import os
import sys
import threading
from io import StringIO

import numpy as np
from rich.console import Console

from bellmouth.cli.coaching import quick_threads
from bellmouth.learning.coach import Coach
from bellmouth.learning.packs import find_procedure
from bellmouth.learning.session import Session
from bellmouth.pages.coach_screen import CoachScreen
from measure.results import keep
from measure.tables import heading, table, target

__all__ = ["main"]


def _burn(stop: "multiprocessing.synchronize.Event") -> None:
    while not stop.is_set():
        sum(range(10_000))


def main(arguments: list[str] | None = None) -> int:
    """Print how late cues were, and the targets."""
    parser = argparse.ArgumentParser(prog="python -m measure.cue_times", description=__doc__)
    parser.add_argument("--seconds", type=float, default=50.0)
    parser.add_argument("--busy", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--no-screen", action="store_true")
    asked = parser.parse_args(arguments)
    context = multiprocessing.get_context("spawn")
    stop = context.Event()
    busy = [context.Process(target=_burn, args=(stop,), daemon=True) for _ in range(asked.busy)]
    for one in busy:
        one.start()
    try:
        late_ms = 1e3 * _lateness(asked.seconds, screen=not asked.no_screen)
    finally:
        stop.set()
        for one in busy:
            one.join()
    print(heading(f"{late_ms.size} cues, {asked.busy} busy processes on {os.cpu_count()} cores"))
    shares = [50.0, 90.0, 99.0, 100.0]
    rows = [[f"{share:g} %", f"{np.percentile(late_ms, share):.2f}"] for share in shares]
    print(table(("cues", "no later than, ms"), rows))
    shown = {f"{share:g}": float(np.percentile(late_ms, share)) for share in shares}
    print(heading("Targets"))
    within = float((late_ms <= 5.0).mean())
    keep("cue_times", {"late_ms": shown, "cues": int(late_ms.size), "within_5_ms": within})
    print(target("share within 5 ms", within, 0.99, at_least=True))
    print(target("latest, ms", float(late_ms.max()), 20.0, at_least=False, digits=1))
    return 0


def _lateness(seconds: float, *, screen: bool) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """How late each cue was. [s]"""
    session = Session(find_procedure("P4"))
    out = Console(file=StringIO(), force_terminal=True, width=90)
    face = CoachScreen(out)
    coach = Coach(session, face)
    face.begin(coach)
    with quick_threads(), coach:
        coach.start()
        stopping = threading.Timer(seconds, coach.stop)
        stopping.start()
        if screen:
            face.show()
        coach.wait()
        stopping.cancel()
    planned = [one.late_s for one in coach.given if one.cue.kind != "state"]
    return np.array(planned)


if __name__ == "__main__":
    sys.exit(main())
