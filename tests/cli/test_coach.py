"""``bellmouth coach``, on a clock that nobody waits for."""

import re
from pathlib import Path

import pytest

from bellmouth.cli import coaching
from bellmouth.cli.coach_intro import introduce
from bellmouth.cli.coaching import Wishes
from bellmouth.learning.attempts import Attempts, KeptAttempt
from bellmouth.learning.packs import find_procedure, packs
from bellmouth.learning.procedure import Procedure
from bellmouth.learning.session import Timing
from bellmouth.pages.card_words import Words
from tests.cli.conftest import Run
from tests.learning.fake_clock import FakeClock


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> FakeClock:
    made = FakeClock()
    monkeypatch.setattr(coaching, "make_clock", lambda: made)
    return made


def test_nothing_is_coached_before_the_manual_was_checked(run: Run, clock: FakeClock) -> None:
    result = run("coach", "P4")
    assert result.exit_code == 2
    assert "Full pedal with the engine stopped only." in result.stdout
    assert "Battery 12.4 V or more with the engine stopped" in result.stdout
    assert (
        '"Idle air learning by pedal pattern" is common practice, no source, and off until you '
        "confirm that the car's own manual was checked: --manual-checked."
    ) in result.stderr
    assert clock.time_s == 100.0


def test_a_procedure_of_ones_own_asks_for_the_manual_too(
    run: Run, clock: FakeClock, tmp_path: Path
) -> None:
    own = tmp_path / "mine.toml"
    own.write_text(
        'name = "mine"\ntitle = "Mine"\nsource = "Manual, section 3"\n'
        '[[step]]\nname = "on"\nwho = "key"\ndo = "on"\nsay = "Key on"\nlasts_s = { least = 2 }\n'
        '[[step]]\nname = "off"\nwho = "key"\ndo = "off"\nsay = "Key off"\n'
    )
    result = run("coach", own)
    assert result.exit_code == 2
    assert '"Mine" is not coached until you confirm' in result.stderr
    assert run("coach", own, "--manual-checked", "--keep", tmp_path).exit_code == 0


def test_it_coaches_and_keeps_the_attempt(run: Run, clock: FakeClock, tmp_path: Path) -> None:
    result = run("coach", "P3", "--manual-checked", "--keep", tmp_path, "--person", "7", "--quiet")
    assert result.exit_code == 0
    assert "    0.0 s  ■ NOW  Key on" in result.stdout
    assert "    3.0 s  ■ NOW  Key off" in result.stdout
    assert "Nobody watched the car, so nothing here says that every window was met." in (
        result.stdout
    )
    (kept,) = Attempts(tmp_path).read("7")
    assert (kept.procedure, kept.outcome, kept.live) == ("throttle-closed-position", "done", False)


def test_an_event_that_nobody_marks_loses_it(run: Run, clock: FakeClock, tmp_path: Path) -> None:
    result = run("coach", "P4", "--manual-checked", "--keep", tmp_path, "--quiet")
    assert result.exit_code == 1
    assert "Not met (lost). Press and hold: not within 30 s" in result.stdout
    assert "Pedal up, key off, wait 10 s." in result.stdout


def test_a_lead_calls_sooner(run: Run, clock: FakeClock, tmp_path: Path) -> None:
    result = run("coach", "P3", "--manual-checked", "--keep", tmp_path, "--quiet", "--lead", "0.25")
    assert "   -0.2 s  ■ NOW  Key on" in result.stdout


def test_the_bell_rings_where_there_is_no_other_sound(
    run: Run, clock: FakeClock, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(__import__("sys").modules, "sounddevice", None)
    result = run("coach", "P3", "--manual-checked", "--keep", tmp_path)
    told = " ".join(result.stdout.split())
    assert (
        "Sound: the terminal's bell (no sound library; for tones install sounddevice, for spoken "
        "words espeak-ng)." in told
    )
    assert result.stderr.count("\a") == 3


def test_the_card_has_cumulative_seconds_and_boxes(run: Run) -> None:
    text = run("coach", "P4", "--card").stdout
    assert "   12.0  [______]  KEY ON" in text
    assert "Press at 15.0 15.9 16.8 17.7 18.6, all within 5 s." in text
    assert "[ ] Coolant 70 to 95 °C" in text
    assert "Manual section checked: ____" in text
    assert "STOP at any time: Pedal up, key off, wait 10 s." in text


def test_two_people_get_a_script(run: Run) -> None:
    text = run("coach", "P1", "--two-person").stdout
    assert "the caller reads, the doer acts" in text
    assert "The car's own manual wins." in text
    assert "! Full pedal with the engine stopped only." in text
    assert "It erases: codes, freeze frame, trims, readiness." in text
    assert "    14.0 s  PRESS AND HOLD" in text
    assert "Doer: say so when the lamp starts blinking." in text


def test_a_forecast_says_chance_and_step(run: Run, tmp_path: Path) -> None:
    timings = tuple(Timing("key_on", "key", 0, 0.0, 0.4) for _ in range(4))
    Attempts(tmp_path).keep(KeptAttempt("x", "7", outcome="done", timings=timings))
    text = run("coach", "P4", "--forecast", "--person", "7", "--keep", tmp_path).stdout
    assert "Chance of passing" in text
    assert "from 1 attempt." in text
    nobody = run("coach", "P4", "--forecast", "--person", "8", "--keep", tmp_path).stdout
    assert "before any attempt" in nobody


def test_leads_suit_the_person(tmp_path: Path) -> None:
    wishes = Wishes(
        find_procedure("P4"), tmp_path, "7", None, quiet=True, two_person=False, ahead_s=0
    )
    assert wishes.leads(follows=False) == {}
    timings = tuple(
        Timing("key_on", kind, 0, 0.0, late)  # type: ignore[arg-type]
        for kind, late in [("key", 0.6), ("key", 0.62), ("press", 0.1), ("beat", 0.1)] * 4
    )
    Attempts(tmp_path).keep(KeptAttempt("x", "7", outcome="done", timings=timings))
    assert wishes.leads(follows=False)["key"] > 0.2


def test_tones_are_sounded_with_their_meaning(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("time.sleep", lambda _: None)
    text = run("coach", "--sound-check").stdout
    for name in ("press", "release", "wait", "tick"):
        assert f"  {name}\n" in text


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ((), "Name a PROCEDURE; bellmouth procedures lists them."),
        (("P4", "--live", "--practise"), "Choose --practise or --live: one is without a car."),
        (("P77",), 'No procedure is called "P77".'),
        (("nowhere.toml",), "nowhere.toml: "),
    ],
)
def test_bad_use_is_one_sentence(run: Run, words: tuple[str, ...], told: str) -> None:
    result = run("coach", *words)
    assert result.exit_code == 2
    assert told in result.stderr
    assert "Traceback" not in result.stderr


