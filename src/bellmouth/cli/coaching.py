"""Running a coached attempt in a terminal: confirm, coach, judge, keep, foretell."""

import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from bellmouth.book.places import default_folder
from bellmouth.cli.terminal_keys import terminal_keys
from bellmouth.errors import ProcedureError
from bellmouth.learning.attempts import Attempts, KeptAttempt, kept_attempt
from bellmouth.learning.clock import Clock, MonotonicClock
from bellmouth.learning.coach import Coach, Observer
from bellmouth.learning.cues import TONES_HZ, Cue
from bellmouth.learning.judge import judge
from bellmouth.learning.judgement import MET
from bellmouth.learning.packs import refuse_unchecked
from bellmouth.learning.person import learn_timing
from bellmouth.learning.priority import preferred
from bellmouth.learning.procedure import Procedure
from bellmouth.learning.samples import Samples
from bellmouth.learning.schedule import Leads
from bellmouth.learning.session import Session, leads_of
from bellmouth.pages.card_catalogue import default_language
from bellmouth.pages.card_words import Words
from bellmouth.pages.coach_card import coach_card, two_person_script
from bellmouth.pages.coach_forecast import print_prediction
from bellmouth.pages.coach_screen import CoachLines, CoachScreen
from bellmouth.pages.coach_sound import Bell, Tones, open_sound
from bellmouth.pages.coach_told import Told
from bellmouth.pages.judgement import print_judgement
from bellmouth.pages.lists import console, print_list

if TYPE_CHECKING:
    from bellmouth.learning.watching import CarObserver

__all__ = [
    "Wishes",
    "check_sound",
    "coach_by_marks",
    "coach_live",
    "confirm_manual",
    "confirm_standing",
    "default_language",
    "folder_of",
    "introduce",
    "make_clock",
    "practise",
    "print_forecast",
    "print_paper",
    "quick_threads",
]

_STOP_KEYS = ("q", "Q", "\x1b")
_SWITCH_S = 0.0005
#: So long after the end the key may come on again. [s]
_END_S = 20.0


@dataclass(frozen=True)
class Wishes:
    """What was asked for. ``lead_s`` None takes what suits the person. [s]"""

    procedure: Procedure
    folder: Path
    person: str
    lead_s: float | None
    quiet: bool
    two_person: bool
    ahead_s: float
    language: str = "en"

    def leads(self, *, follows: bool) -> Leads:
        """Leads by kind of action, where the coach follows signals or not. [s]"""
        if self.lead_s is not None:
            return leads_of(self.lead_s)
        if not self.person:
            return {}
        timing = learn_timing(Attempts(self.folder).read(self.person))
        prediction = timing.predict(self.procedure, follows=follows)
        return prediction.leads if timing.attempts else {}


def make_clock() -> Clock:
    """The clock that attempts run on; tests put their own in its place."""
    return MonotonicClock()


def folder_of(keep: Path | None) -> Path:
    """Where attempts are kept."""
    return keep if keep is not None else default_folder() / "attempts"


def print_paper(
    procedure: Procedure, *, card: bool, two_person: bool, html: Path | None = None
) -> None:
    """The card, the script for two, or both; the card as a page to print where that is wanted."""
    if card:
        click.echo(coach_card(procedure), nl=False)
    if two_person:
        click.echo(two_person_script(procedure), nl=False)
    if html is not None:
        from bellmouth.pages.coach_card_html import write_html  # noqa: PLC0415 - pages alone

        write_html(html, procedure)
        click.echo(f"Card: {html} (open it in a browser and print it)")


def print_forecast(procedure: Procedure, folder: Path, person: str, lead_s: float | None) -> None:
    """How likely the next attempt is to pass."""
    timing = learn_timing(Attempts(folder).read(person or None))
    prediction = timing.predict(procedure, leads_of(lead_s or 0.0))
    print_prediction(procedure, timing, prediction, console())


def check_sound() -> None:
    """Every tone with its meaning, one a second."""
    import time  # noqa: PLC0415

    sounds, told, close = open_sound({})
    click.echo(f"Sound: {told}.")
    for name in TONES_HZ:
        click.echo(f"  {name}")
        sounds.sound(Cue(0.0, "now", "", name))
        time.sleep(0.8)
    close()


