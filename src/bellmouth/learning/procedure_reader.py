"""Read a procedure from TOML, strictly: an unknown key is an error, not a shrug."""

import math
import re
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from bellmouth.errors import ProcedureError
from bellmouth.learning.condition_reader import (
    ENGINE,
    NAME,
    read_condition,
    read_limits,
    read_name,
)
from bellmouth.learning.consistency import refuse_impossible
from bellmouth.learning.procedure import (
    ACTIONS,
    EVENTS,
    FORBIDDABLE,
    SAFE_STATE,
    WORK,
    Procedure,
    Sign,
    Step,
    Until,
    Window,
)
from bellmouth.learning.procedure_keys import KEYS, REQUIRED
from bellmouth.learning.toml_table import Lines, Table
from bellmouth.reading import NotTextError, text_of, toml_in

__all__ = ["KEYS", "REQUIRED", "procedure_from_text", "read_procedure"]

_WINDOW = "{ least = 2 }, { most = 3 }, { least = 2, most = 3 } or { about = 7, tolerance = 0.5 }"
#: Other words for what may be forbidden.
_SAME_AS = {
    "pedal: pump": "pedal: press", "pedal: rev": "pedal: press", "pedal: snap": "pedal: press",
    "engine: crank": "engine: start",
}  # fmt: skip
#: Nobody presses a pedal, or goes through a part of a procedure, more often.
_MOST_TIMES = 100
_PROCEDURE_NAME = re.compile(r"^[a-z][a-z0-9-]*$")


def read_procedure(path: str | Path) -> Procedure:
    """Read a procedure's file.

    Raises
    ------
    ProcedureError
        Where the file cannot be read, is not TOML, holds an unknown key, signal or action, or a
        procedure that nobody could meet; one sentence with file, line, step and what to do.
    """
    path = Path(path)
    try:
        text = text_of(path)
    except NotTextError as error:
        raise ProcedureError(f"{path.name}: not a text file in UTF-8.") from error
    except OSError as error:
        raise ProcedureError(f"{path.name}: cannot be read ({error.strerror}).") from error
    except ValueError as error:
        raise ProcedureError(f"{path.name!r}: not a file name.") from error
    return procedure_from_text(text, path.name)


def procedure_from_text(text: str, source: str = "procedure") -> Procedure:
    """A procedure from the text of its file; ``source`` names it in errors.

    Raises
    ------
    ProcedureError
        As :func:`read_procedure`.
    """
    try:
        document = toml_in(text)
    except ValueError as error:
        raise ProcedureError(f"{source}: not a TOML file ({error}).") from error
    top = Table(document, source, Lines(text))
    top.only(KEYS[""], REQUIRED[""])
    procedure = _procedure(top)
    refuse_impossible(procedure)
    return procedure


def _procedure(top: Table) -> Procedure:
    events = _events(top)
    steps = _unrolled(top, _steps(top, {**EVENTS, **events}))
    _refuse_strange_anchors(top, steps)
    conditions = [read_condition(entry, "before", steps) for entry in top.tables("before")]
    conditions += [read_condition(entry, "throughout", steps) for entry in top.tables("throughout")]
    _refuse_doubles(top, "condition", [condition.name for condition in conditions])
    return Procedure(
        name=read_name(top, _PROCEDURE_NAME, "idle-air-by-pedal"),
        title=top.text("title"),
        source=top.text("source"),
        steps=steps,
        conditions=tuple(conditions),
        catalogue=top.text("catalogue"),
        purpose=top.text("purpose"),
        does=top.text("does"),
        cautions=top.texts("cautions"),
        signs=tuple(_sign(entry) for entry in top.tables("sign")),
        order=top.whole("order", 50),
        called_for_by=_work(top),
        requires=top.texts("requires"),
        erases=top.texts("erases"),
        engine=top.choice("engine", ENGINE, "both"),
        events=events,
        safe_state=top.text("safe_state", SAFE_STATE),
        file=top.source,
    )


def _events(top: Table) -> dict[str, str]:
    found = top.inner("events", '{ relay_clicks = "a relay clicks" }')
    if found is None:
        return {}
    for name in found.values:
        if not NAME.match(name):
            found.refuse(f'"{name}" is not a name. Write small letters, digits and _.')
        if name in EVENTS:
            found.refuse(f"{name} is known already; leave it out.")
    return {name: found.text(name) for name in found.values}


def _work(top: Table) -> tuple[str, ...]:
    for work in top.texts("called_for_by"):
        if work not in WORK:
            top.refuse(f'work "{work}" is not known. Known: {", ".join(WORK)}.', "called_for_by")
    return top.texts("called_for_by")


def _sign(entry: Table) -> Sign:
    entry.only(KEYS["sign"], REQUIRED["sign"])
    return Sign(entry.choice("how", ("seen", "heard", "measured")), entry.text("what"))


