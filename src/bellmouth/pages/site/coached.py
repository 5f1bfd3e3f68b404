"""An attempt that the server follows on a car's own signals while a page coaches it.

The coach is :class:`bellmouth.learning.coach.Coach` in a thread. It hands every cue over a third of
a second early, so that the browser has time to lay it on its audio clock. Whoever drives it has to
stay: with nobody at the page, or no car to be heard, the attempt is void.
"""

import math
import threading
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass, field
from typing import Any

from bellmouth.errors import BellmouthError
from bellmouth.learning.clock import MonotonicClock
from bellmouth.learning.coach import Coach
from bellmouth.learning.cues import Cue
from bellmouth.learning.judge import judge
from bellmouth.learning.procedure import Procedure
from bellmouth.learning.schedule import Leads
from bellmouth.learning.session import ENDED, Session
from bellmouth.pages.attempt_words import AWAY, KEY_AGAIN
from bellmouth.pages.attempt_words import ENDED as SERVER_ENDED
from bellmouth.pages.card_words import Words
from bellmouth.pages.coach_told import Told
from bellmouth.pages.judgement import judgement_document
from bellmouth.pages.site.coach_plan import cue_document
from bellmouth.pages.site.coach_trace import CoachTrace
from bellmouth.pages.site.live import Adapter
from bellmouth.pages.site.pulse import Pulse
from bellmouth.pages.site.spoiled import spoiled

__all__ = ["AHEAD_S", "Coached", "Wish"]

#: Every cue is handed over so much before its moment. [s]
AHEAD_S = 0.35
#: After the end the key may come on again, so that the time it was off is on record. [s]
_END_S, _ON_S = 20.0, 1.0


