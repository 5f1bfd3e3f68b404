"""What the practice car says of itself; clearing stays in the terminal."""

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


def test_a_real_car_needs_its_adapter(client: TestClient) -> None:
    answer = client.post(f"{begin(client)}/codes")
    assert answer.status_code == 400
    assert "Say which adapter" in answer.text


def test_clearing_is_not_on_the_page_and_it_says_how(client: TestClient) -> None:
    car = begin(client)
    shown = client.get(f"{car}/codes").text
    assert "bellmouth clear" in shown
    assert client.post(f"{car}/codes/clear").status_code == 404
