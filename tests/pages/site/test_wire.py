"""Whatever comes over the wire ends in an answer: a sentence where it is refused, and nothing kept.

A small set with each change; with ``HYPOTHESIS_PROFILE=soak`` (`make soak`) thousands.
"""

import json
import random
import re
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.routing import APIRoute
from fastapi.testclient import TestClient
from hypothesis import given
from hypothesis import strategies as st

from bellmouth.pages.site.app import create_app
from bellmouth.pages.site.flow import key_of
from bellmouth.pages.site.garage import Garage
from bellmouth.pages.site.guard import Settings
from bellmouth.pages.site.telling import fit_to_tell
from tests.pages.site.served import served
from tests.pages.site.test_contract import LEFT_OUT, routes_of
from tests.pages.site.test_job import begin
from tests.pages.site.wire import NAME, Answer, Sent, Wire, fields_of, samples, told_in_json

# Of a form that was cut off Starlette leaves the files to be closed by whoever collects them.
pytestmark = pytest.mark.filterwarnings("ignore:Unclosed file <tempfile:ResourceWarning")

PROCEDURE = "pedal-released-position"
KEY = key_of(NAME)
#: What a program's own words for its mistakes hold, or a place on the server.
_OURS = re.compile(
    r"Traceback|NoneType|object has no|codec can't|Errno|JSON compliant|/tmp/|/pytest"
)
_RANDOM = st.randoms(use_true_random=True)


@pytest.fixture(scope="module")
def wire(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Wire]:
    """A server with a car that has two recordings and a finding, a family and a procedure."""
    folder = tmp_path_factory.mktemp("wire")
    good = samples(tmp_path_factory.mktemp("samples"))
    with served(folder) as address:
        found = Wire(address, folder, good)
        car = f"/car/{KEY}"
        for path, fields in (
            ("/cars", {"name": NAME, "displacement_l": "2.0", "metering": "airflow"}),
            (f"{car}/record/file", {"file": "before.csv"}),
            (f"{car}/record/file", {"file": "after.csv"}),
            ("/families/file", {"file": "family.toml"}),
            ("/known/procedure", {"file": "procedure.toml", "keep": "yes"}),
        ):
            assert found.send(found.good_form(path, fields)).status == 303, path
        assert found.send(Sent(f"{car}/finding", b"", ""), "GET").status == 200
        yield found


@pytest.fixture(scope="module")
def routes(tmp_path_factory: pytest.TempPathFactory) -> dict[str, list[APIRoute]]:
    """Addresses that something is sent to: forms, and those that take JSON."""
    folder = tmp_path_factory.mktemp("routes")
    from bellmouth.book.book import Book  # noqa: PLC0415 - only its routes are wanted

    with Book(folder / "book") as book:
        app = create_app(Garage(book, folder / "captures"), Settings(frozenset()))
    # A survey works on after its answer, in a thread that the others would wait for.
    slow = {*LEFT_OUT, ("POST", "/survey/book")}
    every = [
        one
        for one in routes_of(app)
        if "POST" in (one.methods or ()) and ("POST", one.path) not in slow
    ]
    told = {"/seat", "/seat/leave", "/attempt", "/live/mark", "/live/void"}
    json_too = [one for one in every if any(one.path.endswith(end) for end in told)]
    return {"forms": [one for one in every if one not in json_too], "json": json_too}


def _path(rng: random.Random, route: APIRoute) -> str:
    """An address of the car there is, now and then of another."""
    odd = ["bm9uZQ", "x" * 2000, "%00", "%FF%FE", "..%2f..", "%ED%A0%80", "%D9%A3", "9" * 5000]
    known = {"key": KEY, "number": str(rng.randint(1, 8)), "name": PROCEDURE}
    return re.sub(
        r"\{(\w+)[^}]*\}",
        lambda place: rng.choice(odd) if rng.random() < 0.1 else known.get(place[1], "x"),
        route.path,
    )


def _check(sent: Sent, answer: Answer) -> None:
    told = (sent.path[:200], sent.told, sent.kind, answer.status, answer.sentence[:500])
    assert answer.status < 500, told
    if answer.status < 400:
        return
    assert answer.sentence.strip(), told
    assert len(answer.sentence) < 700 or answer.status == 422, told
    assert all(one.isprintable() or one == "\n" for one in answer.sentence), told
    assert not _OURS.search(answer.sentence), told
    assert answer.entries[0] == answer.entries[1], (*told, "refused, and kept all the same")


