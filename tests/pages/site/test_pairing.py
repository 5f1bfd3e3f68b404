"""A browser of the local network gets in by a code that works once."""

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from bellmouth.errors import BellmouthError
from bellmouth.pages.site.app import create_app
from bellmouth.pages.site.garage import Garage
from bellmouth.pages.site.guard import COOKIE, Settings
from bellmouth.pages.site.pairing import (
    kept_token,
    new_code,
    pair_address,
    picture,
    spend,
    terminal_picture,
)
from tests.pages.site.conftest import HOST


@pytest.fixture
def settings() -> Settings:
    return Settings(frozenset({HOST}), token="t" * 43, address=f"http://{HOST}")


@pytest.fixture
def stranger(garage: Garage, settings: Settings) -> Iterator[TestClient]:
    with TestClient(create_app(garage, settings), base_url=f"http://{HOST}") as client:
        client.headers["origin"] = f"http://{HOST}"
        yield client


def test_a_code_pairs_one_browser_once(stranger: TestClient, settings: Settings) -> None:
    assert stranger.get("/").status_code == 401
    code = new_code(settings)
    assert "Pair this browser" in stranger.get(f"/pair?code={code}").text
    assert stranger.get("/").status_code == 401, "looking at the page alone pairs nobody"
    answer = stranger.post("/pair", data={"code": code}, follow_redirects=False)
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert stranger.get("/").status_code == 200
    stranger.cookies.clear()
    again = stranger.post("/pair", data={"code": code})
    assert again.status_code == 403
    assert "was used or is not one" in again.text


@pytest.mark.parametrize("code", ["", "wrong", "ä" * 16, "x" * 10_000])
def test_a_wrong_code_pairs_nobody(stranger: TestClient, settings: Settings, code: str) -> None:
    new_code(settings)
    assert stranger.post("/pair", data={"code": code}).status_code in {403, 422}
    assert COOKIE not in stranger.cookies
    assert len(settings.codes) == 1


def test_a_stale_token_is_told_what_to_do(stranger: TestClient) -> None:
    stranger.cookies.set(COOKIE, "stale")
    answer = stranger.get("/")
    assert answer.status_code == 401
    assert "not paired" in answer.text


def test_a_paired_browser_shows_a_picture_and_a_stranger_does_not(
    stranger: TestClient, settings: Settings
) -> None:
    assert "<svg" not in stranger.get("/pair").text
    assert settings.codes == []
    stranger.cookies.set(COOKIE, settings.token or "")
    assert "<svg" in stranger.get("/pair").text
    assert len(settings.codes) == 1


def test_there_are_never_many_codes(settings: Settings) -> None:
    codes = [new_code(settings) for _ in range(20)]
    assert len(settings.codes) == 8
    assert not spend(settings, codes[0])
    assert spend(settings, codes[-1])


def test_the_picture_says_the_address(settings: Settings) -> None:
    address = pair_address(settings, "abc")
    assert address == f"http://{HOST}/pair?code=abc"
    assert picture(address).startswith("<svg")
    assert len(terminal_picture(address).splitlines()) > 10


def test_a_server_that_is_started_again_knows_who_is_paired(tmp_path: Path) -> None:
    token = kept_token(tmp_path / "captures")
    assert len(token) == 43
    assert kept_token(tmp_path / "captures") == token
    if os.name == "posix":
        assert (tmp_path / "captures" / "pairing").stat().st_mode & 0o077 == 0
    assert kept_token(tmp_path / "captures", anew=True) != token


@pytest.mark.parametrize("damaged", ["", "short", "x" * 44, "\0" * 43])
def test_a_damaged_pairing_is_made_anew(tmp_path: Path, damaged: str) -> None:
    (tmp_path / "pairing").write_text(damaged)
    token = kept_token(tmp_path)
    assert token != damaged
    assert kept_token(tmp_path) == token


def test_a_pairing_that_cannot_be_kept_is_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(BellmouthError, match="cannot be kept"):
        kept_token(tmp_path / "file")
