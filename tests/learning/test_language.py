"""Every word of the language, in a file of the user's own: read, drawn up for a coach, judged."""

import json
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

import jsonschema
import pytest

from bellmouth.errors import ProcedureError
from bellmouth.learning import judge
from bellmouth.learning.procedure_reader import procedure_from_text
from bellmouth.learning.session import Session
from tests.learning.made import Attempt, recorded

_TOP = 'name = "mine"\ntitle = "Mine"\nsource = "My manual, 12-3"\nengine = "both"\n'


def _step(name: str, who: str, do: str, *lines: str) -> str:
    head = f'[[step]]\nname = "{name}"\nwho = "{who}"\ndo = "{do}"\nsay = "Do {name}"\n'
    return head + "".join(f"{line}\n" for line in lines)


ON = _step("on", "key", "on")
OFF = _step("off", "key", "off")
FIVE = _step("five", "pedal", "pump", "times = 5", "within_s = 5")
HELD = _step("held", "pedal", "press", "lasts_s = { least = 5, most = 8 }")
LET_GO = _step("let_go", "pedal", "release")
START = _step("start", "engine", "start")


def _condition(*lines: str, name: str = "stands") -> str:
    return f'[[throughout]]\nname = "{name}"\nsay = "It stands"\n' + "".join(
        f"{line}\n" for line in lines
    )


def _presses(
    first_s: float, count: int, each_s: float = 0.8
) -> tuple[tuple[float, float, float], ...]:
    return tuple((first_s + n * each_s, first_s + n * each_s + 0.4, 1.0) for n in range(count))


def _car(
    on: tuple[float, float] = (3.0, 40.0), engine: tuple[tuple[float, float], ...] = ()
) -> Attempt:
    """The key is on for a second, off, and on again; presses 5 s after that."""
    return Attempt(on=((0.0, 1.0), on), presses=((8.0, 14.0, 1.0),), engine=engine)


#: The engine ran for 35 s, and the key was on once more after that.
RAN = Attempt(on=((0.0, 1.0), (3.0, 40.0), (45.0, 48.0)), engine=((5.0, 40.0),))
#: The same without the engine.
STOOD = replace(RAN, engine=())


@dataclass(frozen=True)
class Case:
    """A procedure, an attempt that meets it, and one that does not, with the line that is not."""

    text: str
    good: Attempt
    bad: Attempt
    missed: str
    marks: Mapping[str, object] = field(default_factory=dict)
    bad_marks: Mapping[str, object] | None = None


