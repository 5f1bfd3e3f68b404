"""What is known of a car is corrected on the page: fields, a file, its name, its job."""

import re

import pytest
from fastapi.testclient import TestClient

from bellmouth.book.standing import known_of
from bellmouth.car.reader import limits_of
from bellmouth.errors import BellmouthError
from bellmouth.pages.card_words import Words
from bellmouth.pages.site.car_fields import BY_KEY, FIELDS, field_text, value_of
from bellmouth.pages.site.garage import Garage
from tests.pages.site.test_job import begin


def known(garage: Garage, name: str) -> dict[str, object]:
    return dict(known_of(garage.book.history(name).entries).document)


def test_fields_are_corrected_and_empty_is_unknown(client: TestClient, garage: Garage) -> None:
    car = begin(client, "Fields")
    sent = {
        "displacement_l": "1,8 ± 0,1", "metering": "pressure", "cylinders": "4",
        "turbocharged": "no", "throttle_bore_mm": "60 +- 1", "idle_rpm": "",
    }  # fmt: skip
    answer = client.post(f"{car}/facts", data=sent)
    assert answer.status_code == 200, answer.text
    assert known(garage, "Fields")["car"] == {
        "displacement_l": {"value": 1.8, "sd": 0.1}, "metering": "pressure", "cylinders": 4,
        "turbocharged": False, "throttle_bore_mm": {"value": 60.0, "sd": 1.0},
    }  # fmt: skip
    assert 'value="1.8 ± 0.1"' in answer.text
    kinds = [one.kind for one in garage.book.history("Fields").entries]
    assert kinds.count("car") == 2, "the old entry stays"
    client.post(f"{car}/facts", data=sent)
    kinds = [one.kind for one in garage.book.history("Fields").entries]
    assert kinds.count("car") == 2, "what is known already is no new entry"


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"displacement_l": ""}, "displacement_l is missing"),
        ({"displacement_l": "big"}, "is not a number"),
        ({"displacement_l": "99"}, "is impossible"),
        ({"metering": "magic"}, "is not known"),
        ({"cylinders": "4.5"}, "whole number"),
        ({"throttle_bore_mm": "60 ± ± 1"}, "is not a number"),
    ],
)
def test_a_mistake_is_one_sentence_and_nothing_changes(
    client: TestClient, garage: Garage, changed: dict[str, str], said: str
) -> None:
    car = begin(client, "Mistakes")
    before = known(garage, "Mistakes")
    sent = {"displacement_l": "2.0", "metering": "airflow", **changed}
    answer = client.post(f"{car}/facts", data=sent)
    assert (answer.status_code, said in answer.text) == (400, True), answer.text
    assert known(garage, "Mistakes") == before


def test_what_was_not_touched_stays_to_its_last_digit(client: TestClient, garage: Garage) -> None:
    car = begin(client, "Digits")
    exact = {"displacement_l": 1.9875432, "metering": "airflow", "throttle_bore_mm": 57.1234}
    garage.book.change_car("Digits", car=exact)
    for units in ("metric", "us"):
        cookie = {"cookie": f"bellmouth_units={units}"}
        speak = Words("en", "us" if units == "us" else "metric")
        sent = {one.key: field_text(exact.get(one.key), one, speak) for one in FIELDS}
        client.post(f"{car}/facts", data=sent, headers=cookie)
        assert known(garage, "Digits")["car"] == exact


