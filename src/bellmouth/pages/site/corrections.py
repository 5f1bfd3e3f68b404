"""Correcting what a car's book says: a new entry in the place of an old one, which stays."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from bellmouth.book.entries import Entry, effective, places
from bellmouth.errors import BellmouthError
from bellmouth.pages.document import finding_document, proof_document
from bellmouth.pages.site.asked_proof import CHOSEN
from bellmouth.pages.site.garage import Garage, Visit
from bellmouth.pages.site.persons import named
from bellmouth.pages.site.uploads import read_fit
from bellmouth.pages.site.view_finding import asked_of, made_again
from bellmouth.pages.site.view_keeping import good_recordings
from bellmouth.pages.site.view_work import done_said
from bellmouth.reading import json_in, text_of

__all__ = ["Wanted", "can_be_corrected", "correct", "now_stands", "turn_loads"]

_ASKED = ("also", "references", "results", "done", "complaint", "prior", "family")


@dataclass(frozen=True)
class Wanted:
    """What is said instead: fields of a form, and a file where one was sent. [km]"""

    text: str = ""
    by: str = ""
    gasket: str = ""
    work: tuple[str, ...] = ()
    distance_km: float | None = None
    complaint: str = ""
    on: str = ""
    comeback_of: int | None = None
    file: Path | None = None
    reading: Mapping[str, Any] = field(default_factory=dict)
    loads_off: bool = False


def now_stands(visit: Visit, entry: Entry) -> Entry:
    """The entry that stands in an entry's place by now; itself where nothing was corrected."""
    place = places(visit.entries)
    return next(one for one in effective(visit.entries) if place[one.number] == place[entry.number])


def can_be_corrected(entry: Entry) -> bool:
    """Whether a page corrects it; what the page wrote itself is corrected where it was said."""
    return entry.kind in _BY_KIND and not (entry.kind == "note" and len(entry.document) > 1)


def correct(garage: Garage, visit: Visit, entry: Entry, wanted: Wanted) -> Entry:
    """Put an entry in the place of another; the finding of this job is made again where it rests
    on it.

    Raises
    ------
    BellmouthError
        If it was corrected before, cannot be, or what is said makes no entry.
    """
    stands = now_stands(visit, entry)
    if stands.number != entry.number:
        raise BellmouthError(
            f"Entry {entry.number} was corrected already: entry {stands.number} stands in its "
            "place. Correct that one."
        )
    if not can_be_corrected(entry):
        raise BellmouthError("This entry is corrected where it was said, or not at all.")
    new = _BY_KIND[entry.kind](garage, visit, entry, wanted)
    if entry.kind in ("job", "recording") and entry.job == visit.job:
        _judge_again(garage, visit.key, entry.number, new.number)
    return new


def turn_loads(garage: Garage, visit: Visit, entry: Entry, by: str) -> Entry:
    """Correct a recording that says otherwise than its file, sent again, whether loads were off;
    who made it stays, unless ``by`` says."""
    said = garage.book.recording(visit.name, entry.number).loads_off
    wanted = Wanted(by=by or entry.document.get("by", ""), loads_off=not said)
    return correct(garage, garage.visit(visit.key), entry, wanted)


def _note(garage: Garage, visit: Visit, entry: Entry, wanted: Wanted) -> Entry:
    if not wanted.text:
        raise BellmouthError("A note needs its text. To take it back, say so in it.")
    return garage.book.add(visit.name, "note", {"text": wanted.text}, corrects=entry.number)


def _photo(garage: Garage, visit: Visit, entry: Entry, wanted: Wanted) -> Entry:
    if wanted.file is not None:
        return garage.book.add_photo(
            visit.name, wanted.file, text=wanted.text, corrects=entry.number
        )
    said = {name: one for name, one in entry.document.items() if name != "text"}
    said |= {"text": wanted.text} if wanted.text else {}
    return garage.book.add(
        visit.name, "photo", said, files=entry.files, corrects=entry.number
    )  # fmt: skip


def _work(garage: Garage, visit: Visit, entry: Entry, wanted: Wanted) -> Entry:
    said = done_said(wanted.work, wanted.by, wanted.gasket)
    return garage.book.add(visit.name, "work", said, corrects=entry.number)