WORDS = {
    "at least": Case(
        _step("on", "key", "on", "lasts_s = { least = 4 }") + HELD, _car(), _car((6.0, 40.0)), "on"
    ),
    "at most": Case(
        _step("on", "key", "on", "lasts_s = { most = 6 }") + HELD,
        _car(), replace(_car(), presses=((9.5, 15.0, 1.0),)), "on",
    ),
    "about": Case(
        _step("on", "key", "on", "lasts_s = { about = 5, tolerance = 0.5 }") + HELD,
        _car(), _car((4.0, 40.0)), "on",
    ),
    "anchor: an earlier step": Case(
        ON + _step("held", "pedal", "press", 'after = "on"', "after_s = { least = 3, most = 6 }"),
        _car(), _car((1.5, 40.0)), "held",
    ),
    "anchor: an event, react within": Case(
        ON
        + _step("held", "pedal", "press", 'until = { event = "lamp_steady", timeout_s = 9 }')
        + _step("let_go", "pedal", "release", 'after = "lamp_steady"', "after_s = { most = 2 }"),
        _car(), _car(), "let_go", {"lamp_steady": 12.8}, {"lamp_steady": 10.0},
    ),
    "until an event, with a time-out": Case(
        ON + _step("held", "pedal", "press", 'until = { event = "clicks", timeout_s = 4 }')
        + '[events]\nclicks = "a relay clicks"\n',
        _car(), _car(), "held", {"clicks": 11.0}, {"clicks": None},
    ),
    "until a parameter's value": Case(
        ON + START + _step(
            "idle", "engine", "idle",
            'until = { event = "engine_warm", timeout_s = 60, '
            'signal = "engine_coolant_temperature", unit = "degC", least = 84 }',
        ),
        RAN, RAN, "idle",
    ),
    "a count inside a time": Case(
        ON + _step("presses", "pedal", "pump", "times = { least = 3, most = 4 }", "within_s = 4"),
        replace(_car(), presses=_presses(8.0, 4, 0.7)),
        replace(_car(), presses=_presses(8.0, 5, 0.7)), "presses",
    ),
    "within": Case(
        ON + FIVE,
        replace(_car(), presses=_presses(8.0, 5)), replace(_car(), presses=_presses(8.0, 5, 1.4)),
        "five",
    ),
    "a hold": Case(
        ON + HELD, _car(), replace(_car(), presses=((8.0, 11.0, 1.0),)), "held"
    ),
    "a rest": Case(
        ON + FIVE + _step("rest", "pedal", "rest", "lasts_s = { about = 7, tolerance = 0.5 }")
        + HELD,
        replace(_car(), presses=(*_presses(8.0, 5), (18.6, 24.6, 1.0))),
        replace(_car(), presses=(*_presses(8.0, 5), (20.6, 26.6, 1.0))), "rest",
    ),
    "a clock that stops": Case(
        ON + START + _step(
            "idle", "engine", "idle", "lasts_s = { least = 20 }",
            'clock_stops = { at = "fan_runs", until = "fan_stops" }',
        ) + OFF,
        RAN, RAN, "idle",
        {"fan_runs": 10.0, "fan_stops": 15.0}, {"fan_runs": 10.0, "fan_stops": 28.0},
    ),
    "a forbidden press": Case(
        _step("on", "key", "on", "lasts_s = { least = 10 }", 'forbidden = ["pedal: press"]') + OFF,
        STOOD, replace(STOOD, presses=((8.0, 14.0, 1.0),)), "on",
    ),
    "a forbidden start": Case(
        _step("on", "key", "on", "lasts_s = { least = 10 }", 'forbidden = ["engine: start"]')
        + OFF,
        STOOD, replace(RAN, engine=((8.0, 30.0),)), "on",
    ),
    "a step that may be left out": Case(
        ON + _step("five", "pedal", "pump", "times = 5", "within_s = 5", "optional = true")
        + HELD,
        _car(), replace(_car(), presses=((8.0, 10.0, 1.0),)), "held",
    ),
    "steps gone through again": Case(
        _step("on", "key", "on", "lasts_s = { least = 2 }")
        + _step("off", "key", "off", "lasts_s = { least = 5 }")
        + '[[repeat]]\nfirst = "on"\nlast = "off"\ntimes = 2\n',
        Attempt(on=((0.0, 1.0), (8.0, 12.0), (20.0, 24.0), (31.0, 33.0))),
        Attempt(on=((0.0, 1.0), (8.0, 12.0), (20.0, 24.0), (27.0, 33.0))), "off_2",
    ),
}  # fmt: skip

_CONDITIONS = {
    "voltage": (
        'signal = "control_module_voltage"\nunit = "V"\nleast = 12.4\nengine = "stopped"',
        replace(_car(), supply=((9.0, 12.0, 11.5),)),
    ),
    "speed zero": (
        'signal = "vehicle_speed"\nunit = "km/h"\nmost = 0',
        replace(_car(), speed=((9.0, 12.0, 4.0),)),
    ),
    "from one step to another": (
        'signal = "vehicle_speed"\nunit = "km/h"\nmost = 0\nfirst = "held"\nlast = "held"',
        replace(_car(), speed=((9.0, 12.0, 4.0),)),
    ),
}


def _schema(root: Path) -> dict[str, object]:
    found: dict[str, object] = json.loads(
        (root / "docs" / "procedure.schema.json").read_text("utf-8")
    )
    return found


@pytest.mark.parametrize("word", WORDS)
def test_a_word_of_the_language_is_read_coached_and_judged(root: Path, word: str) -> None:
    case = WORDS[word]
    text = _TOP + case.text
    jsonschema.validate(tomllib.loads(text), _schema(root))
    procedure = procedure_from_text(text, "mine.toml")
    session = Session(procedure)
    session.begin(100.0)
    assert session.planned(200.0), "a coach has something to call"
    good, bad = recorded(case.good, 25.0), recorded(case.bad, 25.0)
    if word == "until a parameter's value":
        coolant = bad.series["engine_coolant_temperature"]
        cold = replace(coolant, value=coolant.value - 20.0)
        bad = replace(bad, series={**bad.series, coolant.name: cold})
    met = judge(good, procedure, case.marks)
    assert met.judgement == "met", [(line.step, line.judgement, line.why) for line in met.steps]
    marks = case.marks if case.bad_marks is None else case.bad_marks
    missed = judge(bad, procedure, marks)
    wrong = {line.step.split(":")[0] for line in missed.steps if line.judgement == "missed"}
    assert (missed.judgement, case.missed in wrong) == ("missed", True), missed.steps


