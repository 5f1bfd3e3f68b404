"""Findings and proofs in the book: made from its recordings, kept with all that went in, and
made again whenever anyone asks."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from bellmouth.book.alike import differences
from bellmouth.book.done import done_between
from bellmouth.book.entries import Entry, effective, numbered, places
from bellmouth.book.known import car_of
from bellmouth.book.recordings import recording_of
from bellmouth.book.same_samples import apart
from bellmouth.book.standing import complaint_of, known_of
from bellmouth.book.store import Store
from bellmouth.book.versions import input_hash, model_version, software_version
from bellmouth.car import car_from_mapping
from bellmouth.errors import BellmouthError, BookError
from bellmouth.recording.series import Recording

if TYPE_CHECKING:
    from bellmouth.car.description import Car
    from bellmouth.finding.family import Family
    from bellmouth.finding.proof_result import Proof
    from bellmouth.finding.result import Finding

__all__ = [
    "CLEANED",
    "Judged",
    "Recomputed",
    "clean_recording",
    "judge",
    "judge_work",
    "keep",
    "recompute",
    "stands",
]

#: The work that begins a deposit anew.
CLEANED = "clean_plate"


_Result = TypeVar("_Result", "Finding", "Proof")


@dataclass(frozen=True)
class Judged(Generic[_Result]):
    """A finding or a proof, the recordings it is of, and what an entry keeps of its inputs."""

    kind: str
    result: _Result
    recordings: tuple[Recording, ...]
    car: "Car"
    inputs: Mapping[str, Any]
    files: tuple[str, ...]


@dataclass(frozen=True)
class Recomputed:
    """An entry made again: whether it came out as kept, what differs, and by which versions; or
    ``cannot``: the sentence why it could not be made, empty where it was."""

    entry: Entry
    same: bool
    differences: tuple[str, ...]
    kept_by: str
    made_by: str
    cannot: str = ""


def judge(
    store: Store,
    name: str,
    recording: int | None = None,
    *,
    also: Sequence[int] = (),
    references: Sequence[int] | None = None,
    results: Sequence[str] = (),
    complaint: str | None = None,
    prior: Mapping[str, float] | None = None,
    family: Mapping[str, Any] | None = None,
) -> "Judged[Finding]":
    """Ask what a recording of the book shows; the newest one where none is named.

    Numbers are those of entries; ``also`` are more recordings of the car as it is now, judged
    together with that one. Where no references are given, the car's own recording from just
    after its plate was last cleaned is one: against it a deposit is told far better than alone.
    The complaint is the job's where none is given. ``prior`` are own weights of the causes;
    ``family`` is an engine family: its ``name``, and as ``file`` the text of its file.
    """
    entries = store.history(name).entries
    if recording is None:
        found = _recordings(entries)
        if not found:
            raise BookError(f"{name}: has no recording yet. Add one first.")
        recording = found[-1].number
    chosen = numbered(entries, recording, "recording")
    inputs = {
        "recording": chosen.number,
        "references": list(
            _clean_apart(store, entries, chosen) if references is None else references
        ),
        "results": list(results),
        "complaint": complaint or complaint_of(entries, chosen.job),
        "car": known_of(entries).document["car"],
    }
    if also:
        inputs["also"] = list(also)
    if prior:
        inputs["prior"] = dict(prior)
    if family:
        inputs["family"] = dict(family)
    return _found(store, entries, inputs)


def _clean_apart(store: Store, entries: Sequence[Entry], chosen: Entry) -> list[int]:
    """The recording from when the car was clean, unless the chosen one is of the same samples."""

    def read(number: int) -> Recording:
        return recording_of(store, numbered(entries, number, "recording"))

    return apart(read, chosen.number, clean_recording(entries, chosen))


def clean_recording(entries: Sequence[Entry], chosen: Entry) -> list[int]:
    """The recording just after the plate was last cleaned, before the job of the chosen one."""
    now = [one for one in effective(entries) if (one.job or 0) < (chosen.job or 0)]
    cleaned = [one for one in now if one.kind == "work" and CLEANED in one.document["done"]]
    if not cleaned:
        return []
    last, place = cleaned[-1], places(entries)
    after = [one for one in now if place[one.number] > place[last.number] and one.job == last.job]
    failed = [one for one in after if one.kind == "proof"]
    if failed and failed[-1].document.get("proof", {}).get("verdict") == "worse":
        return []
    read = [one for one in after if one.kind == "recording" and one.files != chosen.files]
    return [one.number for one in read[-1:]]


def judge_work(
    store: Store,
    name: str,
    before: int | None = None,
    after: int | None = None,
    *,
    references: Sequence[int] = (),
    done: Sequence[str] = (),
    results: Sequence[str] = (),
    complaint: str | None = None,
    prior: Mapping[str, float] | None = None,
    family: Mapping[str, Any] | None = None,
) -> "Judged[Proof]":
    """Ask whether the work between two recordings helped; the newest two where none are named.

    What was done is what the book says was done between them, where it is not given. ``results``
    are of checks that were made after the work, ``prior`` own weights of the causes before it.
    """
    entries = store.history(name).entries
    before, after = _pair(name, entries, before, after)
    done = done or done_between(entries, before, after)
    inputs = {
        "before": before,
        "after": after,
        "references": list(references),
        "done": list(done),
        "complaint": complaint or complaint_of(entries, numbered(entries, before, "recording").job),
        "car": known_of(entries).document["car"],
    }
    if results:
        inputs["results"] = list(results)
    if prior:
        inputs["prior"] = dict(prior)
    if family:
        inputs["family"] = dict(family)
    return _proved(store, entries, inputs)


def _pair(
    name: str, entries: Sequence[Entry], before: int | None, after: int | None
) -> tuple[int, int]:
    """The two recordings of a proof: those that are named, or the newest two where none is."""
    if before is not None and after is not None:
        for one in (before, after):
            numbered(entries, one, "recording")
        return before, after
    if before is not None or after is not None:
        raise BookError("A proof is of two recordings, before and after: name both, or none.")
    found = _recordings(entries)
    if len(found) < 2:
        raise BookError(f"{name}: a proof needs a recording before and one after the work.")
    return found[-2].number, found[-1].number


def keep(
    store: Store,
    name: str,
    judged: "Judged[Finding] | Judged[Proof]",
    document: Mapping[str, Any],
    *,
    job: int | None = None,
    corrects: int | None = None,
) -> Entry:
    """Add a finding or a proof, its document as handed over, with everything it was made from."""
    whole = {**judged.inputs, judged.kind: dict(document)}
    return store.add(
        name, judged.kind, whole, files=judged.files, job=job, corrects=corrects,
        model=model_version(), input_hash=input_hash(judged.files, judged.inputs),
    )  # fmt: skip


def stands(store: Store, name: str, kept: Entry) -> bool:
    """Whether a kept finding is what `judge` would make now of what it was asked with: of the same
    samples, car and complaint, by the same model. Nothing is judged for it."""
    entries = store.history(name).entries
    try:
        chosen = numbered(entries, kept.document["recording"], "recording")
        files = [
            numbered(entries, one, "recording").files[0]
            for one in (
                chosen.number,
                *kept.document.get("also", ()),
                *kept.document["references"],
            )
        ]
    except (BookError, KeyError):
        return False
    inputs = {key: value for key, value in kept.document.items() if key != kept.kind}
    now = {
        "complaint": complaint_of(entries, chosen.job),
        "car": known_of(entries).document["car"],
    }
    same_input = input_hash(files, {**inputs, **now}) == kept.input_hash
    return same_input and kept.model == model_version()


def recompute(store: Store, name: str, number: int | None = None) -> tuple[Recomputed, ...]:
    """Make every finding and proof of a car again, or one of them, and compare.

    One of many that cannot be made again (a recording is missing or damaged, or what went in is not
    what was kept) says so and costs no other.

    Raises
    ------
    BellmouthError
        If the one entry that was named cannot be made again.
    """
    entries = store.history(name).entries
    kinds = ("finding", "proof")
    if number is None:
        chosen = [one for one in entries if one.kind in kinds and one.input_hash]
        return tuple(_again_or_why_not(store, entries, one) for one in chosen)
    named = numbered(entries, number)
    if named.kind not in kinds or not named.input_hash:
        raise BookError(f"Entry {number} of {name} is no finding or proof of this book.")
    return (_again(store, entries, named),)


def _again_or_why_not(store: Store, entries: Sequence[Entry], entry: Entry) -> Recomputed:
    try:
        return _again(store, entries, entry)
    except BellmouthError as error:
        kept_by, now = _by(entry.software, entry.model), _by(None, None)
        return Recomputed(entry, same=False, differences=(), kept_by=kept_by, made_by=now,
                          cannot=str(error))  # fmt: skip


def _again(store: Store, entries: Sequence[Entry], entry: Entry) -> Recomputed:
    inputs = {key: value for key, value in entry.document.items() if key != entry.kind}
    if input_hash(entry.files, inputs) != entry.input_hash:
        raise BookError(f"Entry {entry.number}: what went in is not what its hash says.")
    make = _found if entry.kind == "finding" else _proved
    made = make(store, entries, inputs)
    found = differences(entry.document[entry.kind], _laid_out(made))
    return Recomputed(
        entry, not found, tuple(found), _by(entry.software, entry.model), _by(None, None)
    )


def _laid_out(made: "Judged[Finding] | Judged[Proof]") -> dict[str, Any]:
    """A result as its document has it: a proof's learning and why stand together there."""
    told = asdict(made.result)
    if made.kind == "proof":
        told["learning"] = {"taken": told["learning_taken"], "why": told["learning"]}
    return told


