"""``codes``, ``monitors`` and ``clear`` against a stub car behind a serial-line adapter."""

import json
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from bellmouth.bus.reports import Cleared
from bellmouth.cli import main
from bellmouth.pages.card_words import Words
from bellmouth.pages.clearing_words import cleared_words
from bellmouth.practice.server import SlcanServer
from tests.bus.stub_car import ENGINE_PARAMETERS, StubCar, StubNode
from tests.english import left_english

Run = Callable[..., Result]
VIN = "00PBELLM0AP000001"
VALUES = {0x0C: b"\x00\x00", 0x0D: b"\x00", 0x01: b"\x00\x07\x65\x04"}
CODES = {
    b"\x03": [bytes.fromhex("430201711505")],
    b"\x07": [bytes.fromhex("4700")],
    b"\x0a": [bytes.fromhex("7F0A11")],
    bytes.fromhex("020000"): [bytes.fromhex("42000060100000")],
    bytes.fromhex("020200"): [bytes.fromhex("4202000171")],
    bytes.fromhex("020C00"): [bytes.fromhex("420C000AF0")],
    bytes.fromhex("020300"): [bytes.fromhex("4203000200")],
}


@pytest.fixture
def run() -> Run:
    """Run a command in this process, with what is typed at it."""

    def typed(*words: str | Path, stdin: str = "") -> Result:
        return CliRunner().invoke(main, [str(word) for word in words], input=stdin)

    return typed


@pytest.fixture
def engine() -> StubNode:
    return StubNode(parameters=ENGINE_PARAMETERS, values=dict(VALUES), fixed=dict(CODES))


@pytest.fixture
def at(engine: StubNode) -> Iterator[tuple[str, ...]]:
    """Options that lead to the car."""
    with SlcanServer(StubCar([engine])) as server:
        yield "--channel", server.channel, "--bitrate", "500000"


def test_codes(run: Run, at: tuple[str, ...]) -> None:
    result = run("codes", *at)
    assert result.exit_code == 0, result.output
    assert "Controller 10 (ECM-EngineControl)" in result.output
    assert "P0171  too lean, bank 1" in result.output
    assert "P1505  not in our table; see the car's manual" in result.output
    assert "Pending codes: none." in result.output
    assert "Permanent codes: it does not answer this question." in result.output
    assert "Freeze frame, kept when P0171 was set" in result.output
    assert "700  rpm" in result.output
    assert "VIN: 00P************01" in result.output
    assert "  engine speed" in result.output
    assert VIN not in result.output


def test_codes_as_json(run: Run, at: tuple[str, ...]) -> None:
    document = json.loads(run("codes", *at, "--json", "--show-vin").stdout)
    assert document["standard"] == "ISO 15765-4, 11-bit, 500 kbit/s"
    (one,) = document["controllers"]
    assert one["confirmed"][0] == {"code": "P0171", "meaning": "too lean, bank 1"}
    assert one["confirmed"][1] == {"code": "P1505", "meaning": None}
    assert (one["pending"], one["permanent"]) == ([], None)
    assert one["freeze_frame"]["values"]["engine_speed"] == {"value": 700.0, "unit": "rpm"}
    assert one["vehicle_number"] == VIN
    assert document["losses"]["damaged"] == 0


def test_monitors(run: Run, at: tuple[str, ...], engine: StubNode, tmp_path: Path) -> None:
    engine.fixed[b"\x03"] = [bytes.fromhex("4300")]
    result = run("monitors", *at)
    assert result.exit_code == 0, result.output
    assert "Go: ready for inspection by this table." in result.output
    assert "evaporative: INCOMPLETE" in result.output
    assert "_" not in result.output
    assert "Tank between a quarter and three quarters" in result.output
    assert "no pattern outranks limits" in result.output
    assert result.output.rstrip().endswith("comes before this table.")
    strict = tmp_path / "rules.toml"
    strict.write_text("most_incomplete = 0\n", "utf-8")
    result = run("monitors", *at, "--rules", strict, "--json")
    assert result.exit_code == 1
    document = json.loads(result.stdout)
    assert (document["verdict"], document["ready"]) == ("wait", False)
    assert document["missing"][0]["monitor"] == "evaporative"


def test_a_lit_lamp_is_not_ready(run: Run, at: tuple[str, ...], engine: StubNode) -> None:
    engine.values = {**VALUES, 0x01: b"\x82\x07\x65\x00"}
    result = run("monitors", *at)
    assert result.exit_code == 1
    assert "find the fault and repair it first" in result.output


def test_a_mistake_in_the_rules_is_said_before_the_car_is_asked(run: Run, tmp_path: Path) -> None:
    result = run("monitors", "--channel", "nowhere", "--rules", tmp_path / "none.toml")
    assert result.exit_code == 2
    assert "none.toml: cannot be read (No such file or directory)" in result.stderr


def _cleared(engine: StubNode) -> bool:
    return b"\x04" in engine.heard


def test_clear_shows_what_is_lost_and_asks(run: Run, at: tuple[str, ...], engine: StubNode) -> None:
    result = run("clear", *at, "--yes", "P0171")
    assert result.exit_code == 1
    assert "the codes: confirmed P0171, P1505." in result.output
    assert "the freeze frame of P0171." in result.output
    assert "would have to complete again" in result.output
    assert "learned fuel trims" in result.output
    assert "The car holds other codes than --yes names: P0171,P1505." in result.output
    assert "Nothing was cleared." in result.output
    assert not _cleared(engine)


