"""Running a coached attempt in a terminal: confirm, coach, judge, keep, foretell."""

import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import click

from bellmouth.book.places import default_folder
from bellmouth.cli.coach_intro import confirm_standing, fixed, show_readings, sound_words
from bellmouth.cli.terminal_keys import terminal_keys
from bellmouth.learning.attempts import Attempts, KeptAttempt, kept_attempt
from bellmouth.learning.clock import Clock, MonotonicClock
from bellmouth.learning.coach import Coach, Observer
from bellmouth.learning.cues import TONES_HZ, Cue
from bellmouth.learning.judge import judge
from bellmouth.learning.judgement import MET
from bellmouth.learning.person import learn_timing
from bellmouth.learning.priority import preferred
from bellmouth.learning.procedure import Procedure
from bellmouth.learning.samples import Samples
from bellmouth.learning.schedule import Leads
from bellmouth.learning.session import Session, leads_of
from bellmouth.pages.attempt_words import KEY_AGAIN
from bellmouth.pages.card_catalogue import default_language
from bellmouth.pages.card_words import Words
from bellmouth.pages.coach_card import coach_card, two_person_script
from bellmouth.pages.coach_forecast import print_prediction
from bellmouth.pages.coach_paper import say
from bellmouth.pages.coach_screen import CoachLines, CoachScreen
from bellmouth.pages.coach_sound import Bell, Tones, open_sound
from bellmouth.pages.coach_told import Told
from bellmouth.pages.judgement import print_judgement
from bellmouth.pages.lists import console

__all__ = [
    "Wishes",
    "check_sound",
    "coach_by_marks",
    "coach_live",
    "default_language",
    "folder_of",
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

    @property
    def words(self) -> Words:
        """The reader's language."""
        return Words(self.language)

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
    procedure: Procedure,
    words: Words,
    *,
    card: bool,
    two_person: bool,
    html: Path | None = None,
) -> None:
    """The card, the script for two, or both; the card as a page to print where that is wanted."""
    if card:
        click.echo(coach_card(procedure, words), nl=False)
    if two_person:
        click.echo(two_person_script(procedure, words=words), nl=False)
    if html is not None:
        from bellmouth.pages.coach_card_html import write_html  # noqa: PLC0415 - pages alone

        write_html(html, procedure, words)
        click.echo(say(words, "written", file=str(html)))


def print_forecast(
    procedure: Procedure, folder: Path, person: str, lead_s: float | None, words: Words
) -> None:
    """How likely the next attempt is to pass."""
    timing = learn_timing(Attempts(folder).read(person or None))
    prediction = timing.predict(procedure, leads_of(lead_s or 0.0))
    print_prediction(procedure, timing, prediction, console(), words)


def check_sound(words: Words) -> None:
    """Every tone with its meaning, one a second."""
    import time  # noqa: PLC0415

    sounds, told, close = open_sound({})
    click.echo(say(words, "sound", sound=sound_words(words, told)))
    for name in TONES_HZ:
        click.echo(f"  {say(words, f'tone_{name}')}")
        sounds.sound(Cue(0.0, "now", "", name))
        time.sleep(0.8)
    close()


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
        return None, fixed(wishes.words, "silent"), _silent
    called = Told(wishes.procedure, wishes.words).called()
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
    called = Told(wishes.procedure, wishes.words).say
    face = (
        CoachScreen(out, sounds, caller=wishes.two_person, told=called)
        if out.is_terminal
        else CoachLines(click.echo, sounds, called)
    )
    sound = sound_words(wishes.words, told)
    click.echo(fixed(wishes.words, "sound", sound=sound, folder=str(wishes.folder)))
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
                    _show_the_end(wishes, session, observer, clock)
    except KeyboardInterrupt:
        coach.stop()
        click.echo()
    finally:
        close_sound()
    return session


def _show_the_end(wishes: Wishes, session: Session, observer: Observer, clock: Clock) -> None:
    """A time with the key off is on record only once the key is on again."""
    step = session.procedure.steps[-1]
    if (step.who, step.do) != ("key", "off"):
        return
    click.echo(wishes.words.text(KEY_AGAIN))
    began_s = clock.now_s()
    while clock.now_s() < began_s + _END_S:
        clock.wait(clock.now_s() + 0.1, threading.Event())
        if observer.samples.latest_s > began_s + 1.0:
            return


