"""What the server holds between requests: the book, captures under way, practice cars."""

import hashlib
import json
import tempfile
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from bellmouth.book.book import Book
from bellmouth.book.entries import Entry, effective
from bellmouth.book.files import write_whole
from bellmouth.book.known import car_of
from bellmouth.book.standing import known_of
from bellmouth.book.store import History
from bellmouth.car.description import Car
from bellmouth.errors import BellmouthError
from bellmouth.learning.attempts import Attempts
from bellmouth.pages.attempt_words import INTERRUPTED
from bellmouth.pages.site.coach_notes import CoachNotes
from bellmouth.pages.site.coached import Coached
from bellmouth.pages.site.families import Families
from bellmouth.pages.site.flow import name_of, of_job
from bellmouth.pages.site.live import Adapter, Live, Practice
from bellmouth.pages.site.once_read import OnceRead
from bellmouth.pages.site.own_procedures import OwnProcedures
from bellmouth.pages.site.seats import Seats
from bellmouth.pages.site.spoiled import interrupted
from bellmouth.pages.site.surveyed import Surveyed
from bellmouth.pages.site.uploads import read_fit
from bellmouth.recording.readers import journal_of

__all__ = ["Garage", "Visit"]


@dataclass(frozen=True)
class Visit:
    """A car in the middle of its job: everything that a page about it starts from."""

    key: str
    name: str
    car: Car
    complaint: str | None
    job: int | None
    entries: tuple[Entry, ...]
    here: tuple[Entry, ...]

    def numbers(self, kind: str) -> list[Entry]:
        """The entries of a kind in this job, oldest first."""
        return [one for one in self.here if one.kind == kind]

    def everywhere(self, kind: str) -> list[Entry]:
        """The entries of a kind in all jobs, oldest first."""
        return [one for one in effective(self.entries) if one.kind == kind]

    def coached_as(self, ident: str) -> Entry | None:
        """The attempt that a page made under a mark of its own."""
        mine = (
            one for one in self.everywhere("attempt")
            if (one.document.get("coached") or {}).get("id") == ident
        )  # fmt: skip
        return next(mine, None)