def _steps(top: Table, events: Mapping[str, str]) -> tuple[Step, ...]:
    entries = top.tables("step")
    if not entries:
        top.refuse("no [[step]]. A procedure has at least one.")
    steps = tuple(_step(entry, events) for entry in entries)
    _refuse_doubles(top, "step", [step.name for step in steps])
    awaited = {step.until.event for step in steps if step.until is not None}
    for entry, step in zip(entries, steps, strict=True):
        if step.name in awaited:
            entry.refuse(
                f'"{step.name}" is an event that this procedure waits for, too, so that nobody '
                "knows which a mark or an anchor means. Rename the step.",
                "name",
            )
    return steps


def _refuse_doubles(top: Table, kind: str, names: list[str]) -> None:
    for index, name in enumerate(names):
        if name in names[:index]:
            line = top.lines.of(kind, index, "name")
            place = f", line {line}" if line else ""
            raise ProcedureError(
                f'{top.source}{place}: two of the kind {kind} are called "{name}". Rename one.'
            )


def _step(entry: Table, events: Mapping[str, str]) -> Step:
    entry.only(KEYS["step"], REQUIRED["step"])
    who = entry.choice("who", tuple(ACTIONS))
    do = entry.choice("do", tuple(ACTIONS[who]))
    step = Step(
        name=read_name(entry, NAME, "first_hold"),
        who=who,
        do=do,
        say=entry.text("say"),
        show=entry.text("show"),
        after=entry.text("after"),
        after_s=_window(entry, "after_s"),
        times=_times(entry),
        within_s=entry.number("within_s", math.inf),
        lasts_s=_window(entry, "lasts_s"),
        until=_until(entry, events),
        stopped_by=_clock(entry, events),
        forbidden=_forbidden(entry),
        optional=entry.flag("optional"),
        instead=entry.text("instead"),
        if_missed=entry.text("if_missed"),
        caution=entry.text("caution"),
        line=entry.line,
    )
    if step.times[0] > 1 and do not in ("pump", "rev", "snap"):
        entry.refuse(f"times fits presses (pump, rev, snap), not {who}: {do}.", "times")
    if "within_s" in entry and do not in ("pump", "rev", "snap"):
        entry.refuse("within_s bounds repeated presses; write lasts_s or after_s here.", "within_s")
    if do == "pump" and step.lasts_s is not None:
        entry.refuse(
            "a pump lasts within_s; put the wait after it in a step of its own.", "lasts_s"
        )
    return step


def _window(entry: Table, key: str) -> Window | None:
    found = entry.inner(key, _WINDOW)
    if found is None:
        return None
    found.only(KEYS["window"])
    if ("about" in found) != ("tolerance" in found):
        found.refuse("about and tolerance go together, such as { about = 7, tolerance = 0.5 }.")
    if "about" in found:
        if "least" in found or "most" in found or "aim" in found:
            found.refuse("about stands without least, most and aim. Keep one of the two forms.")
        about, tolerance = found.number("about", 0.0), found.number("tolerance", 0.0)
        return Window(max(about - tolerance, 0.0), about + tolerance, about)
    if "least" not in found and "most" not in found:
        found.refuse(f"holds no limit. Write {_WINDOW}.")
    least, most = found.number("least", 0.0), found.number("most", math.inf)
    aim = found.number("aim", 0.0) if "aim" in found else None
    if least > most:
        found.refuse(f"least {least:g} s is more than most {most:g} s, which nobody can meet.")
    if aim is not None and not least <= aim <= most:
        found.refuse(f"aim {aim:g} s lies outside {least:g} to {most:g} s.")
    return Window(least, most, aim)


def _times(entry: Table) -> tuple[int, int]:
    value = entry.values.get("times", 1)
    if not isinstance(value, Mapping):
        count = entry.whole("times", 1, least=1)
        _refuse_endless(entry, count)
        return count, count
    found = entry.inner("times", "{ least = 2, most = 3 }")
    assert found is not None  # noqa: S101 - it is a mapping, so it is there
    found.only(KEYS["times"], REQUIRED["times"])
    least, most = found.whole("least", 1, least=0), found.whole("most", 1, least=1)
    _refuse_endless(entry, most)
    if not least:
        found.refuse("least is 0; write least = 1 and, on the step, optional = true.")
    if least > most:
        found.refuse(f"least {least} is more than most {most}, which nobody can meet.")
    return least, most


def _refuse_endless(entry: Table, count: int) -> None:
    if count > _MOST_TIMES:
        entry.refuse(f"times = {count} is more than anybody does; {_MOST_TIMES} at most.", "times")