def test_a_press_too_many_at_the_very_end_is_one_too_many() -> None:
    """Nothing comes after it that it could spoil, and it is counted all the same."""
    procedure = procedure_from_text(_TOP + ON + FIVE)
    for count, told in ((4, "missed"), (5, "met"), (6, "missed")):
        attempt = replace(_car(), presses=_presses(8.0, count))
        assert judge(recorded(attempt, 25.0), procedure).judgement == told


@pytest.mark.parametrize("word", _CONDITIONS)
def test_what_must_stand_throughout_is_judged(root: Path, word: str) -> None:
    lines, broken = _CONDITIONS[word]
    text = _TOP + _condition(lines) + ON + HELD
    jsonschema.validate(tomllib.loads(text), _schema(root))
    procedure = procedure_from_text(text)
    assert judge(recorded(_car(), 25.0), procedure).judgement == "met"
    judged = judge(recorded(broken, 25.0), procedure)
    assert (judged.judgement, judged.repeat) == ("missed", "mend first")


def test_a_coolant_band_has_two_edges() -> None:
    band = 'signal = "engine_coolant_temperature"\nunit = "degC"\nleast = 70\nmost = 95'
    procedure = procedure_from_text(_TOP + _condition(band) + ON + HELD)
    recording = recorded(_car(), 25.0)
    coolant = recording.series["engine_coolant_temperature"]
    for value, told in ((69.0, "missed"), (85.0, "met"), (96.0, "missed")):
        series = {
            **recording.series,
            coolant.name: replace(coolant, value=0 * coolant.value + value),
        }
        assert judge(replace(recording, series=series), procedure).judgement == told


@pytest.mark.parametrize("said", [True, False])
def test_loads_and_gear_are_a_person_s_word(said: bool) -> None:
    procedure = procedure_from_text(_TOP + _condition(name="in_park") + ON + HELD)
    judged = judge(recorded(_car(), 25.0), procedure, {"in_park": said})
    assert judged.judgement == ("met" if said else "missed")


def test_a_step_may_be_replaced_with_a_reason() -> None:
    text = _TOP + ON + HELD + _step("rev", "pedal", "rev", 'instead = "a drive"')
    procedure = procedure_from_text(text)
    judged = judge(recorded(_car(), 25.0), procedure, {"rev": "the neighbours sleep"})
    (line,) = [line for line in judged.steps if line.step == "rev"]
    assert line.why == "Replaced by a drive: the neighbours sleep."


@pytest.mark.parametrize(
    ("action", "told"),
    [
        (
            "load: on",
            'no signal shows "load: on", so it could never be told; write a [[throughout]]',
        ),
        ("pedal: rev", 'write "pedal: press", which it is too'),
        ("engine: crank", 'write "engine: start"'),
        ("pedal: release", "cannot be forbidden. These can: key: on, key: off, pedal: press, "),
    ],
)
def test_what_nothing_could_show_cannot_be_forbidden(root: Path, action: str, told: str) -> None:
    """A ban that nobody watches would be kept by everybody."""
    text = _TOP + ON + f'forbidden = ["{action}"]\n'
    with pytest.raises(ProcedureError) as raised:
        procedure_from_text(text, "mine.toml")
    assert told in str(raised.value)
    assert str(raised.value).startswith('mine.toml, line 10, step "on": forbidden')
    assert not jsonschema.Draft202012Validator(_schema(root)).is_valid(tomllib.loads(text))


def test_a_coach_that_reads_the_car_sees_the_event_itself() -> None:
    """Nobody has to say that the coolant is warm where it is read; nor where it is so already."""
    text = _TOP + ON + WORDS["until a parameter's value"].text.removeprefix(ON) + OFF
    for first, wanted_s in ((80.0, 61.0), (86.0, 60.0)):
        session = Session(procedure_from_text(text), watched={"key", "engine"})
        session.begin(0.0)
        for tenth in range(600):
            session.due(0.1 * tenth)  # the calls that nobody has to follow here
        session.reading("engine_speed", 700.0, 59.9)
        session.reading("engine_coolant_temperature", first, 60.0)
        session.reading("engine_coolant_temperature", 86.0, 61.0)
        assert session.marks == {"engine_warm": [wanted_s]}
        assert session.told == {}