def test_a_form_that_is_out_of_date_takes_back_nothing(client: TestClient, garage: Garage) -> None:
    """Open on the desk while the telephone filled in the bore: the bore was unknown again."""
    car = begin(client, "Two devices")
    shown = re.findall(r'<input type="hidden" name="(was-\w+)" value="([^"]*)"', client.get(
        f"{car}/facts").text)  # fmt: skip
    assert len(shown) == len(FIELDS)
    desk = {name.removeprefix("was-"): text for name, text in shown}
    telephone = {**desk, **dict(shown), "throttle_bore_mm": "60 ± 1", "turbocharged": "yes"}
    client.post(f"{car}/facts", data=telephone)
    client.post(f"{car}/facts", data={**desk, **dict(shown), "idle_rpm": "850"})
    told = known(garage, "Two devices")["car"]
    assert isinstance(told, dict)
    assert told["throttle_bore_mm"] == {"value": 60.0, "sd": 1.0}
    assert (told["turbocharged"], told["idle_rpm"]) == (True, 850.0)
    # What is cleared on purpose is unknown.
    again = dict(
        re.findall(
            r'<input type="hidden" name="(was-\w+)" value="([^"]*)"',
            client.get(f"{car}/facts").text,
        )
    )
    cleared = {name.removeprefix("was-"): text for name, text in again.items()}
    client.post(f"{car}/facts", data={**cleared, **again, "throttle_bore_mm": ""})
    assert "throttle_bore_mm" not in known(garage, "Two devices")["car"]  # type: ignore[operator]


def test_fields_go_both_ways_in_both_units() -> None:
    for one in FIELDS:
        for units in ("metric", "us"):
            speak = Words("en", "us" if units == "us" else "metric")
            if one.kind == "known":
                value = sum(limits_of(one.key)[:2]) / 2
                back = value_of(field_text({"value": value, "sd": 3.0}, one, speak), one, speak)
                assert back["value"] == pytest.approx(value, rel=0.01)
                assert back["sd"] == pytest.approx(3.0, rel=0.01)


@pytest.mark.parametrize(
    ("key", "text", "speak", "value"),
    [
        ("idle_rpm", "1,200", Words("en"), 1200.0),
        ("idle_rpm", "1.200", Words("de"), 1200.0),
        ("displacement_l", "1,598", Words("en"), 1.598),
        ("displacement_l", "1.598", Words("de"), 1.598),
        ("displacement_l", "1,598", Words("de"), 1.598),
        ("altitude_m", "0,250", Words("en"), 0.25),
        ("altitude_m", "1609", Words("de"), 1609.0),
        ("altitude_m", "5280", Words("en", "us"), 1609.344),
    ],
)
def test_a_number_is_read_as_what_a_car_can_have(
    key: str, text: str, speak: Words, value: float
) -> None:
    assert value_of(text, BY_KEY[key], speak) == pytest.approx(value)


@pytest.mark.parametrize(
    ("text", "speak"), [("5,280", Words("en", "us")), ("1.609", Words("de"))]
)  # fmt: skip
def test_what_may_be_thousands_or_decimals_is_asked(text: str, speak: Words) -> None:
    """A height of 5,280 ft was kept as 5.28 ft, without a word."""
    with pytest.raises(BellmouthError, match=r'"(5,280" may be 5280 or 5\.28|1\.609" may be 1609)'):
        value_of(text, BY_KEY["altitude_m"], speak)


def test_what_no_car_has_is_told_by_the_fields_name_and_unit(client: TestClient) -> None:
    car = begin(client, "High")
    sent = {"displacement_l": "2.0", "metering": "airflow", "altitude_m": "25000"}
    answer = client.post(f"{car}/facts", data=sent, headers={"cookie": "bellmouth_units=us"})
    said = "Altitude: &#34;25000&#34; is impossible. It lies between -1,640 and 19,685\u00a0ft."
    assert said in answer.text


def test_a_car_file_takes_the_place_of_all(client: TestClient, garage: Garage) -> None:
    car = begin(client, "From file")
    file = b'displacement_l = 1.4\nmetering = "pressure"\nturbocharged = true\n'
    client.post(f"{car}/facts/file", files={"file": ("car.toml", file)})
    assert known(garage, "From file")["car"] == {
        "displacement_l": 1.4, "metering": "pressure", "turbocharged": True,
    }  # fmt: skip
    wrong = client.post(f"{car}/facts/file", files={"file": ("car.toml", b"wheels = 4")})
    assert (wrong.status_code, "wheels" in wrong.text) == (400, True)


