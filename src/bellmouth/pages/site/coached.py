"""An attempt that the server follows on a car's own signals while a page coaches it.

The coach is :class:`bellmouth.learning.coach.Coach` in a thread. It hands every cue over a third of
a second early, so that the browser has time to lay it on its audio clock.
"""

import math
import threading
from collections import deque
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass, field
from typing import Any

from bellmouth.learning.clock import MonotonicClock
from bellmouth.learning.coach import Coach
from bellmouth.learning.cues import Cue
from bellmouth.learning.judge import judge
from bellmouth.learning.live import PEDALS
from bellmouth.learning.procedure import Procedure
from bellmouth.learning.samples import Samples
from bellmouth.learning.session import ENDED, Session
from bellmouth.pages.card_words import Words
from bellmouth.pages.coach_told import Told
from bellmouth.pages.judgement import judgement_document
from bellmouth.pages.site.coach_plan import cue_document
from bellmouth.pages.site.live import Adapter

__all__ = ["AHEAD_S", "Coached"]

#: Every cue is handed over so much before its moment. [s]
AHEAD_S = 0.35
_KEPT = 4000


@dataclass
class _Trace(Samples):
    """What was read, and the pedal's newest readings for the picture."""

    pedal: deque[tuple[int, float, float]] = field(default_factory=lambda: deque(maxlen=_KEPT))
    _number: int = 0

    def __post_init__(self) -> None:
        super().__init__()

    def add(self, name: str, value: float, at_s: float) -> None:
        """See :class:`Samples`."""
        super().add(name, value, at_s)
        if name in PEDALS:
            self._number += 1
            self.pedal.append((self._number, at_s, value))


class Coached:
    """One attempt under way; it is also the coach's face.

    Parameters
    ----------
    procedure
        What is attempted.
    adapter
        How the car is reached.
    keep
        Takes the judgement's document into the book, and gives its address.
    words
        The reader's language.
    quiet
        Nothing sounds.

    Raises
    ------
    BusError
        If the car does not answer, or shows neither pedal nor engine speed.
    """

    def __init__(
        self,
        procedure: Procedure,
        adapter: Adapter,
        keep: Callable[[dict[str, Any]], str],
        *,
        words: Words | None = None,
        quiet: bool = False,
    ) -> None:
        from bellmouth.bus.opening import open_client  # noqa: PLC0415 - loads the CAN libraries
        from bellmouth.learning.watching import CarObserver  # noqa: PLC0415

        self.procedure = procedure
        self.see = ""
        self.cues: list[dict[str, Any]] = []
        self.trace = _Trace()
        self._keep = keep
        self._told = Told(procedure, words or Words())
        self._stack = ExitStack()
        try:
            client = self._stack.enter_context(
                open_client(adapter.interface, adapter.channel, adapter.bitrate)
            )
            self._observer = CarObserver(client)
        except BaseException:
            self._stack.close()
            raise
        self._observer.samples = self.trace
        session = Session(procedure, watched=self._observer.watched, quiet=quiet)
        self.coach = Coach(session, self, MonotonicClock(), ahead_s=AHEAD_S)
        self._thread = threading.Thread(target=self._work, name="coached", daemon=True)
        self._thread.start()

    def cue(self, cue: Cue) -> None:
        """See :class:`bellmouth.learning.coach.Face`."""
        self.cues.append(cue_document(cue, self._told))

    def _work(self) -> None:
        with self._stack:
            with self._observer.watching(self.coach, self.coach.clock):
                self.coach.run()
            self.see = self._keep(self._judged())

    def _judged(self) -> dict[str, Any]:
        session = self.coach.session
        marks = dict(session.marks) or None
        recording = self.trace.recording("live")
        document = judgement_document(judge(recording, self.procedure, marks))
        lost = session.lost
        document["coached"] = {
            "phase": session.phase, "why": lost.why if lost else "", "taps": [],
            "marks": {name: list(times) for name, times in session.marks.items()},
        }  # fmt: skip
        return document

    @property
    def over(self) -> bool:
        """Whether nothing more happens, the judgement included."""
        return not self._thread.is_alive()

    def progress(self) -> dict[str, Any]:
        """Where the attempt is, as plain data. [s]"""
        now = self.coach.progress()
        lost = now.lost
        return {
            "phase": now.phase,
            "why": lost.why if lost else "",
            "progress": {
                "step": now.step.name if now.step else "",
                "place": now.place,
                "of": now.of,
                "elapsed_s": now.elapsed_s,
                "left_s": _finite(now.left_s) or 0.0,
                "length_s": _finite(now.length_s) or 0.0,
                "next_say": self._told.say(now.next_say),
                "next_in_s": _finite(now.next_in_s),
                "awaits": self._told.say(now.awaits),
            },
        }

    def close(self) -> None:
        """Stop it where it still runs, and wait for the judgement."""
        if self.coach.session.phase not in ENDED:
            self.coach.stop()
        self._thread.join(timeout=30.0)


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