def test_clear_with_the_question_answered_beforehand(
    run: Run, at: tuple[str, ...], engine: StubNode
) -> None:
    result = run("clear", *at, "--yes", "p1505, P0171")
    assert result.exit_code == 0, result.output
    assert "Controller 10 has cleared its codes." in result.output
    assert engine.heard.count(b"\x04") == 1


def test_clear_takes_no_consent_to_what_was_not_told(
    run: Run, at: tuple[str, ...], engine: StubNode
) -> None:
    engine.fixed[b"\x03"] = [bytes.fromhex("430301710507")]  # three are counted, two come
    for options, typed in ((("--yes", "none"), ""), ((), "clear\n")):
        result = run("clear", *at, *options, stdin=typed)
        assert result.exit_code == 1
        assert "none are stored" not in result.output
        assert "whatever controller 10 holds, which did not tell its codes." in result.output
        assert "does not say which codes it holds; try again." in result.output
    assert not _cleared(engine)


@pytest.mark.parametrize(("typed", "clears"), [("clear\n", True), ("y\n", False), ("\n", False)])
def test_clear_asks_for_the_word(
    run: Run, at: tuple[str, ...], engine: StubNode, typed: str, *, clears: bool
) -> None:
    result = run("clear", *at, stdin=typed)
    assert 'Type "clear" to lose all this' in result.output
    assert _cleared(engine) is clears
    assert result.exit_code == (0 if clears else 1)


@pytest.mark.parametrize("typed", ["löschen\n", "clear\n", "Löschen \n"])
def test_clear_asks_for_its_word_in_the_language(
    run: Run, at: tuple[str, ...], engine: StubNode, typed: str
) -> None:
    result = run("clear", *at, "--language", "de", stdin=typed)
    assert "Wer all das löschen will, tippt „löschen“" in result.output
    assert "Steuergerät 10 hat seine Codes gelöscht." in result.output
    assert left_english(result.output.replace(typed.strip(), "")) == set()
    assert _cleared(engine)


def test_clear_says_in_german_that_nothing_was_cleared(
    run: Run, at: tuple[str, ...], engine: StubNode
) -> None:
    result = run("clear", *at, "--language", "de", "--yes", "P0171")
    assert result.exit_code == 1
    assert "Im Auto stehen andere Codes, als --yes nennt: P0171,P1505." in result.output
    assert "Nichts wurde gelöscht." in result.output
    assert not _cleared(engine)


@pytest.mark.parametrize("width", ["60", "80"])
def test_codes_and_monitors_in_german(
    run: Run, at: tuple[str, ...], engine: StubNode, monkeypatch: pytest.MonkeyPatch, width: str
) -> None:
    monkeypatch.setenv("COLUMNS", width)
    codes = run("codes", *at, "--language", "de", "--units", "us").output
    assert "Steuergerät 10 (ECM-EngineControl)" in codes
    assert "P0171  zu mager, Bank 1" in codes
    assert "Vorläufige Codes: keine." in codes
    assert "Dauerhafte Codes: es beantwortet diese Frage nicht." in codes
    assert "700  1/min" in codes
    engine.fixed[b"\x03"] = [bytes.fromhex("4300")]
    monitors = run("monitors", *at, "--language", "de").output
    assert "Los: nach dieser Tabelle bereit zur Untersuchung." in monitors
    assert "Kraftstoffverdunstung: UNVOLLSTÄNDIG" in monitors
    for told in (codes, monitors):
        assert left_english(told) == set()
        assert max(map(len, told.splitlines())) <= int(width)


def test_clear_without_an_answer_clears_nothing(
    run: Run, at: tuple[str, ...], engine: StubNode
) -> None:
    result = run("clear", *at)
    assert "Nothing was cleared." in result.output
    assert result.exit_code == 1
    assert not _cleared(engine)


def test_clear_refuses_while_the_engine_runs(
    run: Run, at: tuple[str, ...], engine: StubNode
) -> None:
    engine.values = {**VALUES, 0x0C: b"\x0a\xf0"}
    result = run("clear", *at, "--yes", "P0171,P1505")
    assert result.exit_code == 1
    assert "The engine runs (700 rpm); stop it" in result.output
    assert not _cleared(engine)


def test_a_controller_that_refuses_to_clear(
    run: Run, at: tuple[str, ...], engine: StubNode
) -> None:
    engine.fixed[b"\x04"] = [bytes.fromhex("7F0478"), bytes.fromhex("44")]
    assert run("clear", *at, "--yes", "P0171,P1505").exit_code == 0


def test_why_a_controller_refuses_is_said_in_the_language() -> None:
    refused = Cleared((), {0x10: "conditions not correct"})
    (line,) = cleared_words(refused, Words("de"))
    assert line == "Steuergerät 10 hat abgelehnt: Bedingungen nicht erfüllt."


@pytest.mark.parametrize("command", ["codes", "monitors", "clear"])
@pytest.mark.parametrize(
    ("options", "told"),
    [
        (("--channel", "/dev/no-such-port"), "there is no such adapter"),
        ((), "--channel is missing"),
        (("--interface", "slcam", "--channel", "x"), 'did you mean "slcan"?'),
        (("--interface", "kline"), "--channel is missing"),
        (("--channel", "x", "--bitrate", "fast"), "'fast' is not a valid integer"),
    ],
)
def test_bad_input_is_one_sentence(
    run: Run, command: str, options: tuple[str, ...], told: str
) -> None:
    result = run(command, *options)
    assert result.exit_code == 2
    assert told in result.stderr
    assert result.stderr.count("\n") == 1
    assert "Traceback" not in result.output
