"""What a job card shows, in one language: the same dataclass is page, print, text and JSON."""

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass

from bellmouth import __version__
from bellmouth.finding.causes import called
from bellmouth.pages.card_catalogue import labels
from bellmouth.pages.card_words import Words
from bellmouth.pages.metered import shown_cause
from bellmouth.pages.words import look_again
from bellmouth.work.card import UNSOURCED, Card, CardStep, Reading, Stage, Tightening, Timer
from bellmouth.work.learning_rows import LearningRow, LearningStep
from bellmouth.work.phrases import Quantity
from bellmouth.work.proposal import FoundCause
from bellmouth.work.unsettled import Unsettled
from bellmouth.work.works import work_titles

__all__ = ["CardPage", "LearningView", "StageView", "StepView", "TableLetters", "card_document",
           "card_page"]  # fmt: skip

#: The tables that a card can hold, in the order in which they stand; their letters follow it.
_TABLES = (
    "before_after", "materials", "memories", "tally", "solvents", "tightening", "learning",
)  # fmt: skip

TableLetters = Mapping[str, str]


@dataclass(frozen=True)
class StepView:
    """A step: its number, what to do, cautions, waits and blanks of its own, its table."""

    number: int
    name: str
    say: str
    cautions: tuple[str, ...]
    timer: str
    blanks: tuple[str, ...]
    shows: str


@dataclass(frozen=True)
class StageView:
    """A stage with its steps."""

    name: str
    title: str
    steps: tuple[StepView, ...]


@dataclass(frozen=True)
class LearningView:
    """A procedure: what it is called, its steps with planned times, how to know that it took."""

    name: str
    catalogue: str
    title: str
    source: str
    unsourced: bool
    steps: tuple[str, ...]
    signs: tuple[str, ...]
    instead: tuple[str, ...]


@dataclass(frozen=True)
class CardPage:
    """Everything that the card shows; rows are tuples of cells, blank cells are filled by hand.

    ``letters`` gives each table that there is its letter, ``labels`` the fixed words.
    """

    language: str
    direction: str
    units: str
    works: tuple[str, ...]
    work_names: tuple[str, ...]
    proposed: bool
    car: tuple[str, ...]
    car_name: str
    complaint: str
    found: tuple[tuple[str, str, str], ...]
    settle_first: tuple[str, ...]
    look_again: str
    hand_over: tuple[str, ...]
    against: tuple[str, ...]
    stages: tuple[StageView, ...]
    before_after: tuple[tuple[str, str], ...]
    materials: tuple[tuple[str, str], ...]
    solvents: tuple[tuple[str, str, str], ...]
    memories: tuple[tuple[str, str], ...]
    tally: tuple[str, ...]
    tightening: tuple[Tightening, ...]
    flange_titles: tuple[str, ...]
    torque: str
    manual_section: str
    learning: tuple[LearningView, ...]
    learning_after_battery: tuple[str, ...]
    letters: TableLetters
    labels: Mapping[str, str]
    version: str


def card_page(card: Card, words: Words) -> CardPage:
    """The card in these words."""
    titles = work_titles()
    return CardPage(
        language=words.language,
        direction=words.direction,
        units=words.units,
        works=tuple(words.text(titles[name]) for name in card.works),
        work_names=card.works,
        proposed=card.proposed,
        car=_car(card, words),
        car_name=card.header.name,
        complaint=words.text(card.header.complaint),
        found=tuple(_found(found, card.header.metering, words) for found in card.found),
        settle_first=_settle(card.unsettled, card.header.metering, words),
        look_again=words.told(look_again(card.disagreeing)),
        hand_over=tuple(map(words.say, card.hand_over)),
        against=tuple(map(words.say, card.against)),
        stages=tuple(_stage(stage, words) for stage in card.stages),
        before_after=tuple(_reading(reading, card, words) for reading in card.readings),
        materials=tuple((words.label(row.kind), words.say(row.say)) for row in card.materials),
        solvents=tuple(
            (words.say(row.part), words.say(row.allowed), words.say(row.forbidden))
            for row in card.solvents
        ),
        memories=tuple((words.say(row.lost), words.say(row.back)) for row in card.memories),
        tally=tuple(map(words.say, card.tally)),
        tightening=card.tightening,
        flange_titles=tuple(words.label("bolts", count=flange.bolts) for flange in card.tightening),
        torque=card.torque,
        manual_section=card.manual_section,
        learning=tuple(_learning(row, words) for row in card.learning),
        learning_after_battery=tuple(_called(row, words) for row in card.learning_after_battery),
        letters=_letters(card),
        labels=_labels(words),
        version=__version__,
    )


