"""Cue times against the schedule under full load: ``python -m measure.cue_times --seconds 200``.

One busy process a core, and the coach in a process with a screen that draws, as in real use. Two
times are told: when a cue sounds, which the targets are for, and when the coach's own thread has
come to it, which the screen waits for. Sound is the bell's here; with a sound card it is placed on
the card's clock, and tests/pages/test_coach_mixer.py counts samples.

``--as-ordinary`` gives up every privilege first (through ``setpriv``), as for an ordinary user.
"""

import argparse
import multiprocessing
import os
import shutil
import sys
import threading
import time
from io import StringIO

import numpy as np
from numpy.typing import NDArray
from rich.console import Console

from bellmouth.cli.coaching import quick_threads
from bellmouth.errors import BellmouthError
from bellmouth.learning.coach import Coach
from bellmouth.learning.cues import Cue
from bellmouth.learning.packs import find_procedure
from bellmouth.learning.ringer import short_slice
from bellmouth.learning.ringing import Ringing
from bellmouth.learning.session import Session
from bellmouth.pages.coach_screen import CoachScreen
from bellmouth.pages.coach_sound import Bell
from measure.results import keep
from measure.tables import heading, table, target

__all__ = ["main"]

Times = NDArray[np.float64]
#: One attempt of P4 that nobody ends: until the lamp is given up.
_ATTEMPT_S = 50.0


def _burn(stop: "multiprocessing.synchronize.Event") -> None:
    while not stop.is_set():
        sum(range(10_000))


def main(arguments: list[str] | None = None) -> int:
    """Print how late cues were, and the targets."""
    parser = argparse.ArgumentParser(prog="python -m measure.cue_times", description=__doc__)
    parser.add_argument("--seconds", type=float, default=50.0)
    parser.add_argument("--busy", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--no-screen", action="store_true")
    parser.add_argument("--as-ordinary", action="store_true")
    asked = parser.parse_args(arguments)
    if asked.as_ordinary and _privileged():
        _give_up_privileges()
    context = multiprocessing.get_context("spawn")
    stop = context.Event()
    busy = [context.Process(target=_burn, args=(stop,), daemon=True) for _ in range(asked.busy)]
    for one in busy:
        one.start()
    try:
        sounded_ms, thread_ms = _lateness(asked.seconds, screen=not asked.no_screen)
    finally:
        stop.set()
        for one in busy:
            one.join()
    load = os.getloadavg()[0]
    print(heading(f"{asked.busy} busy processes on {os.cpu_count()} cores, load {load:.1f}"))
    print(f"Scheduling obtained: {_scheduling()}.")
    shares = [50.0, 90.0, 99.0, 100.0]
    rows = [
        [f"{share:g} %", f"{np.percentile(sounded_ms, share):.2f}",
         f"{np.percentile(thread_ms, share):.2f}"]
        for share in shares
    ]  # fmt: skip
    counts = ["count", str(sounded_ms.size), str(thread_ms.size)]
    print(table(("cues", "sounded no later than, ms", "coach's thread, ms"), [*rows, counts]))
    print(heading("Targets"))
    within = float((sounded_ms <= 5.0).mean())
    shown = {f"{share:g}": float(np.percentile(sounded_ms, share)) for share in shares}
    keep("cue_times", {"late_ms": shown, "cues": int(sounded_ms.size), "within_5_ms": within})
    print(target("share within 5 ms", within, 0.99, at_least=True))
    print(target("latest, ms", float(sounded_ms.max()), 20.0, at_least=False, digits=1))
    return 0


def _privileged() -> bool:
    """Whether this process may have itself woken before everyone else."""
    before = os.sched_getscheduler(0)
    try:
        os.sched_setscheduler(0, os.SCHED_RR, os.sched_param(1))
        os.sched_setscheduler(0, before, os.sched_param(0))
    except PermissionError:
        return False
    return True


def _give_up_privileges() -> None:
    """Begin again without any capability; the user stays, and may read this program."""
    program = shutil.which("setpriv")
    if program is None:
        raise BellmouthError("--as-ordinary needs the program setpriv (util-linux).")
    module = ["-m", "measure.cue_times", *sys.argv[1:]]
    sys.stdout.flush()
    os.execv(  # noqa: S606 - this very program
        program, [program, "--bounding-set=-all", "--inh-caps=-all", sys.executable, *module]
    )


def _scheduling() -> str:
    if _privileged():
        return "real-time (SCHED_RR) for the coach's thread, a short slice for the ringer"
    if short_slice():
        return "ordinary (SCHED_OTHER) with a short slice"
    return "ordinary (SCHED_OTHER), no short slice"


def _lateness(seconds: float, *, screen: bool) -> tuple[Times, Times]:
    """How late each cue sounded, and how late the coach's thread was with it. [ms]"""
    due: dict[int, float] = {}
    thread_s: list[float] = []

    class Placed(Bell):
        """Rings for every cue, also a tick, and notes when it was due."""

        def place(self, cue: Cue, at_s: float) -> None:
            super().place(cue, at_s)
            due[self._placed[cue]] = at_s

        def withdraw(self, cue: Cue) -> None:
            due.pop(self._placed.get(cue, 0), None)
            super().withdraw(cue)

    until_s = time.monotonic() + seconds
    with open(os.devnull, "wb") as nowhere, Ringing(nowhere) as ringing:  # noqa: PTH123
        while (left_s := until_s - time.monotonic()) > 0.0:
            bell = Placed(StringIO().write, ringing, lambda _: True)
            coach = _one(bell, min(left_s, _ATTEMPT_S), screen=screen)
            thread_s += [one.late_s for one in coach.given if one.cue.kind != "state"]
        given = ringing.close()
    sounded_s = [given[token] - at_s for token, at_s in due.items() if token in given]
    missing = len(due) - len(sounded_s)
    if missing:
        print(f"{missing} cues were placed and never rung.")
    return 1e3 * np.array(sounded_s), 1e3 * np.array(thread_s)


def _one(bell: Bell, seconds: float, *, screen: bool) -> Coach:
    """One attempt, stopped after a while."""
    session = Session(find_procedure("P4"))
    face = CoachScreen(Console(file=StringIO(), force_terminal=True, width=90), bell)
    coach = Coach(session, face, placing=bell)
    face.begin(coach)
    with quick_threads(), coach:
        coach.start()
        stopping = threading.Timer(seconds, coach.stop)
        stopping.start()
        if screen:
            face.show()
        coach.wait()
        stopping.cancel()
    return coach


if __name__ == "__main__":
    sys.exit(main())