@dataclass(frozen=True)
class Wish:
    """How an attempt is wanted: its mark, the reader's words, silence, and earlier calls. [s]

    ``attended`` says whether somebody is still at the page that drives it; ``learn`` takes the
    session and its judgement, for what they tell of whoever drove. ``tells`` says of an event
    whether it is so when a person tells of it, as far as anybody knows; None for one that a tap
    tells nothing of.
    """

    ident: str
    words: Words = field(default_factory=Words)
    quiet: bool = False
    leads: Leads = field(default_factory=dict)
    attended: Callable[[], bool] = lambda: True
    learn: Callable[[Session, str], None] = lambda _, __: None
    tells: Callable[[str], bool | None] = lambda _: True


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
    wish
        How it is wanted.

    Raises
    ------
    BusError
        If the car does not answer, or shows neither pedal nor engine speed.
    """

    def __init__(
        self, procedure: Procedure, adapter: Adapter, keep: Callable[[dict[str, Any]], str],
        wish: Wish,
    ) -> None:  # fmt: skip
        from bellmouth.bus.opening import open_client  # noqa: PLC0415 - loads the CAN libraries
        from bellmouth.learning.watching import CarObserver  # noqa: PLC0415

        self.procedure, self.wish = procedure, wish
        self.see = ""
        self.after = ""
        self.trouble = ""
        self.cues: list[dict[str, Any]] = []
        self.pulse = Pulse()
        self.trace = CoachTrace(self._look, self.pulse.tell)
        self._keep = keep
        self._told = Told(procedure, wish.words)
        self._stack = ExitStack()
        self._closing, self._over = threading.Event(), threading.Event()
        try:
            client = self._stack.enter_context(
                open_client(adapter.interface, adapter.channel, adapter.bitrate)
            )
            self._observer = CarObserver(client, self._unheard)
            self.unmet = self._standing()
        except BaseException:
            self._stack.close()
            raise
        session = Session(
            procedure, watched=self._observer.watched, quiet=wish.quiet, leads=wish.leads
        )
        self.coach = self.trace.coach = Coach(session, self, MonotonicClock(), ahead_s=AHEAD_S)
        self._thread = threading.Thread(target=self._work, name="coached", daemon=True)

    def start(self) -> None:
        """Begin counting in."""
        self._thread.start()

    def abandon(self) -> None:
        """Let the car go; it is not begun after all."""
        self._stack.close()

    def cue(self, cue: Cue) -> None:
        """See :class:`bellmouth.learning.coach.Face`."""
        self.cues.append(cue_document(cue, self._told))
        self.pulse.tell()

    def tapped(self) -> None:
        """Whoever drives tells that what is awaited has come.

        Where somebody knows that it has not, the attempt is lost: what was told is no evidence.
        """
        event = self.coach.awaited()
        so = self.wish.tells(event) if event else None
        if so:
            self.coach.mark(event)
        elif so is not None and event not in self.coach.session.told:
            self.coach.untrue(event)

    def _means(self, awaits: str) -> str:
        """What a tap would tell, in the procedure's words; empty for nothing."""
        return awaits if awaits and self.wish.tells(self.coach.awaited()) is not None else ""

    def _standing(self) -> list[str]:
        """Conditions that the car itself shows to be unmet, in the reader's words."""
        session = Session(self.procedure)
        for name, value in self._observer.look().items():
            session.standing.read(name, value, 0.0)
        return [
            " ".join((self._told.say(one.say) + ".", self._told.say(one.mend))).strip()
            for one, reading in session.standing.unmet()
            if reading is not None
        ]

    def _look(self) -> None:
        """With each round of readings: whether anybody is still there."""
        if self.coach.session.phase not in ENDED and not self.wish.attended():
            self.coach.void(AWAY)

    def _unheard(self, error: BellmouthError) -> None:
        self.coach.void(f"The car is not heard any more: {error}")

    def _work(self) -> None:
        try:
            with self._stack:
                self._conduct()
        finally:
            self._over.set()
            self.pulse.tell()

    def _conduct(self) -> None:
        with self._observer.watching(self.trace, self.coach.clock):
            self.coach.run()
            self.pulse.tell()
            self._show_the_end()
        try:
            document = self._judged()
            self.see = self._keep(document)
            self.wish.learn(self.coach.session, str(document["judgement"]))
        except BellmouthError as error:
            self.trouble = str(error)

    def _show_the_end(self) -> None:
        """A time with the key off is on record only once the key is on again."""
        step = self.procedure.steps[-1]
        if self.coach.session.phase != "done" or (step.who, step.do) != ("key", "off"):
            return
        self.after = self.wish.words.text(KEY_AGAIN)
        self.pulse.tell()
        clock = self.coach.clock
        began_s = clock.now_s()
        while clock.now_s() < began_s + _END_S and not self._closing.wait(0.1):
            if self._observer.samples.latest_s > began_s + _ON_S:
                break
        self.after = ""

    def _judged(self) -> dict[str, Any]:
        session, samples = self.coach.session, self._observer.samples
        recording = samples.recording("live")
        marks = samples.marks(session.told)
        document = judgement_document(judge(recording, self.procedure, marks or None))
        lost = session.lost
        document["coached"] = {
            "id": self.wish.ident, "phase": session.phase, "why": lost.why if lost else "",
            "taps": [], "marks": marks,
        }  # fmt: skip
        return spoiled(document)

    @property
    def over(self) -> bool:
        """Whether nothing more happens, the judgement included."""
        return self._over.is_set()

    def progress(self) -> dict[str, Any]:
        """Where the attempt is, as plain data. [s]"""
        now = self.coach.progress()
        lost = now.lost
        return {
            "phase": now.phase,
            "why": self.wish.words.told(lost.why) if lost else "",
            "after": self.after,
            "trouble": self.wish.words.told(self.trouble),
            "see": self.see,
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
                "stands": now.stands,
                "means": self._told.say(self._means(now.awaits or now.listens)),
            },
        }

    def windows(self) -> list[dict[str, Any]]:
        """Windows of the actions behind and ahead, for the picture. [s]"""
        return self.trace.windows(self._told.say)

    def close(self) -> None:
        """Where it still runs it is void; wait for the judgement."""
        self._closing.set()
        if self.coach.session.phase not in ENDED:
            self.coach.void(SERVER_ENDED)
        self._thread.join(timeout=30.0)


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
