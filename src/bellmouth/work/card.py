"""The job card: order of work, parts, cautions, timers, tallies, learning, fields to sign.

It holds English texts, which are the keys of the catalogue, and metric quantities; a face chooses
language and units. What it says is common practice without a source, so the first step is the
maker's manual and a torque is only ever the user's own.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from bellmouth.book.masking import mask_within
from bellmouth.car.description import Car
from bellmouth.finding.result import Finding, With
from bellmouth.work.before import Before, made_from, step_made_from
from bellmouth.work.content import content
from bellmouth.work.learning_rows import LearningRow, called_for, learning_row
from bellmouth.work.phrases import Phrase, Quantity, phrase, quantity
from bellmouth.work.proposal import FoundCause, found_causes, objections, propose, steps_for
from bellmouth.work.unsettled import Unsettled, unsettled
from bellmouth.work.works import WorkError, check_works

__all__ = [
    "UNSOURCED",
    "Card",
    "CardStep",
    "Header",
    "Material",
    "Memory",
    "Reading",
    "SolventRule",
    "Stage",
    "Tightening",
    "Timer",
    "make_card",
]

#: The mark of a time that no source stands behind.
UNSOURCED = "common practice, no source"

_LONGEST_TEXT = 48  # one line of the printed card


@dataclass(frozen=True, slots=True)
class Header:
    """What the card knows of the car; ``None`` and empty are unknown. ``name`` is masked."""

    name: str
    displacement_l: float
    cylinders: int | None
    metering: str
    banks: int | None
    idle_rpm: float | None
    complaint: str


@dataclass(frozen=True, slots=True)
class Timer:
    """A wait: what for, at least how long (None: only the manual or the nose says), and source."""

    what: Phrase
    least: Quantity | None
    source: str


@dataclass(frozen=True, slots=True)
class CardStep:
    """A step with its running number, the cautions that concern it, and lines to fill in.

    ``shows`` names the table that belongs to the step: ``before_after``, ``materials``,
    ``memories``, ``tally``, ``solvents``, ``tightening`` or ``learning``.
    """

    number: int
    name: str
    say: Phrase
    cautions: tuple[Phrase, ...] = ()
    timer: Timer | None = None
    blanks: tuple[Phrase, ...] = ()
    shows: str = ""


@dataclass(frozen=True, slots=True)
class Stage:
    """A part of the work that is done in one go."""

    name: str
    title: Phrase
    steps: tuple[CardStep, ...]


@dataclass(frozen=True, slots=True)
class Material:
    """Something that must lie ready; ``kind`` is ``part`` or ``consumable``."""

    kind: str
    say: Phrase


@dataclass(frozen=True, slots=True)
class SolventRule:
    """What may touch a part and what may not."""

    part: Phrase
    allowed: Phrase
    forbidden: Phrase


@dataclass(frozen=True, slots=True)
class Memory:
    """What a lifted battery loses, and how it comes back."""

    lost: Phrase
    back: Phrase


@dataclass(frozen=True, slots=True)
class Reading:
    """A row of the table of before and after; ``bank`` 0 is none, ``unit`` may be empty."""

    say: Phrase
    unit: str
    bank: int = 0


@dataclass(frozen=True, slots=True)
class Tightening:
    """A flange's bolts: ``order[i]`` is the bolt tightened as number i + 1, counted clockwise."""

    bolts: int
    order: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Card:
    """A job card.

    Attributes
    ----------
    header, works
        The car, and what is done to it, in the order in which it is done.
    proposed
        True where the works follow from the finding, not from a choice.
    found, unsettled, disagreeing, hand_over, against
        What the finding says; what it has to settle first, None where it leads somewhere; checks in
        it that disagree, and with what; what is not for this card; what speaks against the works.
    stages
        The order of work. Steps are numbered through.
    readings, materials, solvents, memories, tally
        Lists that the steps refer to. Each row of the tally must come back to zero.
    tightening
        One flange where the bolts were told, else each that is known; none without a flange.
    torque, manual_section
        The user's own, from the car's manual; empty prints a line to fill in.
    learning, learning_after_battery
        Procedures in their order, and those that a lifted battery calls for besides.
    """

    header: Header
    works: tuple[str, ...]
    proposed: bool
    found: tuple[FoundCause, ...]
    unsettled: Unsettled | None
    disagreeing: Mapping[str, With]
    hand_over: tuple[Phrase, ...]
    against: tuple[Phrase, ...]
    stages: tuple[Stage, ...]
    readings: tuple[Reading, ...]
    materials: tuple[Material, ...]
    solvents: tuple[SolventRule, ...]
    memories: tuple[Memory, ...]
    tally: tuple[Phrase, ...]
    tightening: tuple[Tightening, ...]
    torque: str
    manual_section: str
    learning: tuple[LearningRow, ...]
    learning_after_battery: tuple[LearningRow, ...]


