"""The coach on a terminal: how long in huge digits, what to do now, a bar, what comes next.

Black and white, a shape and a word for every meaning, never colour alone. Where the output is no
terminal, the same as plain lines.
"""

import math
import threading
from collections.abc import Callable
from typing import Protocol

from rich.console import Console, Group, RenderableType
from rich.live import Live
from rich.text import Text

from bellmouth.learning.coach import Coach
from bellmouth.learning.cues import Cue, seconds_words
from bellmouth.learning.session import ENDED, Progress
from bellmouth.pages.big_digits import big
from bellmouth.pages.coach_terminal_words import TERMINAL_WORDS as FIXED
from bellmouth.pages.coach_words import COACH_WORDS

__all__ = ["CoachLines", "CoachScreen", "Sounds"]

_FRAME_S = 0.1
_FLASH_S = 0.35
_SHAPES = {"press": "▼", "release": "▲", "wait": "■", "tick": "·", "lead": "·"}


class Sounds(Protocol):
    """What sounds a cue; returns at once."""

    def sound(self, cue: Cue) -> None:
        """Sound it now."""
        ...


class CoachLines:
    """Plain lines, for a pipe or a terminal that cannot be drawn on."""

    def __init__(
        self,
        say: Callable[[str], None],
        sounds: Sounds | None = None,
        told: Callable[[str], str] = str,
    ) -> None:
        self._say, self._told = say, told
        self._sounds = sounds
        self._began_s = math.nan

    def begin(self, coach: Coach) -> None:
        """See :meth:`CoachScreen.begin`."""
        self._coach = coach

    def cue(self, cue: Cue) -> None:
        """One line for each word; ticks are left out."""
        if self._sounds is not None:
            self._sounds.sound(cue)
        if not cue.text:
            return
        at_s = cue.at_s - self._coach.session.began_s
        now = self._told(COACH_WORDS["now"])
        blank = " " * len(f"{now}  ")
        word = {"now": f"{now}  ", "state": ""}.get(cue.kind, blank)
        shape = _SHAPES.get(cue.tone, " ") if cue.kind in ("now", "beat") else " "
        self._say(f"{at_s:7.1f} s  {shape} {word}{self._told(cue.text)}")

    def show(self, status: Callable[[], str] | None = None) -> None:  # noqa: ARG002
        """Wait for the end."""
        while not self._coach.wait(0.2):
            pass


class CoachScreen:
    """Draws on a terminal until the attempt is over.

    Parameters
    ----------
    out
        The terminal.
    sounds
        What sounds each cue, or None.
    caller
        Whether somebody reads it out to another who acts.
    told
        Says what is called in the reader's language.
    """

    def __init__(
        self,
        out: Console,
        sounds: Sounds | None = None,
        *,
        caller: bool = False,
        told: Callable[[str], str] = str,
    ) -> None:
        self._out, self._told = out, told
        self._sounds = sounds
        self._caller = caller
        self._coach: Coach | None = None
        self._last: Cue | None = None
        self._changed = threading.Event()

    def begin(self, coach: Coach) -> None:
        """The coach whose progress is shown; before it starts."""
        self._coach = coach

    def cue(self, cue: Cue) -> None:
        """Called by the coach: sound it at once and let the screen catch up."""
        if self._sounds is not None:
            self._sounds.sound(cue)
        self._last = cue
        self._changed.set()

    def show(self, status: Callable[[], str] | None = None) -> None:
        """Draw until the attempt is over; ``status`` gives a line of its own, such as the lamp."""
        coach = self._coach
        if coach is None:
            return
        with Live(console=self._out, auto_refresh=False, screen=False) as live:
            while True:
                progress = coach.progress()
                told = status() if status is not None else ""
                live.update(self.picture(progress, coach.clock.now_s(), told), refresh=True)
                if progress.phase in ENDED:
                    return
                self._changed.wait(_FRAME_S)
                self._changed.clear()

    def picture(self, progress: Progress, now_s: float, status: str = "") -> RenderableType:
        """One frame."""
        cue = self._last
        fresh = cue is not None and now_s - cue.at_s < _FLASH_S
        lines: list[RenderableType] = [self._head(progress), Text()]
        flash = (
            "reverse bold" if fresh and cue is not None and cue.kind in ("now", "beat") else "bold"
        )
        lines += [
            Text("  " + line, style=flash) for line in big(self._number(progress, cue, fresh))
        ]
        lines += [
            Text(),
            self._now(progress),
            _bar(progress, self._out.width),
            self._next(progress),
        ]
        if status:
            lines.append(Text(f"  {status}"))
        words = self._told(cue.text) if cue is not None and cue.text else ""
        lines += [
            Text(f"  {words}", style="italic"),
            Text(),
            Text(f"  {self._told(FIXED['hint'])}", style="dim"),
        ]
        return Group(*lines)

    def _head(self, progress: Progress) -> Text:
        title = self._told(self._coach.session.procedure.title) if self._coach else ""
        place = self._say("ready")
        if progress.place:
            place = self._say("place", n=progress.place, of=progress.of)
        return Text(f"{title}: {place}, {progress.total_s:.0f} s", style="bold", no_wrap=True)

    def _say(self, name: str, **filled: object) -> str:
        """One of the fixed words."""
        return self._told(FIXED[name]).format(**filled)

    def _number(self, progress: Progress, cue: Cue | None, fresh: bool) -> str:
        if progress.phase in ("lost", "stopped", "void"):
            return self._told(COACH_WORDS["stop"])
        if progress.phase == "done":
            return "0"
        if fresh and cue is not None and cue.kind == "now" and cue.edge >= 0:
            return self._told(COACH_WORDS["now"])
        if fresh and cue is not None and cue.kind == "beat" and cue.text:
            return cue.text
        left = progress.elapsed_s if progress.awaits else progress.next_in_s
        if not progress.awaits and math.isinf(left):
            left = progress.left_s
        whole = math.floor(left) if progress.awaits else math.ceil(left - 1e-6)
        minutes, seconds = divmod(max(int(whole), 0), 60)
        return f"{minutes}:{seconds:02d}" if minutes else str(seconds)

    def _now(self, progress: Progress) -> Text:
        step = progress.step
        if step is None:
            return Text(f"  {self._say('hand')}", style="bold")
        what = self._told(step.say).upper()
        what = self._say("call", what=what) if self._caller else what
        text = f"  {_SHAPES.get(step.tone, '■')} {what}"
        more = f"   {self._told(step.show)}" if step.show else ""
        caution = f"   ! {self._told(step.caution)}" if step.caution else ""
        return Text(text, style="bold").append(Text(more + caution, style="not bold"))

    def _next(self, progress: Progress) -> Text:
        if progress.awaits:
            event, time = self._told(progress.awaits), seconds_words(max(progress.left_s, 0.0))
            return Text(f"  {self._say('until', event=event, time=time)}")
        listens = ""
        if progress.listens:
            listens = f" {self._say('listens', event=self._told(progress.listens))}"
        if progress.next_say:
            what = self._told(progress.next_say)
            following = self._say("next", what=what, count=f"{progress.next_in_s:.0f}")
            return Text(f"  {following}{listens}")
        then = f"  {self._say('then_done')}{listens}"
        return Text(then if progress.phase == "running" else "")


def _bar(progress: Progress, width: int) -> Text:
    wide = max(min(width, 80) - 6, 10)
    share = progress.elapsed_s / progress.length_s if progress.length_s > 0 else 0.0
    full = min(max(round(share * wide), 0), wide)
    return Text("  [" + "█" * full + "·" * (wide - full) + "]")
