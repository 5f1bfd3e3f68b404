"""What of coaching outlives the server."""

import os
import time
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from bellmouth.pages.site.coach_notes import CoachNotes
from bellmouth.pages.site.garage import Garage
from bellmouth.pages.site.live import Adapter
from tests.pages.site.test_job import begin

IDENT = "0123456789abcdef"
PROCEDURE = "pedal-released-position"


def aged(folder: Path) -> None:
    """As if the server that wrote it had been gone for a while."""
    for one in folder.glob("*.coach"):
        os.utime(one, (time.time() - 60, time.time() - 60))


def test_what_was_said_is_known_after_a_restart(tmp_path: Path) -> None:
    notes = CoachNotes(tmp_path)
    notes.reach("a", Adapter("slcan", "/dev/ttyUSB0"))
    notes.check("a", "p", 2)
    again = CoachNotes(tmp_path)
    assert again.adapter("a") == Adapter("slcan", "/dev/ttyUSB0")
    assert again.is_checked("a", "p", 2)
    assert not again.is_checked("a", "p", 3), "another job asks anew"
    assert not again.is_checked("a", "q", 2)
    assert again.adapter("b") is None


def test_an_attempt_is_interrupted_only_where_its_server_is_gone(tmp_path: Path) -> None:
    notes = CoachNotes(tmp_path)
    notes.begin("a", "p", IDENT)
    assert notes.interrupted("a") is None, "this server coaches it"
    other = CoachNotes(tmp_path)
    assert other.interrupted("a") is None, "another server may still coach it"
    aged(tmp_path)
    assert other.interrupted("a") == ("p", IDENT)
    notes.touch("a")
    assert other.interrupted("a") is None
    aged(tmp_path)
    other.end("a")
    assert CoachNotes(tmp_path).interrupted("a") is None


@pytest.mark.parametrize("text", ["", "[]", "{", '{"open": null}', "\0"])
def test_a_damaged_note_says_nothing(tmp_path: Path, text: str) -> None:
    (tmp_path / "a.coach").write_text(text, encoding="utf-8")
    notes = CoachNotes(tmp_path)
    assert notes.adapter("a") is None
    assert notes.interrupted("a") is None
    notes.check("a", "p", None)
    assert notes.is_checked("a", "p", None)


def test_an_interrupted_attempt_is_in_the_list_once_as_void(
    client: TestClient, garage: Garage
) -> None:
    car = begin(client, "Interrupted")
    client.get(f"{car}/record")
    name = next(iter(_names(garage, car)))
    CoachNotes(garage.folder).begin(name, PROCEDURE, IDENT)
    aged(garage.folder)
    for _ in range(2):
        text = client.get(f"{car}/learning").text
        assert text.count("<strong>void</strong>") == 1
    assert client.get(f"{car}/coached/{IDENT}").json()["see"].endswith("/attempt/3")
    assert "The server ended in the middle of it" in client.get(f"{car}/attempt/3").text
    # The same attempt sent by its page afterwards is not a second one.
    sent = client.post(
        f"{car}/learning/{PROCEDURE}/attempt", json={"id": IDENT, "phase": "done", "taps": []}
    )
    assert sent.json()["see"].endswith("/attempt/3")


def _names(garage: Garage, car: str) -> set[str]:
    key = car.removeprefix("/car/")
    garage.reach(key, Adapter("slcan", None))
    return {one.stem for one in garage.folder.glob("*.coach")}


@pytest.mark.parametrize("phase", ["void", "stopped"])
def test_what_was_spoiled_is_never_met_and_asks_for_another(client: TestClient, phase: str) -> None:
    car = begin(client, "Spoiled")
    taps = [{"means": means, "at_s": at} for means, at in (
        ("key_on", 8.0), ("key_off", 11.0), ("key_on", 23.0), ("key_off", 26.0), ("key_on", 39.0),
    )]  # fmt: skip
    where = f"{car}/learning/{PROCEDURE}/attempt"
    good = client.post(where, json={"id": "a" * 16, "phase": "done", "taps": taps}).json()["see"]
    bad = client.post(where, json={"id": "b" * 16, "phase": phase, "taps": taps}).json()["see"]
    assert f"<h1>Pedal released position: {phase}</h1>" in client.get(bad).text
    assert f": {phase}</h1>" not in client.get(good).text
    again = client.post(where, json={"id": "b" * 16, "phase": "done", "taps": taps}).json()["see"]
    assert again == bad, "what was void stays void"


@pytest.mark.parametrize(("watched_s", "told"), [(None, "cannot tell"), (39.0, "met")])
def test_who_tapped_to_the_end_has_seen_how_long_the_last_step_was(
    client: TestClient, garage: Garage, watched_s: float | None, told: str
) -> None:
    """Nobody turns the key on again, so that only the time of watching bounds the last wait."""
    car = begin(client, "Watched")
    taps = [{"means": means, "at_s": at} for means, at in (
        ("key_on", 8.0), ("key_off", 11.0), ("key_on", 23.0), ("key_off", 26.0),
    )]  # fmt: skip
    words = {"id": "c" * 16, "phase": "done", "taps": taps, "watched_s": watched_s}
    assert client.post(f"{car}/learning/{PROCEDURE}/attempt", json=words).status_code == 200
    (kept,) = garage.visit(car.split("/")[-1]).everywhere("attempt")
    last = kept.document["steps"][-1]
    assert (last["step"], last["judgement"]) == ("key_off_2", told)