def make_card(
    car: Car,
    finding: Finding | None,
    works: Iterable[str] = (),
    *,
    torque: str | None = None,
    manual_section: str | None = None,
    bolts: int | None = None,
    learning: Iterable[str] = (),
    before: Before | None = None,
) -> Card:
    """The card for these works on this car; with none chosen, for those the finding calls for.

    Parameters
    ----------
    works
        Names of ``WORKS``, in any order.
    torque, manual_section
        What the car's own manual says, printed as it is written. Never filled in here.
    bolts
        Bolts of the throttle's flange: 3, 4 or 6; None draws each.
    learning
        Procedures by name, short number or file, instead of those that the works call for.
    before
        The recording that the finding was made from; it is the one from before the work. A finding
        without it was made from one whose name is not known here.

    Raises
    ------
    WorkError
        For an unknown or impossible work, a torque without a number, a text too long to print,
        bolts that have no drawing, or where neither works nor a finding are given.
    ProcedureError
        For a procedure that is not known.
    """
    chosen = check_works(car, works)
    if not chosen and finding is None:
        raise WorkError(
            "A job card needs a finding or at least one work. Give --finding or --recording, or "
            "--work clean_plate, clean_meter, reseal, renew_gasket, mend_fuel or relearn."
        )
    proposal = propose(car, finding) if finding is not None else None
    done = chosen or (proposal.works if proposal else ())
    if "renew_gasket" not in done and (torque is not None or bolts is not None):
        option = "--torque" if torque is not None else "--bolts"
        raise WorkError(
            f"{option} is for the throttle's flange, and this card leaves it on. Add the work "
            "renew_gasket, or leave the option out."
        )
    lifts_battery = bool(set(done) - {"relearn"})
    return Card(
        header=_header(car),
        works=done,
        proposed=not chosen,
        found=found_causes(finding),
        unsettled=unsettled(finding),
        disagreeing=finding.disagreeing if finding else {},
        hand_over=proposal.hand_over if proposal else (),
        against=objections(finding, done),
        stages=_stages(done, finding, made_from(finding, before)) if done else (),
        readings=_readings(car),
        materials=tuple(
            Material(row["kind"], Phrase(row["say"])) for row in _rows("material", done)
        ),
        solvents=tuple(
            SolventRule(*(Phrase(row[key]) for key in ("part", "allowed", "forbidden")))
            for row in _rows("solvent", done)
        ),
        memories=_memories() if lifts_battery else (),
        tally=tuple(Phrase(row["say"]) for row in _rows("tally", done)),
        tightening=_tightening(bolts) if "renew_gasket" in done else (),
        torque=_torque(torque),
        manual_section=_own_text("--manual-section", manual_section),
        learning=_learning(done, learning),
        learning_after_battery=(called_for((), battery_off=True) if lifts_battery else ()),
    )


def _header(car: Car) -> Header:
    return Header(
        name=mask_within(car.name or "").strip()[:_LONGEST_TEXT],
        displacement_l=car.displacement_l.value,
        cylinders=car.cylinders,
        metering=car.metering,
        banks=car.banks,
        idle_rpm=car.idle_rpm.value if car.idle_rpm else None,
        complaint="" if car.complaint in (None, "unknown") else car.complaint,
    )