def test_the_card_is_a_page_to_print_too(run: Run, tmp_path: Path) -> None:
    page = tmp_path / "card.html"
    result = run("coach", "P4", "--html", page)
    assert result.exit_code == 0
    assert result.stdout == f"Card: {page} (open it in a browser and print it)\n"
    assert "Idle air learning by pedal pattern" in page.read_text("utf-8")


def test_calls_come_in_german(run: Run, clock: FakeClock, tmp_path: Path) -> None:
    words = ("coach", "P3", "--manual-checked", "--keep", tmp_path, "--quiet")
    text = run(*words, "--language", "de").stdout
    assert "Bereit machen" in text
    assert "JETZT  Zündung ein" in text
    assert "Get ready" not in text
    assert "Key on" not in text


def test_the_introduction_and_what_came_of_it_are_german_too(
    run: Run, clock: FakeClock, tmp_path: Path
) -> None:
    words = ("coach", "P1", "--manual-checked", "--keep", tmp_path, "--language", "de")
    result = run(*words, "--quiet")
    text = " ".join(result.stdout.split())
    for told in (
        "Vollgas nur bei stehendem Motor. Springt er an: Fuß weg, Zündung aus.",
        "Es löscht: Codes, Freeze-Frame, Gemischkorrekturen, Bereitschaft.",
        "Batterie 12,4 V oder mehr, Motor steht",
        "Wenn etwas nicht stimmt: Pedal hoch, Zündung aus, 10 s warten.",
        "Ton: keiner, damit die Klappe zu hören ist.",
        "Nicht bestanden (verloren). Treten und halten: nicht binnen 15 s, dass die",
    ):
        assert told in text
    assert not re.search(r"\b(the|and|not|key|pedal up)\b", text.split("Versuche werden")[0])


@pytest.mark.parametrize("one", packs(), ids=lambda one: one.name)
def test_every_pack_is_introduced_in_german(
    one: Procedure, capsys: pytest.CaptureFixture[str]
) -> None:
    introduce(one, Words("de"))
    text = " ".join(capsys.readouterr().out.split())
    said_in_packs = (one.purpose, *one.cautions, *(condition.say for condition in one.conditions))
    english = [said.replace("degC", "°C") for said in said_in_packs]
    assert [said for said in english if said in text] == []
    introduce(one, Words("en"))
    text = " ".join(capsys.readouterr().out.split())
    assert [said for said in english if said not in text] == []


ENGLISH = re.compile(
    r"\b(the|and|not|key|pedal up|press|seconds|source|manual|wait|least|within|after|step|met)\b",
    re.IGNORECASE,
)


@pytest.mark.parametrize("name", [one.name for one in packs()])
def test_card_page_and_script_are_german_too(run: Run, tmp_path: Path, name: str) -> None:
    page = tmp_path / "card.html"
    words = ("coach", name, "--card", "--two-person", "--html", page, "--language", "de")
    text = run(*words).stdout
    assert "Das Handbuch des Autos geht vor." in text
    assert "Einer ruft, einer handelt." in text
    assert f"Karte: {page} (im Browser öffnen und drucken)" in text
    body = re.sub(r"<[^>]*>", " ", page.read_text("utf-8").split("<body>")[1])
    assert '<html lang="de">' in page.read_text("utf-8")
    for told in (text.replace(str(page), ""), body):
        assert ENGLISH.findall(told) == []


def test_a_german_card_writes_figures_as_germans_do(run: Run) -> None:
    text = run("coach", "P1", "--card", "--language", "de").stdout
    assert "Dauert etwa 3 s (2,5 bis 3,5)." in text
    assert "Treten bei 3,0 3,9 4,8 5,7 6,6, alles binnen 5 s." in text
    assert "[ ] bis die Lampe zu blinken beginnt, höchstens 15 s" in text
    assert "Binnen 3 s nach dem Moment, in dem die Lampe zu blinken beginnt." in text
