"""Clearing codes from the page: shown first, refused while it could hurt, asked, and kept."""

from collections.abc import Iterator

import pytest
from fastapi.testclient import TestClient

from bellmouth.pages.site.garage import Garage
from bellmouth.practice.server import SlcanServer
from tests.bus.stub_car import ENGINE_PARAMETERS, StubCar, StubNode
from tests.pages.site.test_job import begin

VALUES = {0x0C: b"\x00\x00", 0x0D: b"\x00", 0x01: b"\x00\x07\x65\x04"}
CODES = {
    b"\x03": [bytes.fromhex("430201711505")],
    b"\x07": [bytes.fromhex("47010300")],
    b"\x0a": [bytes.fromhex("7F0A11")],
    bytes.fromhex("020200"): [bytes.fromhex("4202000171")],
}
HELD = "P0171,P0300,P1505"


@pytest.fixture
def engine() -> StubNode:
    return StubNode(parameters=ENGINE_PARAMETERS, values=dict(VALUES), fixed=dict(CODES))


@pytest.fixture
def at(engine: StubNode) -> Iterator[dict[str, str]]:
    """What a form says to reach the car."""
    with SlcanServer(StubCar([engine])) as server:
        yield {"interface": "slcan", "channel": server.channel}


def shown(client: TestClient, car: str, at: dict[str, str]) -> dict[str, str]:
    """What the page's own form says once it has shown what would be lost."""
    answer = client.post(f"{car}/clear", data=at)
    return {"read": str(answer.url).split("read=")[1], "word": "clear"}


def cleared(engine: StubNode) -> bool:
    return b"\x04" in engine.heard


def test_what_is_lost_is_shown_and_nothing_is_done(
    client: TestClient, at: dict[str, str], engine: StubNode
) -> None:
    car = begin(client)
    told = client.post(f"{car}/clear", data=at).text
    for part in (
        "The codes: confirmed P0171, P1505; pending P0300.", "evidence of the fault",
        "Type the word", "Do not clear to pass an inspection",
    ):  # fmt: skip
        assert part in told, part
    assert not cleared(engine)


def test_it_clears_when_it_was_asked_and_keeps_that(
    client: TestClient, garage: Garage, at: dict[str, str], engine: StubNode
) -> None:
    car = begin(client)
    sent = {**shown(client, car, at), "word": " Clear "}
    answer = client.post(f"{car}/clear/now?once=a", data=sent)
    assert str(answer.url).endswith(f"{car}/cleared")
    assert "Codes cleared: P0171, P0300, P1505." in answer.text
    assert "Controller 10 has cleared its codes." in answer.text
    kept = garage.visit(car.removeprefix("/car/")).numbers("note")[-1].document
    assert kept["given_up"] == HELD.split(",")
    assert engine.heard.count(b"\x04") == 1
    client.post(f"{car}/clear/now?once=a", data=sent)
    assert engine.heard.count(b"\x04") == 1, "the back button clears nothing twice"


@pytest.mark.parametrize("word", ["yes", "", "clear it"])
def test_without_the_word_nothing_is_cleared(
    client: TestClient, at: dict[str, str], engine: StubNode, word: str
) -> None:
    car = begin(client)
    answer = client.post(f"{car}/clear/now", data={**shown(client, car, at), "word": word})
    assert (answer.status_code, "The word was not typed." in answer.text) == (400, True)
    assert not cleared(engine)


def test_other_codes_than_were_shown_are_not_cleared(
    client: TestClient, at: dict[str, str], engine: StubNode
) -> None:
    car = begin(client)
    sent = shown(client, car, at)
    engine.fixed = {**CODES, b"\x03": [bytes.fromhex("43010420")]}
    answer = client.post(f"{car}/clear/now", data=sent)
    assert (answer.status_code, "other codes than those" in answer.text) == (400, True)
    assert not cleared(engine)


