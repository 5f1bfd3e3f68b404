"""A procedure's file is read strictly, and an error says where."""

import math
import re
from pathlib import Path

import pytest

from bellmouth.errors import ProcedureError
from bellmouth.learning.procedure import Window
from bellmouth.learning.procedure_reader import procedure_from_text, read_procedure

HEAD = 'name = "mine"\ntitle = "Mine"\nsource = "Manual, section 7"\n'
KEY_ON = '[[step]]\nname = "key_on"\nwho = "key"\ndo = "on"\nsay = "Key on"\n'
PUMP = (
    '[[step]]\nname = "presses"\nwho = "pedal"\ndo = "pump"\nsay = "Press"\n'
    "times = 5\nwithin_s = 5\n"
)
HOLD = (
    '[[step]]\nname = "hold"\nwho = "pedal"\ndo = "press"\nsay = "Hold"\n'
    'until = { event = "lamp_steady", timeout_s = 30 }\n'
)
LET_GO = (
    '[[step]]\nname = "let_go"\nwho = "pedal"\ndo = "release"\nsay = "Let go"\n'
    'after = "lamp_steady"\nafter_s = { most = 3 }\n'
)


def _read(*parts: str) -> object:
    return procedure_from_text(HEAD + "".join(parts), "mine.toml")


def test_a_step_keeps_what_was_written() -> None:
    procedure = procedure_from_text(
        HEAD + KEY_ON + "lasts_s = { about = 3, tolerance = 0.5 }\n" + PUMP + HOLD + LET_GO,
        "m.toml",
    )
    key_on, presses, hold, let_go = procedure.steps
    assert key_on.lasts_s == Window(2.5, 3.5, 3.0)
    assert (presses.times, presses.within_s) == ((5, 5), 5.0)
    assert hold.until is not None
    assert (hold.until.event, hold.until.timeout_s) == ("lamp_steady", 30.0)
    assert (let_go.after, let_go.after_s) == ("lamp_steady", Window(0.0, 3.0))
    assert key_on.line == 4
    assert procedure.sourced


@pytest.mark.parametrize(
    ("written", "window"),
    [
        ("{ least = 2 }", Window(2.0, math.inf)),
        ("{ most = 3 }", Window(0.0, 3.0)),
        ("{ least = 2, most = 3 }", Window(2.0, 3.0)),
        ("{ least = 10, aim = 12 }", Window(10.0, math.inf, 12.0)),
        ("{ about = 0.2, tolerance = 0.5 }", Window(0.0, 0.7, 0.2)),
    ],
)
def test_every_kind_of_window(written: str, window: Window) -> None:
    procedure = procedure_from_text(HEAD + KEY_ON + f"lasts_s = {written}\n", "mine.toml")
    assert procedure.steps[0].lasts_s == window


def test_repeats_are_written_out() -> None:
    off = '[[step]]\nname = "key_off"\nwho = "key"\ndo = "off"\nsay = "Key off"\n'
    again = '[[repeat]]\nfirst = "key_on"\nlast = "key_off"\ntimes = { least = 2, most = 3 }\n'
    procedure = procedure_from_text(HEAD + KEY_ON + off + again, "mine.toml")
    assert [(step.name, step.optional) for step in procedure.steps] == [
        ("key_on", False),
        ("key_off", False),
        ("key_on_2", False),
        ("key_off_2", False),
        ("key_on_3", True),
        ("key_off_3", True),
    ]


