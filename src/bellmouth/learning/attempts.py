"""Attempts, each kept as one line of JSON: what was tried, how it ended, and every timing.

Which timings worked on a car is the only real knowledge of its tolerance, and what a person
usually does is the only real knowledge of theirs. Kept locally; nobody's name is needed.
"""

import json
import math
import os
from collections.abc import Iterable
from dataclasses import asdict, dataclass, field, fields
from pathlib import Path
from typing import Any, get_args

from bellmouth.errors import ProcedureError
from bellmouth.learning.schedule import Kind
from bellmouth.learning.session import Session, Timing
from bellmouth.reading import json_in

__all__ = ["FILE", "Attempts", "KeptAttempt", "kept_attempt"]

FILE = "attempts.jsonl"
_VERSION = 1
#: Off by more than this, it was no matter of timing but a slip. [s]
_SLIP_S = 1.0


@dataclass(frozen=True)
class KeptAttempt:
    """One go at a procedure, as it is kept.

    Attributes
    ----------
    procedure, person
        Names; ``person`` may be empty or a number.
    when
        Date and time with its zone, as told by the caller; for people only.
    outcome
        ``done``, ``lost``, ``stopped`` or ``void``.
    judgement
        The judge's afterwards, empty where nothing was judged.
    lost_step, lost_why, by_s
        Where it was lost, in words, and by how much where time decided. [s]
    leads
        In force, by kind of action. [s]
    live
        Whether the coach followed signals.
    practice
        Whether it was without a car.
    timings
        Every action that was seen, on the coach's clock. [s]
    marks
        Events, on the same clock. [s]
    """

    procedure: str
    person: str = ""
    when: str = ""
    outcome: str = ""
    judgement: str = ""
    lost_step: str = ""
    lost_why: str = ""
    by_s: float | None = None
    leads: dict[str, float] = field(default_factory=dict)
    live: bool = False
    practice: bool = False
    timings: tuple[Timing, ...] = ()
    marks: dict[str, list[float]] = field(default_factory=dict)

    @property
    def counts(self) -> bool:
        """Whether it says anything about the person: not where the computer failed."""
        return self.outcome in ("done", "lost")

    @property
    def slipped(self) -> bool:
        """Whether it was lost by something else than timing: a press too many, a step forgotten."""
        if self.outcome != "lost":
            return False
        return self.by_s is None or abs(self.by_s) > _SLIP_S


def kept_attempt(session: Session, **known: Any) -> KeptAttempt:
    """An attempt to keep, from a session that is over and what else the caller knows."""
    lost = session.lost
    return KeptAttempt(
        procedure=session.procedure.name,
        outcome=session.phase,
        lost_step=lost.step if lost else "",
        lost_why=lost.why if lost else "",
        by_s=lost.by_s if lost else None,
        leads={kind: float(value) for kind, value in session.leads.items()},
        live=bool(session.follower.watched),
        timings=tuple(session.timings),
        marks={name: list(times) for name, times in session.marks.items()},
        **known,
    )


class Attempts:
    """A folder's attempts; each is written at once, and none is ever changed."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / FILE

    def keep(self, attempt: KeptAttempt) -> None:
        """Add one attempt; it is on disk when this returns.

        Raises
        ------
        ProcedureError
            If the folder cannot be written.
        """
        line = json.dumps({"version": _VERSION, **asdict(attempt)}, ensure_ascii=False)
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            with self.path.open("a", encoding="utf-8") as file:
                # A line cut off by a crash must not swallow this one.
                file.write(line + "\n" if self._ends_well() else "\n" + line + "\n")
                file.flush()
                os.fsync(file.fileno())
        except OSError as error:
            raise ProcedureError(
                f"{self.path}: the attempt cannot be kept ({error.strerror}); choose another "
                "folder with --keep."
            ) from error

    def _ends_well(self) -> bool:
        if not self.path.exists() or self.path.stat().st_size == 0:
            return True
        with self.path.open("rb") as file:
            file.seek(-1, os.SEEK_END)
            return file.read(1) == b"\n"

    def read(self, person: str | None = None, procedure: str | None = None) -> list[KeptAttempt]:
        """Attempts in the order they were made, of one person or at one procedure.

        Lines that are cut off or not understood are passed over; :meth:`unread` counts them.
        """
        return [
            one
            for one in self._every()
            if (person is None or one.person == person)
            and (procedure is None or one.procedure == procedure)
        ]

    def unread(self) -> int:
        """How many lines could not be understood."""
        return sum(1 for _ in self._lines()) - len(list(self._every()))

    def _lines(self) -> Iterable[str]:
        try:
            text = self.path.read_text("utf-8", errors="replace")
        except FileNotFoundError:
            return []
        except OSError as error:
            raise ProcedureError(f"{self.path}: cannot be read ({error.strerror}).") from error
        return [line for line in text.splitlines() if line.strip()]

    def _every(self) -> Iterable[KeptAttempt]:
        for line in self._lines():
            attempt = _attempt(line)
            if attempt is not None:
                yield attempt


def _attempt(line: str) -> KeptAttempt | None:
    try:
        document = json_in(line)
        timings = tuple(Timing(**one) for one in document.pop("timings", ()))
        known = {one.name for one in fields(KeptAttempt)}
        found = KeptAttempt(
            timings=timings, **{name: value for name, value in document.items() if name in known}
        )
        whole = _is_whole(found)
    except (ValueError, TypeError, AttributeError):
        return None
    return found if whole else None


def _is_whole(found: Any) -> bool:
    """Whether everything is of the kind that is written: what reckons with it does not look."""
    texts = (
        found.procedure, found.person, found.when, found.outcome, found.judgement, found.lost_step,
        found.lost_why, *found.leads, *found.marks, *(one.step for one in found.timings),
    )  # fmt: skip
    seconds = [0.0 if found.by_s is None else found.by_s, *found.leads.values()]
    seconds += [at for times in found.marks.values() for at in times]
    seconds += [at for one in found.timings for at in (one.cued_s, one.done_s, one.give_s)]
    numbers = [*seconds, *(one.number for one in found.timings)]
    return (
        all(isinstance(text, str) for text in texts)
        and all(isinstance(number, int | float) and math.isfinite(number) for number in numbers)
        and all(one.kind in get_args(Kind) for one in found.timings)
    )