def _attempt(garage: Garage, visit: Visit, entry: Entry, wanted: Wanted) -> Entry:
    said = {name: one for name, one in entry.document.items() if name != "by"}
    said |= {"by": named(wanted.by)} if named(wanted.by) else {}
    return garage.book.add(visit.name, "attempt", said, corrects=entry.number)


def _card(garage: Garage, visit: Visit, entry: Entry, wanted: Wanted) -> Entry:
    try:
        told = None if wanted.file is None else json_in(text_of(wanted.file))
    except ValueError:
        told = None
    if not isinstance(told, dict):
        raise BellmouthError(
            "Choose the card that is to stand in its place, a JSON file as its page gives it."
        )
    return garage.book.add(visit.name, "card", told, corrects=entry.number)


def _recording(garage: Garage, visit: Visit, entry: Entry, wanted: Wanted) -> Entry:
    if wanted.file is not None:
        recording = read_fit(wanted.file, loads_off=wanted.loads_off, **wanted.reading)
    else:
        kept = garage.book.recording(visit.name, entry.number)
        recording = replace(kept, loads_off=wanted.loads_off)
    was_good = entry.number in good_recordings(visit)
    new = garage.book.add_recording(
        visit.name, recording, by=named(wanted.by) or None, corrects=entry.number
    )
    if was_good:
        text = f"Recording {new.number} is the car when it was good."
        told = {"text": text, "recording": new.number, "good": True}
        garage.book.add(visit.name, "note", told, job=entry.job)
    return new


def _job(garage: Garage, visit: Visit, entry: Entry, wanted: Wanted) -> Entry:
    return garage.book.open_job(
        visit.name, distance_km=wanted.distance_km, on=wanted.on or None,
        complaint=wanted.complaint or None, comeback_of=wanted.comeback_of,
        corrects=entry.number,
    )  # fmt: skip


def _finding(garage: Garage, visit: Visit, entry: Entry, _: Wanted) -> Entry:
    """A finding made again, by what is known of the car and its recordings now."""
    now, said = _asked_now(visit, entry)
    said["also"] = [now(one) for one in said.get("also", [])]
    judged = garage.book.judge(visit.name, now(entry.document["recording"]), **said)
    told = finding_document(judged.result)
    return garage.book.keep(visit.name, judged, told, corrects=entry.number)


def _proof(garage: Garage, visit: Visit, entry: Entry, _: Wanted) -> Entry:
    """A proof made again in the same way; what somebody chose stays chosen."""
    now, said = _asked_now(visit, entry)
    pair = (now(entry.document[name]) for name in ("before", "after"))
    judged = garage.book.judge_work(visit.name, *pair, **said)
    if entry.document.get(CHOSEN):
        judged = replace(judged, inputs={**judged.inputs, CHOSEN: True})
    told = proof_document(judged.result)
    return garage.book.keep(visit.name, judged, told, corrects=entry.number)


def _asked_now(visit: Visit, entry: Entry) -> tuple[Callable[[int], int], dict[str, Any]]:
    """Which recording stands now where one stood, and what the entry was asked with, by these."""
    place = places(visit.entries)
    of = {place[one.number]: one.number for one in visit.everywhere("recording")}

    def now(number: int) -> int:
        return of.get(place[number], number)

    said = {name: entry.document[name] for name in _ASKED if entry.document.get(name)}
    said["references"] = [now(one) for one in said.get("references", [])]
    return now, said


def _judge_again(garage: Garage, key: str, old: int, new: int) -> None:
    visit = garage.visit(key)
    findings = visit.numbers("finding")
    if findings and visit.numbers("recording"):
        asked = asked_of(visit)
        if findings[-1].document.get("recording") == old:
            asked["recording"] = new
        for name in ("also", "references"):
            asked[name] = [new if one == old else one for one in asked.get(name, [])]
        made_again(garage, visit, asked)


_BY_KIND: Mapping[str, Callable[[Garage, Visit, Entry, Wanted], Entry]] = {
    "note": _note, "photo": _photo, "work": _work, "attempt": _attempt, "card": _card,
    "recording": _recording, "job": _job, "finding": _finding, "proof": _proof,
}  # fmt: skip