WRONG = {
    "unknown key": (
        [KEY_ON, "lasts = 3\n"],
        'mine.toml, line 9, step "key_on": unknown key lasts. Did you mean lasts_s?',
    ),
    "a step called like a round": (
        [
            KEY_ON,
            PUMP.replace('"presses"', '"key_on_2"'),
            '[[repeat]]\nfirst = "key_on"\nlast = "key_on"\ntimes = 2\n',
        ],
        'mine.toml, line 16, repeat 1: two steps are called "key_on_2" once its rounds are written '
        "out. Rename one",
    ),
    "a step called like its event": (
        [KEY_ON, HOLD.replace('"hold"', '"lamp_steady"'), LET_GO],
        'mine.toml, line 10, step "lamp_steady": "lamp_steady" is an event that this procedure '
        "waits for, too",
    ),
    "no times": (
        [KEY_ON, PUMP.replace("times = 5", "times = { least = 0, most = 2 }")],
        'step "presses": times: least is 0; write least = 1 and, on the step, optional = true.',
    ),
    "times without end": (
        [KEY_ON, PUMP.replace("times = 5\nwithin_s = 5", "times = 100000")],
        'line 14, step "presses": times = 100000 is more than anybody does; 100 at most.',
    ),
    "rounds without end": (
        [KEY_ON, '[[repeat]]\nfirst = "key_on"\nlast = "key_on"\ntimes = 5000\n'],
        "repeat 1: times = 5000 is more than anybody does; 100 at most.",
    ),
    "a clock that never runs on": (
        [
            KEY_ON,
            'lasts_s = { least = 3 }\nclock_stops = { at = "fan_runs", until = "fan_runs" }\n',
        ],
        'step "key_on": clock_stops: at and until are both fan_runs',
    ),
    "a condition from the last step to the first": (
        [
            KEY_ON,
            PUMP,
            '[[throughout]]\nname = "still"\nsay = "Still"\nfirst = "presses"\nlast = "key_on"\n',
        ],
        'throughout "still": first stands after last, so that it would never have to stand.',
    ),
    "a repeat in a repeat": (
        [
            KEY_ON,
            PUMP,
            '[[repeat]]\nfirst = "key_on"\nlast = "presses"\ntimes = 2\n',
            '[[repeat]]\nfirst = "presses"\nlast = "presses"\ntimes = 2\n',
        ],
        "a repeat inside a repeat has to be written out by hand.",
    ),
    "unknown top key": (
        ["titel = 1\n"],
        "mine.toml, line 4: unknown key titel. Did you mean title?",
    ),
    "missing key": (
        ['[[step]]\nname = "a"\nwho = "key"\ndo = "on"\n'],
        'mine.toml, line 4, step "a": say is missing.',
    ),
    "unknown action": (
        [KEY_ON.replace('"on"', '"onn"')],
        'mine.toml, line 7, step "key_on": do = "onn" is not known. Did you mean "on"?',
    ),
    "unknown event": (
        [HOLD.replace("lamp_steady", "lamp_stedy")],
        'step "hold": until: event = "lamp_stedy" is not known. Did you mean "lamp_steady"?',
    ),
    "unknown anchor": (
        [KEY_ON, LET_GO],
        'mine.toml, line 9, step "let_go": after = "lamp_steady" is neither an earlier step nor an '
        "event that one waits for. One of key_on.",
    ),
    "unknown signal": (
        [
            KEY_ON,
            '[[throughout]]\nname = "v"\nsay = "V"\nsignal = "control_modul_voltage"\n'
            'unit = "V"\nleast = 12\n',
        ],
        'mine.toml, line 12, throughout "v": unknown signal "control_modul_voltage". '
        'Did you mean "control_module_voltage"?',
    ),
    "wrong unit": (
        [
            KEY_ON,
            '[[before]]\nname = "v"\nsay = "V"\nsignal = "vehicle_speed"\nunit = "V"\nmost = 0\n',
        ],
        'write unit = "km/h", the unit of vehicle_speed.',
    ),
    "window the wrong way round": (
        [KEY_ON, "lasts_s = { least = 5, most = 3 }\n"],
        "lasts_s: least 5 s is more than most 3 s, which nobody can meet.",
    ),
    "window without a limit": ([KEY_ON, "lasts_s = { aim = 3 }\n"], "lasts_s: holds no limit."),
    "half of about": (
        [KEY_ON, "lasts_s = { about = 3 }\n"],
        "about and tolerance go together",
    ),
    "hurried presses": (
        [KEY_ON, PUMP.replace("within_s = 5", "within_s = 1")],
        'mine.toml, line 9, step "presses": 5 presses inside 1 s cannot be met; they take at least '
        "1.25 s.",
    ),
    "contradiction": (
        [KEY_ON, "lasts_s = { least = 10 }\n", PUMP, 'after = "key_on"\n', HOLD,
         'after = "key_on"\nafter_s = { most = 8 }\n'],
        'step "hold": its window cannot be met together with those before it. Widen one of them.',
    ),
    "two windows on one wait": (
        [KEY_ON, "lasts_s = { least = 1 }\n", PUMP, "after_s = { most = 8 }\n"],
        "two windows on one wait. Keep one.",
    ),
    "overlapping windows": (
        [
            KEY_ON,
            HOLD.replace('"hold"', '"one"').split("until")[0],
            'after = "key_on"\nafter_s = { least = 2, most = 6 }\n',
            HOLD.replace('"hold"', '"two"').split("until")[0],
            'after = "key_on"\nafter_s = { least = 4, most = 9 }\n',
        ],
        'its window overlaps that of "one", which is the same action after "key_on"; nobody could '
        "tell them apart.",
    ),
    "event sooner than it can be": (
        [KEY_ON, HOLD.replace("timeout_s = 30", "timeout_s = 30, earliest_s = 40")],
        "are not in that order, which nobody can meet.",
    ),
    "two of a name": ([KEY_ON, KEY_ON], 'two of the kind step are called "key_on". Rename one.'),
    "no step": (["step = []\n"], "no [[step]]. A procedure has at least one."),
    "not TOML": (["= 3\n"], "mine.toml: not a TOML file"),
    "no name": (
        [KEY_ON.replace('"key_on"', '"Key On"')],
        'name = "Key On" is not a name.',
    ),
    "clock without a length": (
        [KEY_ON, 'clock_stops = { at = "fan_runs", until = "fan_stops" }\n'],
        "there is no clock to stop; the step needs lasts_s.",
    ),
    "times of a key": ([KEY_ON, "times = 3\n"], "times fits presses (pump, rev, snap)"),
    "strange forbidden": (
        [KEY_ON, 'forbidden = ["pedal"]\n'],
        'forbidden action "pedal" is not known.',
    ),
    "not a number": (
        [PUMP.replace("within_s = 5", 'within_s = "5"')],
        'within_s is "5", not a number.',
    ),
    "not a finite number": (
        [PUMP.replace("within_s = 5", "within_s = nan")],
        "within_s = nan is not a finite number.",
    ),
    "unknown work": (
        ['called_for_by = ["throttle_washed"]\n', KEY_ON],
        'work "throttle_washed" is not known.',
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", WRONG)
def test_an_error_says_what_where_and_what_to_do(case: str) -> None:
    parts, sentence = WRONG[case]
    with pytest.raises(ProcedureError, match=re.escape(sentence)) as raised:
        _read(*parts)
    assert str(raised.value).startswith("mine.toml")


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(ProcedureError, match=r"^gone.toml: cannot be read \(No such file"):
        read_procedure(tmp_path / "gone.toml")


def test_a_file_that_is_not_text(tmp_path: Path) -> None:
    (tmp_path / "raw.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(ProcedureError, match=r"raw\.toml: not a text file in UTF-8"):
        read_procedure(tmp_path / "raw.toml")


def test_a_first_step_has_no_anchor() -> None:
    with pytest.raises(ProcedureError, match="this is the first step"):
        _read(KEY_ON, "after_s = { most = 3 }\n")


def test_limits_may_be_in_the_units_of_the_manual() -> None:
    """A reading that just meets 158 degF is one of 70 degC."""
    found = procedure_from_text(
        HEAD + KEY_ON + '[[throughout]]\nname = "warm"\nsay = "Warm"\n'
        'signal = "engine_coolant_temperature"\nunit = "degF"\nleast = 158\nmost = 203\n'
        '[[throughout]]\nname = "slow"\nsay = "Slow"\nsignal = "vehicle_speed"\nunit = "mph"\n'
        "most = 10\n"
    )
    warm, slow = found.conditions
    assert (warm.least, warm.most, warm.unit) == (70.0, 95.0, "degC")
    assert (slow.least, slow.unit) == (-math.inf, "km/h")
    assert slow.most == pytest.approx(16.09344)