def test_without_what_was_shown_nothing_is_cleared(
    client: TestClient, at: dict[str, str], engine: StubNode
) -> None:
    car, other = begin(client), begin(client, "Another")
    sent = shown(client, other, at)
    for told in ({"word": "clear"}, {"word": "clear", "read": "x"}, sent):
        answer = client.post(f"{car}/clear/now", data=told)
        assert (answer.status_code, "read too long ago" in answer.text) == (400, True)
    assert not cleared(engine)


@pytest.mark.parametrize(
    ("identifier", "value", "said"),
    [(0x0C, b"\x0a\xf0", "The engine runs (700 rpm)"), (0x0D, b"\x05", "The car moves (5 km/h)")],
)
def test_a_running_engine_and_a_moving_car_are_refused(
    client: TestClient, at: dict[str, str], engine: StubNode, identifier: int, value: bytes,
    said: str,
) -> None:  # fmt: skip
    car = begin(client)
    sent = shown(client, car, at)
    engine.values = {**VALUES, identifier: value}
    refused = client.post(f"{car}/clear/now", data=sent)
    assert refused.status_code == 400
    assert said in refused.text.replace("\u00a0", " ")
    told = client.post(f"{car}/clear", data=at).text
    assert said in told.replace("\u00a0", " ")
    assert "Type the word" not in told
    assert not cleared(engine)


def test_the_word_may_be_german(client: TestClient, at: dict[str, str], engine: StubNode) -> None:
    car = begin(client)
    german = {"accept-language": "de"}
    answer = client.post(f"{car}/clear", data=at, headers=german)
    told = answer.text
    assert "Geben Sie das Wort „löschen“ ein" in told
    assert "Die Codes: bestätigt P0171, P1505; vorläufig P0300." in told
    sent = {"read": str(answer.url).split("read=")[1], "word": "Löschen"}
    answer = client.post(f"{car}/clear/now", data=sent, headers=german)
    assert "Gelöschte Codes: P0171, P0300, P1505." in answer.text
    assert cleared(engine)


def test_no_get_and_no_other_page_clears(
    client: TestClient, at: dict[str, str], engine: StubNode
) -> None:
    car = begin(client)
    looked_at = client.get(f"{car}/clear/now", follow_redirects=False)
    assert looked_at.status_code == 303, "to the page that the form stands on"
    assert not cleared(engine)
    sent = shown(client, car, at)
    foreign = {"origin": "http://elsewhere.example"}
    assert client.post(f"{car}/clear/now", data=sent, headers=foreign).status_code == 403
    del client.headers["origin"]
    assert client.post(f"{car}/clear/now", data=sent).status_code == 403
    assert not cleared(engine)


def test_a_practice_car_is_cleared_with_its_engine_off_alone(
    client: TestClient, garage: Garage
) -> None:
    answer = client.post("/practice", data={"fault": "leak"}, follow_redirects=False)
    car = str(answer.headers["location"]).removesuffix("/record")
    practice = garage.practice(car.removeprefix("/car/"))
    assert practice is not None
    practice.sit_down()
    practice.car.do("key", 3.0)
    practice._wait(lambda: practice.car.seen().speed_rpm > 300.0)
    running = client.post(f"{car}/clear").text
    assert "The engine runs" in running
    sent = shown(client, car, {"off": "yes"})
    done = client.post(f"{car}/clear/now", data=sent)
    assert "Controller 10 has cleared its codes." in done.text


def test_a_bit_rate_goes_through_to_the_clearing_and_can_be_found_by_itself_again(
    client: TestClient, garage: Garage, at: dict[str, str]
) -> None:
    car = begin(client)
    key = car.removeprefix("/car/")
    told = shown(client, car, {**at, "bitrate": "500000"})
    client.post(f"{car}/clear/now", data=told)
    reached = garage.reached(key)
    assert reached is not None
    assert reached.bitrate == 500_000
    assert 'value="500000"' in client.get(f"{car}/codes").text
    # The field emptied: found by itself, now and the next time.
    client.post(f"{car}/codes", data={**at, "bitrate": ""})
    reached = garage.reached(key)
    assert reached is not None
    assert reached.bitrate is None
    assert 'value="500000"' not in client.get(f"{car}/codes").text