@pytest.mark.parametrize(("with_file", "times"), [(False, 3), (True, 1)])
@given(rng=_RANDOM)
def test_a_form_with_something_odd_in_it_or_a_damaged_file(
    wire: Wire,
    routes: dict[str, list[APIRoute]],
    with_file: bool,
    times: int,
    rng: random.Random,
) -> None:
    takes = [one for one in routes["forms"] if any(file for _, file in fields_of(one))]
    for _ in range(times):
        route = rng.choice(takes if with_file else routes["forms"])
        sent = wire.form(rng, route, _path(rng, route))
        _check(sent, wire.send(sent))


@given(_RANDOM)
def test_a_page_that_tells_nonsense(
    wire: Wire, routes: dict[str, list[APIRoute]], rng: random.Random
) -> None:
    for _ in range(3):
        path = _path(rng, rng.choice(routes["json"]))
        sent = Sent(path, told_in_json(rng), "application/json", "JSON")
        _check(sent, wire.send(sent))


def test_the_server_and_the_book_are_as_they_were(wire: Wire) -> None:
    """After all of the above, wherever this one is run."""
    for path in ("/", "/care", f"/car/{KEY}/book", f"/car/{KEY}/facts", "/families", "/known"):
        answer = wire.send(Sent(path, b"", ""), "GET")
        assert (path, answer.status) == (path, 200)
        assert "is damaged" not in answer.text
        assert "not as it was written" not in answer.text


HEAD = "Host: {host}\r\nOrigin: http://{host}\r\n"
FORM = HEAD + "Content-Type: application/x-www-form-urlencoded\r\n"
PART = '--x\r\nContent-Disposition: form-data; name="file"; filename="a.csv"\r\n\r\ntime'
RAW = {
    "no host": ("GET / HTTP/1.1\r\n\r\n", 400),
    "another host": ("GET / HTTP/1.1\r\nHost: other\r\n\r\n", 421),
    "no origin": ("POST /settings HTTP/1.1\r\nHost: {host}\r\nContent-Length: 0\r\n\r\n", 403),
    "another origin": (
        "POST /settings HTTP/1.1\r\nHost: {host}\r\nOrigin: http://other\r\n"
        "Content-Length: 0\r\n\r\n", 403,
    ),
    "another site": (f"POST /settings HTTP/1.1\r\n{FORM}Sec-Fetch-Site: cross-site\r\n\r\n", 403),
    "a length that is none": (f"POST /settings HTTP/1.1\r\n{FORM}Content-Length: ²\r\n\r\n", 400),
    "a length below nothing": (f"POST /settings HTTP/1.1\r\n{FORM}Content-Length: -1\r\n\r\n", 400),
    "a length without end": (
        f"POST /settings HTTP/1.1\r\n{FORM}Content-Length: {'9' * 5000}\r\n\r\n", 400,
    ),
    "a chunk that is none": (
        f"POST /settings HTTP/1.1\r\n{FORM}Transfer-Encoding: chunked\r\n\r\nzz\r\n", 400,
    ),
    "a form without a boundary": (
        f"POST /files/check HTTP/1.1\r\n{HEAD}Content-Type: multipart/form-data\r\n"
        "Content-Length: 1\r\n\r\nx", 400,
    ),
    "an address of bytes": ("GET /ÿþ HTTP/1.1\r\n" + HEAD + "\r\n", 400),
    "an address that leads out": ("GET /static/../../etc/passwd HTTP/1.1\r\n" + HEAD + "\r\n", 404),
    "the same in disguise": (
        "GET /static/%2e%2e/%2e%2e/etc/passwd HTTP/1.1\r\n" + HEAD + "\r\n", 404,
    ),
    "letters that are none": ("GET /car/%ED%A0%80/book HTTP/1.1\r\n" + HEAD + "\r\n", 400),
    "a line of its own in an address": ("GET /car/a%0d%0aX/done HTTP/1.1\r\n" + HEAD + "\r\n", 303),
    "where it came from is nowhere": (
        f"POST /settings HTTP/1.1\r\n{FORM}Referer: http://[x]y/\r\nContent-Length: 20\r\n\r\n"
        "language=de&units=us", 303,
    ),
    "a cookie of bytes": (f"GET / HTTP/1.1\r\n{HEAD}Cookie: bellmouth_language=ÿ\r\n\r\n", 200),
    "no words of any protocol": ("\x16\x03\x01\x02\r\n\r\n", 400),
}  # fmt: skip


@pytest.mark.parametrize("name", RAW)
def test_what_is_hardly_a_request_is_answered(wire: Wire, name: str) -> None:
    text, status = RAW[name]
    with _line(wire) as line:
        line.sendall(text.format(host=wire.host).encode("latin-1"))
        answer = line.recv(65536)
    assert int(answer.split()[1]) == status, answer[:300]
    assert b"root:" not in answer