@dataclass
class Garage:
    """Everything that outlives a request. Safe to call from several threads.

    ``keeping`` is held while an attempt is looked for in the book and added where it is missing.
    ``people`` is the folder of what attempts tell of whoever made them; None for one of its own.
    """

    book: Book
    folder: Path = field(default_factory=lambda: Path(tempfile.mkdtemp(prefix="bellmouth-")))
    captures: dict[str, Live] = field(default_factory=dict)
    practices: dict[str, Practice] = field(default_factory=dict)
    coached: dict[str, Coached] = field(default_factory=dict)
    seats: Seats = field(default_factory=Seats)
    surveys: list[Surveyed] = field(default_factory=list)
    read: OnceRead = field(default_factory=OnceRead)
    people: Path | None = None
    _lock: threading.Lock = field(default_factory=threading.Lock)
    _making: threading.Lock = field(default_factory=threading.Lock)
    keeping: threading.RLock = field(default_factory=threading.RLock)
    _opening: set[str] = field(default_factory=set)

    def __post_init__(self) -> None:
        self.folder.mkdir(parents=True, exist_ok=True)
        self.notes = CoachNotes(self.folder)
        self.attempts = Attempts(self.people or self.folder / "attempts")
        self.families = Families(self.folder / "families")
        self.procedures = OwnProcedures(self.folder / "procedures")

    @property
    def rules_file(self) -> Path | None:
        """What holds at this place for readiness; None where the program's own table does."""
        path = self.folder / "readiness.toml"
        return path if path.is_file() else None

    def keep_rules(self, content: bytes | None) -> None:
        """Keep such a table, read and found good before, or none."""
        path = self.folder / "readiness.toml"
        if content is None:
            path.unlink(missing_ok=True)
        else:
            write_whole(path, content)

    def visit(self, key: str) -> Visit:
        """The car behind an address, with its newest job.

        Raises
        ------
        BellmouthError
            If there is no such car.
        """
        if not self.book.has(name := name_of(key)):
            raise BellmouthError("That address names no car. Go back to the list.")
        history = self.book.history(name)
        if self._void_interrupted(key, history):
            history = self.book.history(history.name)
        jobs = [one for one in effective(history.entries) if one.kind == "job"]
        job = jobs[-1].job if jobs else None
        complaint = jobs[-1].document.get("complaint") if jobs else None
        return Visit(
            key, history.name, car_of(known_of(history.entries).document), complaint, job,
            history.entries, of_job(history.entries, job),
        )  # fmt: skip

    def _void_interrupted(self, key: str, history: History) -> bool:
        """An attempt whose server was killed is void, and kept as such; whether there was one."""
        with self.keeping:
            left = self.notes.interrupted(_plain(key))
            if left is None:
                return False
            procedure, ident = left
            known = {
                (one.document.get("coached") or {}).get("id")
                for one in history.entries if one.kind == "attempt"
            }  # fmt: skip
            try:
                if ident not in known:
                    document = interrupted(self.procedures.find(procedure), ident, INTERRUPTED)
                    self.book.add(history.name, "attempt", document)
                self.notes.end(_plain(key))
            except (BellmouthError, OSError):
                # The disk is full or closed: the car can be looked at all the same, and the note
                # is still there for when it is not.
                return False
            return True

    def checked(self, visit: Visit, name: str) -> bool:
        """Whether somebody said, in this job, that a procedure was checked in the manual."""
        return self.notes.is_checked(_plain(visit.key), name, visit.job)

    def check(self, visit: Visit, name: str) -> None:
        """Somebody says so."""
        self.notes.check(_plain(visit.key), name, visit.job)

    def adapter(self, key: str) -> Adapter | None:
        """How a car is reached; None where nobody has said."""
        practice = self.practice(key)
        return practice.adapter if practice is not None else self.notes.adapter(_plain(key))

    def reached(self, key: str) -> Adapter | None:
        """How a real car was last reached, to be offered again."""
        return self.notes.adapter(_plain(key))

    def named(self, key: str, interface: str, channel: str, bitrate: int | None) -> Adapter:
        """The adapter that a form names, remembered as it is told; without a bit rate that is found
        by itself again. [bit/s]

        Raises
        ------
        BellmouthError
            If it names none.
        """
        if not interface.strip():
            raise BellmouthError("Say which adapter: its interface, and its channel.")
        found = Adapter(interface.strip(), channel.strip() or None, bitrate)
        if found != self.reached(key):
            self.reach(key, found)
        return found

    def reach(self, key: str, adapter: Adapter) -> None:
        """Keep how a car is reached, for the coach and for the next recording."""
        self.notes.reach(_plain(key), adapter)

    def capture(
        self, visit: Visit, adapter: Adapter, seconds: float | None,
        obey: Callable[[float], None] = lambda _: None, controller: int | None = None,
    ) -> Live:  # fmt: skip
        """Begin a capture of a car, where none is under way."""
        with self._lock:
            running = self.captures.get(visit.key)
            if running is not None and running.state.phase in {"opening", "running"}:
                raise BellmouthError("This car is being recorded, perhaps from another page.")
            coached = self.coached.get(visit.key)
            if visit.key in self._opening or (coached is not None and not coached.over):
                raise BellmouthError("A procedure is being coached on this car. Stop it first.")
            path = self._free(visit.key)
            live = Live(adapter, path, visit.car, visit.complaint, seconds, obey, controller)
            self.captures[visit.key] = live
            return live

    def left(self, key: str) -> list[Path]:
        """Captures of a car that nobody took into the book, as when the server was killed."""
        live = self.captures.get(key)
        names = {one.name.removesuffix(".journal") for one in self.folder.glob(f"{_plain(key)}-*")}
        found = sorted(self.folder / name for name in names if name.endswith(".parquet"))
        return [one for one in found if live is None or one != live.path]

    def add_recording(
        self, visit: Visit, path: Path, by: str | None = None, **reading: Any
    ) -> Entry | None:
        """Take a file into the job; the same samples sent again are not a second recording.

        ``by`` is who made it; ``reading`` goes to `uploads.read_fit`. Gives the entry that holds
        the same samples where that says otherwise whether loads were off.
        """
        from bellmouth.book.recordings import held  # noqa: PLC0415 - loads what reads recordings
        from bellmouth.finding.suitable import refuse_hopeless  # noqa: PLC0415

        recording = read_fit(path, **reading)
        # Kept, it would stand as the job's recording and no finding could be had.
        refuse_hopeless(recording)
        with self.keeping:
            there = self.visit(visit.key).numbers("recording")
            if (same := held(self.book, there, recording)) is None:
                self.book.add_recording(visit.name, recording, by=by)
            elif self.book.recording(visit.name, same.number).loads_off != recording.loads_off:
                return same
        return None

    def take(self, name: str, path: Path) -> None:
        """Take a capture into the book; its file goes only when the book has it."""
        self.book.add_recording(name, path)
        self.drop(path)

    @staticmethod
    def drop(path: Path) -> None:
        """Remove a capture's file."""
        for one in (path, journal_of(path)):
            one.unlink(missing_ok=True)

    def _free(self, key: str) -> Path:
        number = 1
        while (path := self.folder / f"{_plain(key)}-{number}.parquet").exists() or journal_of(
            path
        ).exists():
            number += 1
        return path

    def practise(self, key: str, practice: Practice) -> None:
        """Keep a practice car by the key of the car it plays."""
        with self._lock:
            old = self.practices.pop(key, None)
            self.practices[key] = practice
        if old is not None:
            old.close()
        self.remember(key)

    def remember(self, key: str) -> None:
        """Write down how a practice car was made and mended, for when the server starts anew."""
        practice = self.practices[key]
        told = {"made": practice.made, "works": practice.works}
        write_whole(self._practice_file(key), json.dumps(told).encode())

    def practice(self, key: str) -> Practice | None:
        """The practice car behind an address, made anew after a restart; None for a real car."""
        with self._making:
            if key in self.practices or not self._practice_file(key).is_file():
                return self.practices.get(key)
            try:
                told = json.loads(self._practice_file(key).read_text("utf-8"))
                made, works = dict(told["made"]), list(told["works"])
            except (ValueError, KeyError, TypeError, RecursionError) as error:
                raise BellmouthError(
                    "What this practice car was made of cannot be read any more. Take another one."
                ) from error
            practice = Practice(**made, state_file=self.state_file(key))
            practice.mend(works)
            self.practices[key] = practice
            return practice

    def is_practice(self, key: str) -> bool:
        """Whether a car is a practice car."""
        return key in self.practices or self._practice_file(key).is_file()

    def state_file(self, key: str) -> Path:
        """Where a practice car keeps what it learned."""
        return self.folder / f"{_plain(key)}.learned"

    def _practice_file(self, key: str) -> Path:
        return self.folder / f"{_plain(key)}.practice"

    def attempt(self, key: str, ident: str, make: Callable[[], Coached]) -> Coached:
        """Begin a coached attempt, where none is under way; it is noted before it starts."""
        with self._lock:
            running = self.coached.get(key)
            if key in self._opening or (running is not None and not running.over):
                raise BellmouthError("An attempt is under way on this car. Stop it first.")
            capture = self.captures.get(key)
            if capture is not None and capture.state.phase in {"opening", "running"}:
                raise BellmouthError("This car is being recorded. End that capture first.")
            self._opening.add(key)
        try:
            # Not under the lock: a car takes seconds to answer, and other cars go on meanwhile.
            made = make()
            try:
                self.notes.begin(_plain(key), made.procedure.name, ident)
            except OSError:
                made.abandon()
                raise
            self.coached[key] = made
            made.start()
            return made
        finally:
            self._opening.discard(key)

    def forget(self, visit: Visit) -> None:
        """Delete a car for good, with all that is kept of it here."""
        key = visit.key
        with self._lock:
            self._refuse_busy(key)
            self.book.delete(visit.name)
            practice = self.practices.pop(key, None)
            self.captures.pop(key, None)
            self.coached.pop(key, None)
        if practice is not None:
            practice.close()
        for one in (*self.folder.glob(f"{_plain(key)}.*"), *self.folder.glob(f"{_plain(key)}-*")):
            one.unlink(missing_ok=True)

    @contextmanager
    def renaming(self, visit: Visit) -> Iterator[None]:
        """While a car gets another name nothing may begin on it; refused where something runs."""
        with self._lock:
            self._refuse_busy(visit.key)
            yield

    def renamed(self, old: str, new: str) -> None:
        """Move what is kept under a car's old address to its new one."""
        if old == new:
            return
        for ending in (".", "-"):
            for one in self.folder.glob(f"{_plain(old)}{ending}*"):
                one.replace(one.with_name(one.name.replace(_plain(old), _plain(new), 1)))
        for kept in (self.captures, self.coached):
            kept.pop(old, None)

    def _refuse_busy(self, key: str) -> None:
        """Raise an error where a capture or an attempt runs on a car; under the lock."""
        capture, coached = self.captures.get(key), self.coached.get(key)
        if capture is not None and capture.state.phase in {"opening", "running"}:
            raise BellmouthError("This car is being recorded. End that capture first.")
        if key in self._opening or (coached is not None and not coached.over):
            raise BellmouthError("An attempt is under way on this car. Stop it first.")

    def refuse_busy(self, key: str) -> None:
        """Raise an error where a capture or an attempt runs on a car."""
        with self._lock:
            self._refuse_busy(key)

    def coaches(self, key: str, name: str) -> bool:
        """Whether an attempt at a procedure is being followed on a car."""
        coached = self.coached.get(key)
        return coached is not None and not coached.over and coached.procedure.name == name

    def attended(self, key: str) -> bool:
        """Whether the page that drives an attempt is still there; notes that the server is."""
        self.notes.touch(_plain(key))
        return self.seats.attended(key)

    def keep_attempt(self, key: str, name: str, document: dict[str, Any]) -> str:
        """Take a followed attempt into the book; gives its address."""
        entry = self.book.add(name, "attempt", document)
        # Where the note stays, the attempt is known by its mark and not taken for interrupted.
        with suppress(OSError):
            self.notes.end(_plain(key))
        return f"/car/{key}/attempt/{entry.number}"

    def close(self) -> None:
        """End everything that runs."""
        for survey in self.surveys:
            survey.close()
        for coached in self.coached.values():
            coached.close()
        for live in self.captures.values():
            live.close()
        for practice in self.practices.values():
            practice.close()
        self.book.close()


def _plain(key: str) -> str:
    """A car's part of its captures' names: nothing that came from outside."""
    return hashlib.sha256(key.encode()).hexdigest()[:20]