def _concerns(row: Mapping[str, Any], works: Iterable[str]) -> bool:
    chosen = set(works)
    if chosen.intersection(row.get("unless", ())):
        return False
    return "for" not in row or bool(chosen.intersection(row["for"]))


def _rows(kind: str, works: Iterable[str]) -> list[Mapping[str, Any]]:
    return [row for row in content("materials")[kind] if _concerns(row, works)]


def _stages(
    works: tuple[str, ...], finding: Finding | None, of: Mapping[str, str]
) -> tuple[Stage, ...]:
    steps = steps_for(finding, [row for row in content("steps")["step"] if _concerns(row, works)])
    shown: set[str] = set()
    stages = []
    number = 0
    for table in content("steps")["stage"]:
        made = []
        for row in (row for row in steps if row["stage"] == table["name"]):
            number += 1
            # A table stands at the first step that refers to it.
            shows = row.get("shows", "") if row.get("shows") not in shown else ""
            shown.add(shows)
            made.append(_step(number, step_made_from(row, of), shows))
        if made:
            stages.append(Stage(table["name"], Phrase(table["title"]), tuple(made)))
    return tuple(stages)


def _step(number: int, row: Mapping[str, Any], shows: str) -> CardStep:
    texts = content("cautions")
    timer = row.get("timer")
    return CardStep(
        number=number,
        name=row["name"],
        say=phrase(row["say"], row.get("values")),
        cautions=tuple(
            phrase(texts[name], texts["values"].get(name)) for name in row.get("cautions", ())
        ),
        timer=None if timer is None else _timer(timer),
        blanks=tuple(Phrase(text) for text in row.get("blanks", ())),
        shows=shows,
    )


def _timer(row: Mapping[str, Any]) -> Timer:
    least = quantity(row["least"]) if "least" in row else None
    return Timer(Phrase(row["what"]), least, UNSOURCED if least else "")


def _readings(car: Car) -> tuple[Reading, ...]:
    rows = []
    for row in content("materials")["reading"]:
        if row.get("metering", car.metering) == car.metering:
            banks = (1, 2) if row.get("per_bank") and car.banks == 2 else (0,)
            rows += [Reading(Phrase(row["say"]), row.get("unit", ""), bank) for bank in banks]
    return tuple(rows)


def _memories() -> tuple[Memory, ...]:
    return tuple(
        Memory(Phrase(row["lost"]), Phrase(row["back"])) for row in content("memories")["memory"]
    )


def _tightening(bolts: int | None) -> tuple[Tightening, ...]:
    known = {int(count): tuple(order) for count, order in content("works")["tightening"].items()}
    if bolts is not None and bolts not in known:
        raise WorkError(
            f"--bolts {bolts}: no drawing for a flange of {bolts} bolts. Give 3, 4 or 6, or leave "
            "it out and follow the manual's own drawing."
        )
    counts = known if bolts is None else (bolts,)
    return tuple(Tightening(count, known[count]) for count in counts)


def _own_text(option: str, text: str | None) -> str:
    if text is None:
        return ""
    plain = mask_within(" ".join(text.split()))
    if not plain or not plain.isprintable():
        raise WorkError(
            f"{option} is empty. Write what the car's own manual says, or leave it out."
        )
    if len(plain) > _LONGEST_TEXT:
        raise WorkError(
            f"{option} is {len(plain)} characters long and the card has room for "
            f"{_LONGEST_TEXT}. Shorten it."
        )
    return plain


def _torque(text: str | None) -> str:
    plain = _own_text("--torque", text)
    if plain and not (re.search(r"\d", plain) and re.search(r"[^\W\d]", plain)):
        raise WorkError(
            f'--torque "{plain}" is not a number with its unit. Write it as the manual does, such '
            'as "8 N m".'
        )
    return plain


def _learning(works: tuple[str, ...], wanted: Iterable[str]) -> tuple[LearningRow, ...]:
    names = tuple(wanted)
    if "relearn" in works:
        return tuple(map(learning_row, names)) if names else called_for(works)
    if names:
        raise WorkError("Learning procedures were given without the work relearn. Add relearn.")
    return ()
