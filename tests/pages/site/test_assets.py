"""What the page is made of: compressed, kept for good under its tag, and not otherwise."""

import gzip
import re

import pytest
from fastapi.testclient import TestClient

from bellmouth.pages.site.assets import FOLDER, static


def test_a_page_and_all_it_takes_are_compressed(client: TestClient) -> None:
    page = client.get("/")
    assert page.headers["content-encoding"] == "gzip"
    taken = re.findall(r'(?:src|href)="(/static/[^"]+\.(?:js|css|png|webmanifest))"', page.text)
    assert len(taken) >= 4
    for one in taken:
        assert one.startswith(f"{static()}/")
        answer = client.get(one)
        assert answer.headers["cache-control"] == "public, max-age=31536000, immutable"
        if one.endswith((".js", ".css")):
            assert answer.headers["content-encoding"] == "gzip"
        name = one.removeprefix(f"{static()}/")
        parts = ("page.css", "site.css") if name == "look.css" else (name,)
        assert answer.content == b"".join((FOLDER / part).read_bytes() for part in parts)


def test_who_cannot_unpack_gets_it_plain(client: TestClient) -> None:
    for where in ("/", f"{static()}/site.css"):
        answer = client.get(where, headers={"accept-encoding": "identity"})
        assert "content-encoding" not in answer.headers
        assert "accept-encoding" in answer.headers["vary"].lower()


def test_without_the_right_tag_it_is_asked_for_again_each_time(client: TestClient) -> None:
    for where in ("/static/site.css", "/static/0123456789ab/site.css"):
        answer = client.get(where)
        assert answer.headers["cache-control"] == "no-cache"
        again = client.get(where, headers={"if-none-match": answer.headers["etag"]})
        assert (again.status_code, again.content) == (304, b"")
    plain = client.get("/static/site.css", headers={"accept-encoding": "identity"})
    assert plain.headers["etag"] != answer.headers["etag"]


@pytest.mark.parametrize(
    "where", ["nothing.css", "", "../site/app.py", "%2e%2e/words.py", "//etc/passwd", "coach"]
)
def test_nothing_else_is_there(client: TestClient, where: str) -> None:
    assert client.get(f"/static/{where}").status_code == 404
    assert client.get(f"{static()}/{where}").status_code == 404


def test_nothing_is_changed_there(client: TestClient) -> None:
    assert client.post(f"{static()}/site.css").status_code == 405


def test_the_offline_shell_holds_what_the_pages_take(client: TestClient) -> None:
    worker = client.get("/sw.js")
    assert worker.headers["cache-control"] == "no-cache"
    parts = re.findall(r'"(/static/[^"]+\.\w+)"', worker.text)
    assert f"{static()}/look.css" in parts
    for one in parts:
        assert client.get(one).status_code == 200
    assert f'"bellmouth-{static().rpartition("/")[2]}"' in worker.text


def test_everything_that_is_packed_unpacks_to_itself(client: TestClient) -> None:
    with client.stream("GET", f"{static()}/site.js") as answer:
        packed = b"".join(answer.iter_raw())
    assert gzip.decompress(packed) == (FOLDER / "site.js").read_bytes()