@pytest.mark.parametrize("method", ["HEAD", "PUT", "DELETE", "PATCH", "OPTIONS", "BREW"])
@pytest.mark.parametrize("path", ["/", "/cars", "/care/import", f"/car/{KEY}/finding/also"])
def test_what_is_done_in_another_way_is_answered(wire: Wire, method: str, path: str) -> None:
    assert wire.send(Sent(path, b"", ""), method).status in {200, 303, 400, 403, 405}


def test_uploads_that_were_left_half_way_keep_nobody_out(wire: Wire) -> None:
    kind = "Content-Type: multipart/form-data; boundary=x\r\nContent-Length: 1000000\r\n\r\n"
    text = f"POST /files/check HTTP/1.1\r\n{HEAD}{kind}{PART}".format(host=wire.host)
    lines = [_line(wire) for _ in range(50)]
    for line in lines:
        line.sendall(text.encode())
    assert wire.send(Sent("/", b"", ""), "GET").status == 200
    for line in lines:
        line.close()
    assert wire.send(Sent("/", b"", ""), "GET").status == 200


def _line(wire: Wire) -> socket.socket:
    host, _, port = wire.host.partition(":")
    return socket.create_connection((host, int(port)), timeout=60.0)


@pytest.mark.parametrize(
    "told",
    ['{"id": NaN}', '{"id": "\\ud800"}', '{"id": 1e400, "taps": [{"means": {"a": Infinity}}]}',
     '{"device": {"\\ud800": "x"}}', '{"id": "' + "x" * 100_000 + '"}', "\ufeff"],
)  # fmt: skip
def test_json_that_json_cannot_hold_is_told_field_by_field(client: TestClient, told: str) -> None:
    for where in ("attempt", "seat", "live", "live/void"):
        answer = client.post(
            f"{begin(client, where)}/learning/{PROCEDURE}/{where}", content=told.encode(),
            headers={"content-type": "application/json"},
        )  # fmt: skip
        assert answer.status_code == 422
        assert answer.json()["error"].startswith("Something is missing or is not what it should")
        assert answer.json()["detail"][0]["msg"]
        assert len(answer.content) < 10_000


def test_a_car_that_is_refused_is_not_in_the_book_already(
    client: TestClient, garage: Garage
) -> None:
    good = {"name": "New one", "displacement_l": "2", "metering": "airflow"}
    for wrong in ({"complaint": "smells"}, {"distance": "-1"}, {"distance": "nan"}):
        assert client.post("/cars", data={**good, **wrong}).status_code == 400
        assert not garage.book.has("New one")
    car = begin(client, "New one")
    refused = client.post(f"{car}/facts/job", data={"complaint": "smells"})
    assert (refused.status_code, "is not known" in refused.text) == (400, True)
    assert client.post(f"{car}/job", data={"complaint": "smells"}).status_code == 400
    assert len(garage.book.history("New one").entries) == 2


def test_a_survey_that_is_refused_leaves_nothing(client: TestClient, garage: Garage) -> None:
    refused = client.post("/survey/book")
    cars = ("cars.csv", b"car\n\xff\xff\n")
    damaged = client.post("/survey/files", files=[("cars", cars), ("files", ("van.csv", b"x"))])
    assert (refused.status_code, damaged.status_code) == (400, 400)
    assert '<p class="sorry">cars.csv: cannot be read as a table' in damaged.text
    assert list(garage.folder.glob("survey-*")) == []
    assert garage.surveys == []


def test_what_was_typed_is_quoted_in_one_short_line(client: TestClient) -> None:
    said = client.post(f"{begin(client)}/job", data={"distance": "\x1b[31m" + "9x" * 50_000}).text
    (sentence,) = re.findall(r'<p class="sorry">(.*?)</p>', said)
    assert sentence.startswith("Odometer: &#34;\ufffd[31m9x9x")
    assert sentence.endswith("is not a number. Write it as 142000.")
    assert len(sentence) < 700
    hidden = fit_to_tell("a\u202eb\ud800c\n d\u00a0e /tmp/tmpab12/cars/x.csv", Path("/srv"))
    assert hidden == "a\ufffdb\ufffdc d e x.csv"
    assert fit_to_tell("/srv/survey-a1/tmpq2/0/x: odd", Path("/srv")) == "x: odd"
    assert json.dumps(fit_to_tell("x" * 10_000)).count("x") == 550