def introduce(procedure: Procedure) -> None:
    """What it is, what can hurt, what must stand: before anything is asked."""
    out = console()
    out.print(f"{procedure.title}: {procedure.purpose}")
    print_list(out, "Caution", procedure.cautions, len(procedure.cautions))
    erased = [f"It erases: {', '.join(procedure.erases)}."] if procedure.erases else []
    print_list(out, "What you lose", erased, 1)
    stands = [condition.say for condition in procedure.conditions]
    print_list(out, "Before you start, and standing", stands, len(stands))
    out.print(f"\nIf anything feels wrong: {procedure.safe_state}")
    out.print("Nobody looks at a screen while driving.\n" if _drives(procedure) else "")


def _drives(procedure: Procedure) -> bool:
    return any(step.who == "road" for step in procedure.steps)


def confirm_manual(procedure: Procedure, *, checked: bool) -> None:
    """Ask whether the car's own manual was checked; without that nothing is coached on a car.

    Raises
    ------
    ProcedureError
        Where it was not, or there is nobody to ask.
    """
    if checked:
        return
    if sys.stdin.isatty():
        checked = click.confirm("Have you checked this in the car's own manual?", default=False)
    refuse_unchecked(procedure, manual_checked=checked)
    if not checked:
        raise ProcedureError(
            f'"{procedure.title}" is not coached until you confirm that the car\'s own manual was '
            "checked: --manual-checked."
        )


def confirm_standing(procedure: Procedure) -> dict[str, bool]:
    """Ask whether everything stands that only a person can tell; for the judge afterwards.

    Raises
    ------
    ProcedureError
        Where it does not.
    """
    unseen = [condition for condition in procedure.conditions if not condition.signal]
    if not unseen or not sys.stdin.isatty():
        return {}
    if not click.confirm("Does all of this stand?", default=True):
        raise ProcedureError("Nothing is begun before everything stands; see the list above.")
    return {condition.name: True for condition in unseen}


# Running one attempt.


@contextmanager
def quick_threads() -> Iterator[None]:
    """Drawing must not keep the coach's thread waiting for the interpreter."""
    before = sys.getswitchinterval()
    sys.setswitchinterval(_SWITCH_S)
    try:
        # Who draws holds the interpreter while others may take the processor away from it.
        with preferred():
            yield
    finally:
        sys.setswitchinterval(before)


def _silent() -> None:
    """Nothing to close."""


def _sound(wishes: Wishes, clock: Clock) -> tuple[Bell | Tones | None, str, Callable[[], None]]:
    """What sounds, what it is in words, and what closes it."""
    if wishes.quiet:
        return None, "none, so that the plate can be heard", _silent
    called = Told(wishes.procedure, Words(wishes.language)).called()
    # Only the computer's own clock is one that others can keep as well.
    real = isinstance(clock, MonotonicClock) and clock.factor == 1.0
    return open_sound(called, wishes.language, ahead=real)


def _run(
    wishes: Wishes,
    clock: Clock,
    observer: Observer | None,
    key: Callable[[Coach, str], None],
    status: Callable[[], str] | None = None,
) -> Session:
    """Coach one attempt on the terminal and return when it is over."""
    watched = observer.watched if observer is not None else frozenset[str]()
    session = Session(
        wishes.procedure,
        leads=wishes.leads(follows=observer is not None),
        watched=watched,
        quiet=wishes.quiet,
    )
    sounds, told, close_sound = _sound(wishes, clock)
    out = console()
    say = Told(wishes.procedure, Words(wishes.language)).say
    face = (
        CoachScreen(out, sounds, caller=wishes.two_person, told=say)
        if out.is_terminal
        else CoachLines(click.echo, sounds, say)
    )
    click.echo(f"Sound: {told}. Attempts are kept in {wishes.folder}.")
    coach = Coach(session, face, clock, ahead_s=wishes.ahead_s, placing=sounds)
    face.begin(coach)

    def pressed(typed: str) -> None:
        if typed in _STOP_KEYS:
            coach.stop()
        else:
            key(coach, typed)

    try:
        with quick_threads(), terminal_keys(pressed), coach:
            watching = observer.watching(coach, clock) if observer is not None else nullcontext()
            with watching:
                coach.start()
                face.show(status)
                if observer is not None and session.phase == "done":
                    _show_the_end(session, observer, clock)
    except KeyboardInterrupt:
        coach.stop()
        click.echo()
    finally:
        close_sound()
    return session