def _until(entry: Table, events: Mapping[str, str]) -> Until | None:
    found = entry.inner("until", '{ event = "lamp_steady", timeout_s = 30 }')
    if found is None:
        return None
    found.only(KEYS["until"], REQUIRED["until"])
    until = Until(
        found.choice("event", tuple(events)),
        found.number("timeout_s", 0.0),
        found.number("about_s", 0.0) if "about_s" in found else None,
        found.number("earliest_s", 0.0),
        *read_limits(found),
    )
    about = until.earliest_s if until.about_s is None else until.about_s
    if not until.earliest_s <= about <= until.timeout_s or until.timeout_s <= 0:
        found.refuse(
            f"earliest {until.earliest_s:g} s, about {about:g} s and timeout {until.timeout_s:g} s "
            "are not in that order, which nobody can meet."
        )
    return until


def _clock(entry: Table, events: Mapping[str, str]) -> tuple[str, str] | tuple[()]:
    found = entry.inner("clock_stops", '{ at = "fan_runs", until = "fan_stops" }')
    if found is None:
        return ()
    found.only(KEYS["clock_stops"], REQUIRED["clock_stops"])
    if "lasts_s" not in entry:
        found.refuse("there is no clock to stop; the step needs lasts_s.")
    stop, go = found.choice("at", tuple(events)), found.choice("until", tuple(events))
    if stop == go:
        found.refuse(f"at and until are both {stop}, so that the clock never runs on.")
    return stop, go


def _forbidden(entry: Table) -> tuple[str, ...]:
    known = [f"{who}: {do}" for who, deeds in ACTIONS.items() for do in deeds]
    for action in entry.texts("forbidden"):
        if action in FORBIDDABLE:
            continue
        if action not in known:
            what = f'action "{action}" is not known. One is "pedal: press".'
        elif action in _SAME_AS:
            what = f'"{action}": write "{_SAME_AS[action]}", which it is too.'
        elif action.split(":")[0] in ("gear", "load", "road", "person"):
            what = (
                f'"{action}": no signal shows "{action}", so it could never be told; write a '
                "[[throughout]] condition that a person confirms."
            )
        else:
            what = f'"{action}" cannot be forbidden. These can: {", ".join(FORBIDDABLE)}.'
        entry.refuse(f"forbidden {what}", "forbidden")
    return entry.texts("forbidden")


def _unrolled(top: Table, steps: tuple[Step, ...]) -> tuple[Step, ...]:
    """The steps with every ``[[repeat]]`` written out; later rounds carry ``_2``, ``_3``."""
    for entry in reversed(top.tables("repeat")):
        entry.only(KEYS["repeat"], REQUIRED["repeat"])
        names = [step.name for step in steps]
        for key in ("first", "last"):
            if entry.text(key) not in names:
                entry.refuse(f'{key} = "{entry.text(key)}" is no step.', key)
        begin, end = names.index(entry.text("first")), names.index(entry.text("last")) + 1
        if end <= begin:
            entry.refuse("last stands before first.", "last")
        least, most = _times(entry)
        if most < 2 or least < 1:
            entry.refuse("a repeat is made at least once and has two rounds or more.", "times")
        rounds = [
            step if turn == 1 else _again(step, turn, names[begin:end], optional=turn > least)
            for turn in range(1, most + 1)
            for step in steps[begin:end]
        ]
        steps = (*steps[:begin], *rounds, *steps[end:])
        _refuse_twins(entry, [step.name for step in steps])
    return steps


def _refuse_twins(entry: Table, names: list[str]) -> None:
    """A round may be called like a step of the file, or like a round of another repeat."""
    for index, name in enumerate(names):
        if name in names[:index]:
            entry.refuse(
                f'two steps are called "{name}" once its rounds are written out. Rename one; a '
                "repeat inside a repeat has to be written out by hand."
            )


def _again(step: Step, turn: int, inside: list[str], *, optional: bool) -> Step:
    after = f"{step.after}_{turn}" if step.after in inside else step.after
    return replace(
        step, name=f"{step.name}_{turn}", after=after, optional=step.optional or optional
    )


def _refuse_strange_anchors(top: Table, steps: tuple[Step, ...]) -> None:
    """An anchor is an earlier step or an event that an earlier step waits for."""
    known: list[str] = []
    for step in steps:
        if step.after and step.after not in known:
            close = f"One of {', '.join(known)}." if known else "The first step has none."
            raise ProcedureError(
                f'{_place(top.source, step)}: after = "{step.after}" is neither an earlier step '
                f"nor an event that one waits for. {close}"
            )
        if step.after_s is not None and not known:
            raise ProcedureError(
                f"{_place(top.source, step)}: after_s counts from an earlier step or event, and "
                "this is the first step."
            )
        known.append(step.name)
        if step.until is not None:
            known.append(step.until.event)


def _place(source: str, step: Step) -> str:
    return f'{source}, line {step.line}, step "{step.name}"'