def card_document(page: CardPage) -> dict[str, object]:
    """The card as plain data: what it shows, without the fixed words."""
    document = asdict(page)
    del document["labels"], document["version"], document["direction"]
    document["software"] = {"name": "bellmouth", "version": page.version}
    return document


def _letters(card: Card) -> dict[str, str]:
    shown = {step.shows for stage in card.stages for step in stage.steps}
    there = [name for name in _TABLES if name in shown]
    return dict(zip(there, "ABCDEFG", strict=False))


def _labels(words: Words) -> dict[str, str]:
    """The fixed words that have no places to fill, and those whose filling is always the same."""
    plain = {name: words.text(text) for name, text in labels().items() if "{" not in text}
    plain["stop"] = words.label("stop", time=Quantity(10, "s"))
    plain["made_by"] = words.label("made_by", version=__version__)
    return plain


def _car(card: Card, words: Words) -> tuple[str, ...]:
    header = card.header
    facts = [words.quantity(Quantity(header.displacement_l, "L"))]
    if header.cylinders:
        facts.append(words.label("cylinders", count=header.cylinders))
    if header.banks == 2:
        facts.append(words.label("banks", count=header.banks))
    facts.append(words.label(header.metering))
    if header.idle_rpm:
        facts.append(words.label("idle", speed=Quantity(header.idle_rpm, "rpm")))
    return tuple(facts)


def _found(found: FoundCause, metering: str, words: Words) -> tuple[str, str, str]:
    return (
        words.text(called(shown_cause(found.cause, metering))),
        words.percent(found.probability),
        words.size(found.size) if found.size else "",
    )


def _settle(open_: Unsettled | None, metering: str, words: Words) -> tuple[str, ...]:
    """What leads and how little, then the check to make first: which, how, and what to mind."""
    if open_ is None:
        return ()
    leads = words.text(called(shown_cause(open_.leads, metering)))
    said = words.label("leads_only", cause=leads, chance=words.percent(open_.probability))
    check = open_.check
    if check is None:
        return (said,)
    name = words.told(called(check.check))
    if not math.isnan(check.minutes):
        name += f" ({words.quantity(Quantity(check.minutes, 'min'))})"
    first = words.label("check_first", check=name)
    return tuple(filter(None, (said, first, words.told(check.how), words.told(check.caution))))


def _stage(stage: Stage, words: Words) -> StageView:
    return StageView(
        stage.name, words.say(stage.title), tuple(_step(step, words) for step in stage.steps)
    )


def _step(step: CardStep, words: Words) -> StepView:
    return StepView(
        number=step.number,
        name=step.name,
        say=words.say(step.say),
        cautions=tuple(map(words.say, step.cautions)),
        timer=_timer(step.timer, words) if step.timer else "",
        blanks=tuple(map(words.say, step.blanks)),
        shows=step.shows,
    )


def _timer(timer: Timer, words: Words) -> str:
    what = words.say(timer.what)
    if timer.least is None:
        return what
    return f"{what}: {words.label('or_more', time=timer.least)} ({words.text(timer.source)})"


def _reading(reading: Reading, card: Card, words: Words) -> tuple[str, str]:
    """A row's name with its unit, and what is wanted where the owner said it."""
    name = words.say(reading.say)
    if reading.bank:
        name += f", {words.label('bank', number=reading.bank)}"
    if reading.unit:
        name += f" [{words.unit(reading.unit)}]"
    wanted = card.header.idle_rpm if reading.say.text == "idle speed" else None
    return name, words.label("aim", value=words.number(wanted, 0)) if wanted else ""


def _called(row: LearningRow, words: Words) -> str:
    return words.text(row.title)


def _learning(row: LearningRow, words: Words) -> LearningView:
    return LearningView(
        name=row.name,
        catalogue=row.catalogue,
        title=words.text(row.title),
        source=words.text(row.source),
        unsourced=row.source == UNSOURCED,
        steps=tuple(_learning_step(step, words) for step in row.steps),
        signs=tuple(map(words.text, row.signs)),
        instead=tuple(words.text(title) for title in row.instead),
    )


def _learning_step(step: LearningStep, words: Words) -> str:
    said = words.text(step.say)
    if not step.kind:
        return said
    unit, per = ("min", 60.0) if step.time_s >= 120 else ("s", 1.0)
    name = {"least": "or_more", "most": "within", "about": "about", "until": "until"}[step.kind]
    time = Quantity(round(step.time_s / per, 1), unit)
    told = words.label(name, time=time, event=words.text(step.event))
    return f"{said} ({told})"
