"""Who may ask the page, from where, and how much."""

from collections.abc import Iterator

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


def test_without_a_length_a_body_is_cut_off_and_refused(client: TestClient) -> None:
    """Sent in pieces, it could go on for ever."""

    def endless() -> Iterator[bytes]:
        for _ in range(50):
            yield b"name=" + b"x" * 100_000

    answer = client.post(
        "/cars", content=endless(),
        headers={"content-type": "application/x-www-form-urlencoded"},
    )  # fmt: skip
    assert answer.status_code == 413
    assert "Give a shorter recording" in answer.text


def test_a_length_that_is_no_number_is_refused(client: TestClient) -> None:
    answer = client.post("/cars", content=b"", headers={"content-length": "many"})
    assert answer.status_code == 400


BROWSER = {"accept": "text/html,application/xhtml+xml"}


@pytest.mark.parametrize("cookie", ["", "old", "m\u00fcll", '"; x=y', "a" * 5000])
def test_a_stale_pairing_is_a_page_that_says_what_to_do(garage: Garage, cookie: str) -> None:
    app = create_app(garage, Settings(frozenset({HOST}), token="secret"))  # noqa: S106
    with TestClient(app, base_url=f"http://{HOST}") as client:
        headers = [*BROWSER.items(), ("cookie", f"bellmouth_pairing={cookie}".encode())]
        answer = client.get("/", headers=headers)  # type: ignore[arg-type]
        assert answer.status_code == 401
        assert "Have a picture shown" in answer.text
        assert 'href="/pair"' in answer.text
        # What it looks like comes along; what it is about does not.
        assert client.get("/static/site.css").status_code == 200
        assert client.get("/static/../app.py").status_code in {401, 404}
        assert client.get("/car/x/record").status_code == 401


def test_a_spent_code_is_a_page_that_says_what_to_do(garage: Garage) -> None:
    settings = Settings(frozenset({HOST}), token="secret", codes=["abc"])  # noqa: S106
    with TestClient(create_app(garage, settings), base_url=f"http://{HOST}") as client:
        client.headers["origin"] = f"http://{HOST}"
        assert client.post("/pair", data={"code": "abc"}).status_code in {200, 303}
        client.cookies.clear()
        again = client.post("/pair", data={"code": "abc"})
        assert again.status_code == 403
        assert "Have a new picture shown" in again.text


def test_a_form_that_lacks_something_is_a_page(client: TestClient) -> None:
    answer = client.post("/cars", data={"name": "a"})
    assert answer.status_code == 422
    assert "displacement l, metering" in answer.text
    assert "That did not work" in answer.text


def test_a_fault_of_ours_is_a_page_and_not_a_trace(garage: Garage) -> None:
    app = create_app(garage, Settings(frozenset({HOST})))

    @app.get("/broken")
    def broken() -> None:
        raise RuntimeError("secret detail")

    with TestClient(app, base_url=f"http://{HOST}", raise_server_exceptions=False) as client:
        answer = client.get("/broken")
    assert answer.status_code == 500
    assert "is on disk" in answer.text
    assert "secret detail" not in answer.text