def _mark(coach: Coach, _: str) -> None:
    coach.mark()


def coach_by_marks(wishes: Wishes) -> int:
    """Coach with what the person marks alone."""
    confirm_standing(wishes.procedure, wishes.words)
    if wishes.two_person:
        print_paper(wishes.procedure, wishes.words, card=False, two_person=True)
    session = _run(wishes, make_clock(), None, _mark)
    _keep(wishes, session, "")
    if session.phase == "done":
        click.echo(fixed(wishes.words, "unwatched"))
        click.echo(fixed(wishes.words, "judge"))
        return 0
    return _lost(wishes, session)


def coach_live(wishes: Wishes, adapter: tuple[str, str | None, int | None]) -> int:
    """Coach while the car's signals are followed, and judge from them afterwards."""
    from bellmouth.cli.adapter_options import open_car  # noqa: PLC0415 - loads the CAN libraries
    from bellmouth.learning.watching import CarObserver  # noqa: PLC0415

    with open_car(*adapter, wishes.words) as client:
        observer = CarObserver(client)
        show_readings(wishes.procedure, wishes.words, observer)
        stands = confirm_standing(wishes.procedure, wishes.words)
        session = _run(wishes, make_clock(), observer, _mark)
    if observer.failure is not None:
        click.echo(fixed(wishes.words, "ended_early", why=str(observer.failure)))
    return _judged(wishes, session, observer.samples, stands)


def practise(wishes: Wishes) -> int:
    """Practise on the keyboard, and judge it as a real attempt is judged."""
    from bellmouth.practice.desk import KEYS, Desk  # noqa: PLC0415

    clock = make_clock()
    desk = Desk(clock, procedure=wishes.procedure)
    for key, what in KEYS.items():
        name = fixed(wishes.words, "space") if key == " " else key
        click.echo(f"  {name:9} {wishes.words.text(what)}")

    def press(coach: Coach, typed: str) -> None:
        warning = desk.press_key(typed.lower())
        if warning:
            coach.void(warning)
        if typed.lower() not in KEYS:
            coach.mark()

    session = _run(wishes, clock, desk, press, lambda: desk.status(wishes.words.text))
    code = _judged(wishes, session, desk.samples, {}, practice=True)
    took = [verdict.procedure for verdict in desk.verdicts if verdict.met]
    names = [fixed(wishes.words, name) for name in dict.fromkeys(took)]
    what = ", ".join(names) or fixed(wishes.words, "nothing")
    click.echo(f"\n{fixed(wishes.words, 'learned', what=what)}")
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
        return _lost(wishes, session)
    recording = samples.recording("practice" if practice else "live")
    judgement = judge(recording, wishes.procedure, {**samples.marks(session.told), **stands})
    print_judgement(judgement, console(), wishes.words, wishes.procedure)
    _keep(wishes, session, judgement.judgement, practice=practice)
    timing = learn_timing(Attempts(wishes.folder).read(wishes.person))
    prediction = timing.predict(wishes.procedure, session.leads)
    print_prediction(wishes.procedure, timing, prediction, console(), wishes.words)
    return 0 if judgement.judgement == MET else 1


def _lost(wishes: Wishes, session: Session) -> int:
    words = wishes.words
    phase = words.text(session.phase)
    why = words.told(session.lost.why) if session.lost else ""
    safe = words.text(session.procedure.safe_state)
    said = (fixed(words, "not_met", phase=phase), why, safe)
    click.echo(" ".join(part for part in said if part))
    return 1


def _keep(wishes: Wishes, session: Session, judgement: str, *, practice: bool = False) -> None:
    when = datetime.now().astimezone().isoformat(timespec="seconds")
    attempt: KeptAttempt = kept_attempt(
        session, person=wishes.person, when=when, judgement=judgement, practice=practice
    )
    Attempts(wishes.folder).keep(attempt)
