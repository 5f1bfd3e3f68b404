"""Who may ask the page, from where, and how much."""

import pytest
from fastapi.testclient import TestClient

from bellmouth.pages.site.app import create_app
from bellmouth.pages.site.garage import Garage
from bellmouth.pages.site.guard import Settings
from tests.pages.site.conftest import HOST


def test_another_host_name_is_refused(client: TestClient) -> None:
    """A page elsewhere must not reach this one through a name of its own."""
    answer = client.get("/", headers={"host": "evil.example"})
    assert answer.status_code == 421
    assert "not called by that name" in answer.text


@pytest.mark.parametrize("origin", ["http://evil.example", "null"])
def test_another_origin_is_refused(client: TestClient, origin: str) -> None:
    answer = client.post("/practice", headers={"origin": origin})
    assert answer.status_code == 403


def test_a_form_without_an_origin_is_refused(client: TestClient) -> None:
    del client.headers["origin"]
    assert client.post("/practice").status_code == 403
    assert client.get("/").status_code == 200


def test_a_form_that_another_site_sends_is_refused(client: TestClient) -> None:
    answer = client.post("/practice", headers={"sec-fetch-site": "cross-site"})
    assert answer.status_code == 403


def test_no_script_that_stands_in_a_page_runs(client: TestClient) -> None:
    answer = client.get("/")
    policy = answer.headers["content-security-policy"]
    assert "script-src 'self';" in policy
    assert "default-src 'none'" in policy
    assert "<script>" not in answer.text
    assert answer.headers["x-content-type-options"] == "nosniff"


def test_more_than_the_limit_is_refused(client: TestClient) -> None:
    answer = client.post("/cars", content=b"x" * 2_000_001)
    assert answer.status_code == 413
    assert "Give a shorter recording" in answer.text


def test_on_the_network_a_browser_has_to_be_paired(garage: Garage) -> None:
    app = create_app(garage, Settings(frozenset({HOST}), token="secret"))  # noqa: S106
    with TestClient(app, base_url=f"http://{HOST}") as client:
        assert client.get("/").status_code == 401
        client.cookies.set("bellmouth_pairing", "secret")
        assert client.get("/").status_code == 200