def _by(software: str | None, model: str | None) -> str:
    return f"{software or software_version()}, model {model or model_version()}"


def _found(store: Store, entries: Sequence[Entry], inputs: Mapping[str, Any]) -> "Judged[Finding]":
    from bellmouth.finding import find  # noqa: PLC0415 - only judging loads the model

    numbers = [inputs["recording"], *inputs.get("also", ())]
    car, read, files = _read(store, entries, numbers, inputs)
    result = find(
        read[0], car, also=read[1 : len(numbers)], references=read[len(numbers) :],
        results=inputs["results"], prior=inputs.get("prior"), complaint=inputs["complaint"],
        family=_family(inputs.get("family")),
    )  # fmt: skip
    return Judged("finding", result, read, car, inputs, files)


def _proved(store: Store, entries: Sequence[Entry], inputs: Mapping[str, Any]) -> "Judged[Proof]":
    from bellmouth.finding.prove import prove  # noqa: PLC0415 - only judging loads the model

    car, read, files = _read(store, entries, [inputs["before"], inputs["after"]], inputs)
    before, after, *good = read
    result = prove(
        before, after, car, references=good, done=inputs["done"], prior=inputs.get("prior"),
        complaint=inputs["complaint"], family=_family(inputs.get("family")),
        results=inputs.get("results", ()),
    )  # fmt: skip
    return Judged("proof", result, read, car, inputs, files)


def _read(
    store: Store, entries: Sequence[Entry], numbers: Sequence[int], inputs: Mapping[str, Any]
) -> tuple["Car", tuple[Recording, ...], tuple[str, ...]]:
    """The car, the recordings of these entries and then of the references, and their files.

    Each is called by its entry: files of one name, as uploads all have, would not be told apart.
    """
    car = car_from_mapping(inputs["car"], car_of(known_of(entries).document).name or "car")
    chosen = [numbered(entries, one, "recording") for one in (*numbers, *inputs["references"])]
    read = tuple(replace(recording_of(store, one), source=f"Entry {one.number}") for one in chosen)
    return car, read, tuple(one.files[0] for one in chosen)


def _family(told: Mapping[str, Any] | None) -> "Family | None":
    from bellmouth.finding.family import family_in  # noqa: PLC0415 - only judging loads the model

    return None if told is None else family_in(told["file"], "the engine family")


def _recordings(entries: Sequence[Entry]) -> list[Entry]:
    return [one for one in effective(entries) if one.kind == "recording"]
