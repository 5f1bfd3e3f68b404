"""What the practice car says of itself."""

from fastapi.testclient import TestClient

from bellmouth.pages.site.garage import Garage
from tests.pages.site.test_job import begin


def test_a_practice_car_is_read_and_kept(client: TestClient, garage: Garage) -> None:
    answer = client.post("/practice", follow_redirects=False)
    car = str(answer.headers["location"]).removesuffix("/record")
    shown = client.post(f"{car}/codes")
    assert shown.status_code == 200, shown.text
    assert "Ready for inspection?" in shown.text
    assert "Controller 10" in shown.text
    kept = garage.visit(car.removeprefix("/car/")).numbers("note")[-1].document
    assert kept["text"].startswith("Codes read: ")
    assert all("vehicle_number" not in one for one in kept["codes"]["controllers"])


def test_going_back_to_what_was_read_reads_nothing_again(
    client: TestClient, garage: Garage
) -> None:
    answer = client.post("/practice", follow_redirects=False)
    car = str(answer.headers["location"]).removesuffix("/record")
    shown = client.post(f"{car}/codes")
    assert "read=" in str(shown.url)
    notes = len(garage.visit(car.removeprefix("/car/")).numbers("note"))
    assert "Controller 10" in client.get(str(shown.url)).text
    assert len(garage.visit(car.removeprefix("/car/")).numbers("note")) == notes
    assert "Controller 10" not in client.get(f"{car}/codes?read=other").text


def test_a_real_car_needs_its_adapter(client: TestClient) -> None:
    answer = client.post(f"{begin(client)}/codes")
    assert answer.status_code == 400
    assert "Say which adapter" in answer.text
