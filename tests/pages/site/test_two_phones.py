"""One capture, two phones: whoever ends it, the other neither meets an error nor ends another."""

import threading
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from fastapi.testclient import TestClient

from bellmouth.pages.site.garage import Garage
from bellmouth.pages.site.live import State
from bellmouth.pages.site.traces import Traces
from bellmouth.practice.polling import write_csv
from tests.finding.worked import healthy
from tests.pages.site.test_job import begin


@pytest.fixture
def car(client: TestClient) -> str:
    return begin(client, "Two phones")


def capture(garage: Garage, car: str, seed: int = 5) -> Any:
    """A capture that is over on its own and has been taken in by nobody."""
    path = garage.folder / f"capture-{seed}.csv"
    write_csv(healthy(path.name, seed), path)
    live = SimpleNamespace(
        traces=Traces(), state=State(1, "ended"), path=path, close=lambda: None,
        ending=threading.Lock(),
    )  # fmt: skip
    garage.captures[car.split("/")[2]] = live  # type: ignore[assignment]
    return live


def stop(client: TestClient, car: str, which: str) -> Any:
    return client.post(f"{car}/record/stop", data={"which": which}, follow_redirects=False)


def recordings(garage: Garage) -> int:
    return [one.kind for one in garage.book.history("Two phones").entries].count("recording")


def test_the_second_phone_comes_to_the_finding_too(
    client: TestClient, garage: Garage, car: str
) -> None:
    live = capture(garage, car)
    shown = client.get(f"{car}/record").text
    assert f'name="which" value="{live.traces.token}"' in shown
    over = f"{car}/record/over?which={live.traces.token}"
    assert client.get(over).json() == {"see": None}
    for _ in range(2):
        assert stop(client, car, live.traces.token).headers["location"] == f"{car}/finding"
    assert recordings(garage) == 1
    assert client.get(over).json() == {"see": f"{car}/finding"}


def test_a_page_of_an_earlier_capture_does_not_end_the_next(
    client: TestClient, garage: Garage, car: str
) -> None:
    first = capture(garage, car)
    stop(client, car, first.traces.token)
    second = capture(garage, car, seed=6)
    assert stop(client, car, first.traces.token).status_code == 303
    assert garage.captures[car.split("/")[2]] is second
    assert recordings(garage) == 1
    assert stop(client, car, second.traces.token).status_code == 303
    assert recordings(garage) == 2


def test_both_at_once_take_it_in_once(client: TestClient, garage: Garage, car: str) -> None:
    live = capture(garage, car)
    both = threading.Barrier(2)
    said: list[int] = []

    def tap() -> None:
        both.wait(timeout=30.0)
        said.append(stop(client, car, live.traces.token).status_code)

    taps = [threading.Thread(target=tap) for _ in range(2)]
    for one in taps:
        one.start()
    for one in taps:
        one.join(timeout=120.0)
    assert said == [303, 303]
    assert recordings(garage) == 1


def test_a_capture_that_recorded_nothing_is_gone_for_both(
    client: TestClient, garage: Garage, car: str
) -> None:
    live = capture(garage, car)
    Path(live.path).unlink()
    assert "Nothing was recorded" in stop(client, car, live.traces.token).text
    assert stop(client, car, live.traces.token).headers["location"] == f"{car}/record"
    assert stop(client, car, "").status_code == 400
