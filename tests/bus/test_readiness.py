"""Go, wait or drive, by a table that the user may edit; the law has the last word."""

from pathlib import Path

import pytest

from bellmouth.bus.readiness import Advice, advise, read_rules
from bellmouth.bus.reports import Codes
from bellmouth.errors import BellmouthError
from bellmouth.j1979.codes import MonitorState, MonitorStatus, decode_monitor_status

NO_CODES = Codes({0x10: ()}, {0x10: ()}, {0x10: ()})
DONE: MonitorState = "supported complete"
OPEN: MonitorState = "supported incomplete"


def _status(*incomplete: str, lamp: bool = False) -> dict[int, MonitorStatus]:
    names = ("misfire", "fuel_system", "catalyst", "evaporative", "oxygen_sensor")
    monitors = {name: OPEN if name in incomplete else DONE for name in names}
    return {0x10: MonitorStatus(lamp, 0, "spark", monitors)}


def _rules(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "rules.toml"
    path.write_text(text, "utf-8")
    return path


def _advice(*incomplete: str, lamp: bool = False, codes: Codes = NO_CODES) -> Advice:
    return advise(_status(*incomplete, lamp=lamp), codes, read_rules())


def test_all_complete_is_go() -> None:
    advice = _advice()
    assert (advice.verdict, advice.missing) == ("go", ())
    assert advice.last_word.startswith("What your inspection station and your local law say")


def test_one_incomplete_is_go_and_still_named() -> None:
    advice = _advice("evaporative")
    assert advice.verdict == "go"
    assert [(one.monitor, one.by) for one in advice.missing] == [("evaporative", "wait")]
    assert "overnight" in advice.missing[0].how


def test_two_that_driving_completes_is_drive() -> None:
    advice = _advice("catalyst", "oxygen_sensor")
    assert advice.verdict == "drive"
    assert advice.why == (
        "2 monitors incomplete where 1 may be (the packaged table, which is no law).",
    )


def test_a_lamp_is_repaired_first_whatever_the_monitors() -> None:
    advice = _advice(lamp=True)
    assert advice.verdict == "wait"
    assert advice.why == ("The lamp is commanded on: find the fault and repair it first.",)


def test_codes_are_repaired_first() -> None:
    confirmed = Codes({0x10: ("P0171",)}, {}, {0x10: ("P0171",)})
    assert _advice(codes=confirmed).why == ("Confirmed codes (P0171): repair these first.",)
    permanent = Codes({0x10: ()}, {}, {0x10: ("P0171",)})
    assert "only driving with the fault gone removes them" in _advice(codes=permanent).why[0]


def test_a_car_that_does_not_say_is_not_ready() -> None:
    advice = advise({}, Codes(), read_rules())
    assert advice.verdict == "wait"
    assert "No controller reports its monitors" in advice.why[0]


def test_the_published_example_lacks_the_evaporative_monitor() -> None:
    # 81 07 65 04: lamp on, 1 code, spark, evaporative incomplete; from memory of SAE J1979.
    status = {0x10: decode_monitor_status(bytes.fromhex("81076504"))}
    advice = advise(status, NO_CODES, read_rules())
    assert [one.monitor for one in advice.missing] == ["evaporative"]
    assert advice.verdict == "wait"


def test_a_petrol_engines_particulate_filter_is_a_monitor() -> None:
    # Bit 4 of bytes C and D: direct injection with a filter, common since 2018; from memory.
    status = {0x10: decode_monitor_status(bytes.fromhex("00077515"))}
    advice = advise(status, NO_CODES, read_rules())
    assert [one.monitor for one in advice.missing] == [
        "catalyst",
        "evaporative",
        "particulate_filter",
    ]
    assert advice.verdict == "drive"


def test_local_rules_are_followed(tmp_path: Path) -> None:
    rules = read_rules(
        _rules(
            tmp_path,
            'place = "here"\nmost_incomplete = 2\nmust_be_complete = ["catalyst"]\n'
            'local_law = "Ask the station in the High Street."\n'
            '[completes.catalyst]\nby = "wait"\nhow = "As the manual says."\n',
        )
    )
    advice = advise(_status("evaporative", "oxygen_sensor"), NO_CODES, rules)
    assert (advice.verdict, advice.allowed) == ("go", 2)
    assert advice.last_word == "Ask the station in the High Street."
    advice = advise(_status("catalyst"), NO_CODES, rules)
    assert advice.verdict == "wait"
    assert advice.why == ("Not complete, and here it must be: catalyst.",)
    assert advice.missing[0].how == "As the manual says."
    assert rules.permanent_codes_count  # what is left out is as packaged


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (
            "most_incomplet = 1",
            'no key is called "most_incomplet"; did you mean "most_incomplete"?',
        ),
        (
            'most_incomplete = "1"',
            "most_incomplete = '1' is not the right kind; give a whole number.",
        ),
        ("most_incomplete = true", "is not the right kind"),
        ("most_incomplete = -1", "give 0 or more"),
        ('must_be_complete = ["catalist"]', 'no monitor is called "catalist"; did you mean'),
        ('[completes.egr]\nby = "drive"\nhow = "x"', 'no monitor is called "egr"'),
        ('[completes.catalyst]\nby = "fly"\nhow = "x"', 'wants by = "drive" or "wait"'),
        ("most_incomplete = ", "this is no TOML"),
    ],
)
def test_a_mistake_in_the_rules_is_named(tmp_path: Path, text: str, told: str) -> None:
    path = _rules(tmp_path, text)
    with pytest.raises(BellmouthError) as caught:
        read_rules(path)
    assert str(caught.value).startswith(f"{path}: ")
    assert told in str(caught.value)


def test_every_monitor_of_the_standard_has_its_row() -> None:
    both = [decode_monitor_status(bytes((0, second, 0xFF, 0))) for second in (0x07, 0x0F)]
    assert {name for one in both for name in one.monitors} == set(read_rules().completes)
