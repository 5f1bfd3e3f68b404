"""The book as plain data: a car's page, a line of a list, a finding made again."""

from collections.abc import Mapping
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from bellmouth.book.archive import identifications
from bellmouth.book.entries import Entry, effective
from bellmouth.book.lists import Standing
from bellmouth.book.masking import masked_in
from bellmouth.book.standing import known_of
from bellmouth.book.store import History
from bellmouth.pages.metered import shown_cause
from bellmouth.pages.words import chance, name_words

if TYPE_CHECKING:
    from bellmouth.book.judging import Recomputed

__all__ = ["car_page", "finding_gist", "recomputed_document", "standing_document"]


def car_page(history: History, standing: Standing, *, masked: bool = True) -> dict[str, Any]:
    """Everything that a car's page shows; its identification number masked by default."""
    known = known_of(history.entries).document
    now = {entry.number for entry in effective(history.entries)}
    page = {
        **standing_document(standing),
        "identification": known.get("identification"),
        "car": known["car"],
        "entries": [
            {
                **asdict(entry),
                "corrected": entry.number not in now,
                "gist": _gist(entry, known["car"].get("metering", "")),
            }
            for entry in history.entries
        ],
    }
    numbers = identifications(history.entries) if masked else set()
    whole: dict[str, Any] = masked_in(page, numbers)
    return whole


def standing_document(standing: Standing) -> dict[str, Any]:
    """A line of the list of cars, or of those that are due. Odometers in km."""
    return asdict(standing)


def recomputed_document(one: "Recomputed") -> dict[str, Any]:
    """Whether an entry came out again as it was kept; ``cannot`` is why it could not be made, null
    where it was."""
    return {
        "entry": one.entry.number,
        "kind": one.entry.kind,
        "same": one.same,
        "cannot": one.cannot or None,
        "differences": list(one.differences),
        "kept_by": one.kept_by,
        "made_by": one.made_by,
    }


def finding_gist(finding: Mapping[str, Any], metering: str) -> str:
    """A kept finding in a few words, those of a car that meters its air in this way."""
    first = finding["causes"][0]
    told = f"{name_words(shown_cause(first['cause'], metering))}, {chance(first['probability'])}"
    if odd := finding.get("disagreeing"):
        told += f"; but a check disagrees ({', '.join(map(name_words, odd))})"
    return told


def _gist(entry: Entry, metering: str) -> str:
    """An entry in a few words."""
    said = entry.document
    if entry.kind == "finding":
        return finding_gist(said["finding"], metering)
    if entry.kind == "recording":
        return f"{said['source']}: {len(said['parameters'])} parameters, {said['seconds']:.0f} s"
    words = {
        "car": said.get("kind") or "what is known of it",
        "job": said.get("complaint") or "no complaint noted",
        "work": ", ".join(said.get("done", ())),
        "proof": said.get("proof", {}).get("verdict", ""),
        "note": said.get("text", ""),
        "photo": said.get("text") or f"{said.get('width')} by {said.get('height')} points",
    }
    return str(words.get(entry.kind, ""))