def test_a_car_gets_another_name_and_a_day_to_go(client: TestClient, garage: Garage) -> None:
    car = begin(client, "Old name")
    left = garage._free(car.removeprefix("/car/"))
    left.write_bytes(b"what a kill left behind")
    sent = {"name": "New <name>", "kind": "two litre", "keep_until": "2099-12-31",
            "identification": "WVWZZZ1KZAW000001"}  # fmt: skip
    answer = client.post(f"{car}/facts/name", data=sent)
    assert "New &lt;name&gt;" in answer.text
    assert "WVWZZZ1KZAW000001" not in answer.text
    found = known(garage, "New <name>")
    assert (found["kind"], found["keep_until"]) == ("two litre", "2099-12-31")
    key = str(answer.url).split("/car/")[1].split("/")[0]
    assert len(garage.left(key)) == 1, "a capture goes with its car"
    begin(client, "Taken")
    taken = client.post(f"/car/{key}/facts/name", data={"name": "Taken"})
    assert (taken.status_code, "another car" in taken.text) == (400, True)
    client.post(f"/car/{key}/facts/name", data={"name": "New <name>", "forget": "yes"})
    assert "identification" not in known(garage, "New <name>")


def test_a_job_is_corrected(client: TestClient, garage: Garage) -> None:
    car = begin(client, "Job")
    sent = {"distance": "85500", "complaint": "high idle"}
    client.post(f"{car}/facts/job", data=sent)
    visit = garage.visit(car.removeprefix("/car/"))
    assert visit.complaint == "high idle"
    assert visit.numbers("job")[-1].distance_km == 85_500.0
    us = {"cookie": "bellmouth_units=us"}
    assert 'value="53127"' in client.get(f"{car}/facts", headers=us).text
    client.post(f"{car}/facts/job", data={"distance": "53127"}, headers=us)
    job = garage.visit(car.removeprefix("/car/")).numbers("job")[-1]
    assert job.distance_km == 85_500.0, "left as it was shown it stays what it was"
    client.post(f"{car}/facts/job", data={"distance": "86.000"})
    assert garage.visit(car.removeprefix("/car/")).numbers("job")[-1].distance_km == 86_000.0
    again = client.post(f"{car}/facts/job", data={"distance": "86600", "on": "never"})
    assert (again.status_code, "never" in again.text) == (400, True)


def test_a_practice_car_keeps_its_name_and_is_called_in_the_readers_language(
    client: TestClient, garage: Garage
) -> None:
    answer = client.post("/practice", data={"seed": "7"}, follow_redirects=False)
    car = str(answer.headers["location"]).removesuffix("/record")
    german = {"accept-language": "de"}
    for path in ("/", f"{car}/record", f"{car}/book", f"{car}/facts", f"{car}/delete"):
        said = client.get(path, headers=german).text
        assert "<bdi>Übungsauto 7</bdi>" in said, path
        assert "Practice car" not in said, path
        assert "Practice car 7" in client.get(path, headers={"accept-language": "en"}).text
    client.post(f"{car}/delete", data={"name": "Übungsauto 7"}, headers=german)
    assert not garage.book.has("Practice car 7")


def test_what_is_typed_is_in_the_units_of_its_form(client: TestClient, garage: Garage) -> None:
    """Other units were chosen in another tab, or the form was come back to."""
    car = begin(client, "Two tabs")
    page = client.get(f"{car}/facts").text
    us = {"cookie": "bellmouth_units=us; bellmouth_language=de"}
    facts, job = (
        re.search(rf'action="({car}/{where}\?once=[^"]+)"', page)
        for where in ("facts", "facts/job")
    )
    assert facts is not None
    assert job is not None
    sent = {"displacement_l": "2.0", "metering": "airflow", "altitude_m": "1609"}
    client.post(facts[1], data=sent, headers=us)
    client.post(job[1], data={"distance": "90000"}, headers=us)
    assert known(garage, "Two tabs")["car"]["altitude_m"] == 1609  # type: ignore[index]
    assert garage.visit(car.removeprefix("/car/")).numbers("job")[-1].distance_km == 90_000
