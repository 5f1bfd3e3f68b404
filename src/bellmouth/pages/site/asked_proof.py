"""Which two recordings a job's proof is of, and what else it is asked with."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from bellmouth.book.entries import Entry, effective, places
from bellmouth.book.judging import Judged
from bellmouth.errors import BellmouthError
from bellmouth.finding.proof_result import Proof
from bellmouth.pages.document import proof_document
from bellmouth.pages.site.families import family_of_job
from bellmouth.pages.site.garage import Garage, Visit

__all__ = ["CHOSEN", "choose", "chosen_pair", "keep_proof", "proof_asked", "proved"]

#: Says of a proof in the book that somebody chose its recordings.
CHOSEN = "chosen"
_KEPT = ("before", "after", "references", "done", "results", "prior")


def proof_asked(visit: Visit) -> dict[str, Any] | None:
    """What the proof of this job is asked with; None where two recordings are missing.

    At first the first recording of the job against its last. Whatever somebody chose stands until
    the job has another recording; own weights and good recordings stand after that, too.
    """
    here, kept = visit.numbers("recording"), visit.numbers("proof")
    chosen = _chosen(visit, kept[-1]) if kept else {}
    place = places(visit.entries)
    # A recording that came after the choice is what the work is proved by now.
    newer = chosen and here and place[here[-1].number] > place[kept[-1].number]
    if "before" in chosen and not newer:
        return chosen
    if len(here) < 2:
        return None
    said: dict[str, Any] = {
        name: chosen[name] for name in ("references", "prior") if name in chosen
    }
    return {"before": here[0].number, "after": here[-1].number, **said}


def _chosen(visit: Visit, entry: Entry) -> dict[str, Any]:
    """What somebody chose a proof to be of; nothing where nobody did, or a recording was corrected
    since."""
    if not entry.document.get(CHOSEN):
        return {}
    found = {name: entry.document[name] for name in _KEPT if entry.document.get(name)}
    there = {one.number for one in visit.everywhere("recording")}
    found["references"] = [one for one in found.get("references", []) if one in there]
    if not {found["before"], found["after"]} <= there:
        del found["before"], found["after"]
        found.pop("done", None)
        found.pop("results", None)
    return found


def chosen_pair(visit: Visit, before: int, after: int) -> tuple[int, int]:
    """Two recordings of the car, the one from before the work first.

    Raises
    ------
    BellmouthError
        If one is none of the car's, both are the same, or the later one was called the first.
    """
    order = [one.number for one in effective(visit.entries) if one.kind == "recording"]
    if before not in order or after not in order:
        raise BellmouthError("That is no recording of this car. Choose from the list.")
    if before == after:
        raise BellmouthError("A proof needs two recordings: choose another before or after.")
    if order.index(before) > order.index(after):
        raise BellmouthError(
            f"Entry {before} was recorded after entry {after}. Choose the earlier one as the one "
            "before the work."
        )
    return before, after


def proved(garage: Garage, visit: Visit, asked: Mapping[str, Any]) -> tuple[Judged[Proof], Proof]:
    """The proof of two recordings."""
    said = {name: asked[name] for name in _KEPT[2:] if asked.get(name)}
    judged = garage.book.judge_work(
        visit.name, asked["before"], asked["after"], family=family_of_job(visit), **said
    )
    return judged, judged.result


def keep_proof(garage: Garage, visit: Visit, judged: Judged[Proof], proof: Proof) -> bool:
    """Keep a proof where the job has none that was made from the same; whether it was kept now."""

    def made_from(document: Mapping[str, Any]) -> dict[str, Any]:
        return {name: one for name, one in document.items() if name not in ("proof", CHOSEN)}

    with garage.keeping:
        kept = garage.visit(visit.key).numbers("proof")
        if any(made_from(one.document) == made_from(judged.inputs) for one in kept):
            return False
        garage.book.keep(visit.name, judged, proof_document(proof))
        return True


def choose(garage: Garage, visit: Visit, asked: Mapping[str, Any]) -> None:
    """Make a proof as it is asked for, and keep it as what somebody chose."""
    judged, found = proved(garage, visit, asked)
    chosen = replace(judged, inputs={**judged.inputs, CHOSEN: True})
    garage.book.keep(visit.name, chosen, proof_document(found))