def _show_the_end(session: Session, observer: Observer, clock: Clock) -> None:
    """A time with the key off is on record only once the key is on again."""
    step = session.procedure.steps[-1]
    if (step.who, step.do) != ("key", "off"):
        return
    click.echo("Turn the key on again: only then is it on record how long it was off.")
    began_s = clock.now_s()
    while clock.now_s() < began_s + _END_S:
        clock.wait(clock.now_s() + 0.1, threading.Event())
        if observer.samples.latest_s > began_s + 1.0:
            return


def _mark(coach: Coach, _: str) -> None:
    coach.mark()


def coach_by_marks(wishes: Wishes) -> int:
    """Coach with what the person marks alone."""
    confirm_standing(wishes.procedure)
    if wishes.two_person:
        print_paper(wishes.procedure, card=False, two_person=True)
    session = _run(wishes, make_clock(), None, _mark)
    _keep(wishes, session, "")
    if session.phase == "done":
        click.echo("Nobody watched the car, so nothing here says that every window was met.")
        click.echo("Judge a recording of it with bellmouth judge, or watch with --live.")
        return 0
    return _lost(session)


def coach_live(wishes: Wishes, adapter: tuple[str, str | None, int | None]) -> int:
    """Coach while the car's signals are followed, and judge from them afterwards."""
    from bellmouth.cli.adapter_options import open_car  # noqa: PLC0415 - loads the CAN libraries
    from bellmouth.learning.watching import CarObserver  # noqa: PLC0415

    with open_car(*adapter) as client:
        observer = CarObserver(client)
        _show_readings(wishes.procedure, observer)
        stands = confirm_standing(wishes.procedure)
        session = _run(wishes, make_clock(), observer, _mark)
    if observer.failure is not None:
        click.echo(f"Watching ended early: {observer.failure}")
    return _judged(wishes, session, observer.samples, stands)


def _show_readings(procedure: Procedure, observer: "CarObserver") -> None:
    """Conditions that the car itself shows, before the start."""
    session = Session(procedure)
    for name, value in observer.look().items():
        session.standing.read(name, value, 0.0)
    for condition, reading in session.standing.unmet():
        unit = condition.unit
        told = "not reported" if reading is None else f"reads {reading:.1f} {unit}".strip()
        click.echo(f"! {condition.say}: {told}. {condition.mend}")


def practise(wishes: Wishes) -> int:
    """Practise on the keyboard, and judge it as a real attempt is judged."""
    from bellmouth.practice.desk import KEYS, Desk  # noqa: PLC0415

    clock = make_clock()
    desk = Desk(clock)
    for key, what in KEYS.items():
        click.echo(f"  {'space' if key == ' ' else key:6} {what}")

    def press(coach: Coach, typed: str) -> None:
        warning = desk.press_key(typed.lower())
        if warning:
            coach.void(warning)
        if typed.lower() not in KEYS:
            coach.mark()

    session = _run(wishes, clock, desk, press, desk.status)
    code = _judged(wishes, session, desk.samples, {}, practice=True)
    took = [verdict.procedure for verdict in desk.verdicts if verdict.met]
    names = ", ".join(dict.fromkeys(name.replace("_", " ") for name in took)) or "nothing"
    click.echo(f"\nThe practice car's controller learned: {names}.")
    return code


# Afterwards.


def _judged(
    wishes: Wishes,
    session: Session,
    samples: Samples,
    stands: dict[str, bool],
    *,
    practice: bool = False,
) -> int:
    """Judge what was read, show it, keep the attempt and foretell the next."""
    if session.phase in ("stopped", "void"):
        _keep(wishes, session, "", practice=practice)
        return _lost(session)
    recording = samples.recording("practice" if practice else "live")
    judgement = judge(recording, wishes.procedure, {**samples.marks(session.told), **stands})
    print_judgement(judgement, console())
    _keep(wishes, session, judgement.judgement, practice=practice)
    timing = learn_timing(Attempts(wishes.folder).read(wishes.person))
    print_prediction(
        wishes.procedure, timing, timing.predict(wishes.procedure, session.leads), console()
    )
    return 0 if judgement.judgement == MET else 1


def _lost(session: Session) -> int:
    why = f" {session.lost.why}" if session.lost else ""
    click.echo(f"Not met ({session.phase}).{why} {session.procedure.safe_state}")
    return 1


def _keep(wishes: Wishes, session: Session, judgement: str, *, practice: bool = False) -> None:
    when = datetime.now().astimezone().isoformat(timespec="seconds")
    attempt: KeptAttempt = kept_attempt(
        session, person=wishes.person, when=when, judgement=judgement, practice=practice
    )
    Attempts(wishes.folder).keep(attempt)
