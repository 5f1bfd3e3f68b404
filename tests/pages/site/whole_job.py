"""Whole jobs on a server of their own, and every page of them in a reader's language and units."""

import io
import re
from html import unescape
from pathlib import Path

from fastapi.testclient import TestClient
from httpx2 import Response

from bellmouth.learning.packs import find_procedure
from bellmouth.pages.site.garage import Garage
from bellmouth.practice.polling import write_csv
from bellmouth.recording.series import Recording
from tests.finding.worked import healthy, leaks, meter_reads_low, recording

__all__ = ["ask", "errors", "jobs", "texts"]

#: A name that is in no language.
NAMES = ("Xq-1", "Xq-2", "Xq-3", "Xq-4")
_PAPERS = ("card", "script")
_SHOWN = ("title", "aria-label", "alt", "placeholder")


def jobs(client: TestClient, garage: Garage, folder: Path) -> list[str]:
    """Do four jobs and a survey; returns the address of every page that they made."""
    odd = recording(
        "qx4.csv", 11, mass_air_flow=(6.0, 6.5), throttle_position=(9.0, 70.0),
        intake_manifold_pressure=(80.0, 22.0), short_term_fuel_trim_bank_1=(-24.0, 24.0),
    )  # fmt: skip
    pairs = (
        (meter_reads_low("qx1.csv"), healthy("qx2.csv")),
        (healthy("qx3.csv"), leaks("qx5.csv")),
        (healthy("qx6.csv"), healthy("qx7.csv", 9)),
        (odd, None),
    )
    pages = ["/", "/survey", "/procedures", "/procedures?work=throttle_cleaned"]
    for name, pair in zip(NAMES, pairs, strict=True):
        pages += _job(client, name, pair, folder)
    pages.append(_survey(client, garage, folder))
    papers = [f"/known/procedure/idle-air-learning-by-pedal/{one}.html" for one in _PAPERS]
    return [*pages, *papers, "/files", "/care", "/known", "/counts", "/families"]


def _job(
    client: TestClient, name: str, pair: tuple[Recording, Recording | None], folder: Path
) -> list[str]:
    answer = client.post(
        "/cars",
        data={"name": name, "displacement_l": "2.0", "metering": "airflow", "idle_rpm": "700",
              "throttle_bore_mm": "60", "distance": "84000", "complaint": "rough idle"},
        follow_redirects=False,
    )  # fmt: skip
    car = str(answer.headers["location"]).removesuffix("/record")
    pages = [f"{car}/{one}" for one in ("record", "learning", "codes", "book", "work", "finding")]
    pages += [f"{car}/{one}" for one in ("facts", "recording/3", "cleared", "delete", "again")]
    make = _spoiled if name == NAMES[0] else _written
    _upload(client, car, make(pair[0], folder))
    client.get(f"{car}/finding")
    if pair[1] is None:
        return pages
    client.post(f"{car}/finding/result", data={"check": "smoke_test", "outcome": "none"})
    client.post(f"{car}/done", data={"work": ["clean_meter", "clean_plate"]})
    client.post(f"{car}/good", data={"recording": "3", "is_good": "yes"})
    client.post(f"{car}/note", data={"text": "§§§"})
    for settled in ("left out", "done", "open"):
        said = {"settled": settled, "because": "§"}
        client.post(f"{car}/learning/idle-air-learning-by-pedal/settle", data=said)
    pages.append(_attempt(client, car))
    _upload(client, car, _written(pair[1], folder))
    client.get(f"{car}/proof")
    if name == NAMES[0]:
        listed = client.get(f"{car}/learning").text
        pages += sorted(set(re.findall(rf'href="({re.escape(car)}/learning/[^"]+)"', listed)))
        pages.append(f"{car}/learning/idle-air-learning-by-pedal/chances")
        book = client.get(f"{car}/book").text
        pages += sorted(set(re.findall(rf'href="({re.escape(car)}/entry/\d+)"', book)))
    return [*pages, f"{car}/proof", f"{car}/forecast.svg"]


def _attempt(client: TestClient, car: str) -> str:
    """An attempt that missed: the pedal held too briefly, by taps."""
    procedure = "idle-air-learning-by-pedal"
    client.post(f"{car}/learning/{procedure}/coach", data={"manual": "checked"})
    taps = [
        {"means": step.name, "at_s": 3.0 + 2.0 * place}
        for place, step in enumerate(find_procedure(procedure).steps)
    ]
    told = client.post(
        f"{car}/learning/{procedure}/attempt",
        json={"id": "ab" * 16, "phase": "done", "taps": taps},
    )
    assert told.status_code == 200, told.text
    return str(told.json()["see"])


def _survey(client: TestClient, garage: Garage, folder: Path) -> str:
    cars = b"car,displacement_l,metering\nqx1,2.0,airflow\nqx5,2.0,airflow\nqx9,2.0,airflow\n"
    sent = [("cars", ("cars.csv", cars))]
    sent += [("files", (one, (folder / one).read_bytes())) for one in ("qx1.csv", "qx5.csv")]
    sent.append(("files", ("qx9.csv", b"time [s],engine_speed [rpm]\n0,700\n1,701\n")))
    answer = client.post("/survey/files", files=sent)
    assert answer.status_code == 200, answer.text
    thread = garage.surveys[-1]._thread
    assert thread is not None
    thread.join(timeout=600.0)
    return f"/survey/{len(garage.surveys)}"


def _written(found: Recording, folder: Path) -> Path:
    write_csv(found, folder / found.source)
    return folder / found.source


def _spoiled(found: Recording, folder: Path) -> Path:
    """With a column that nobody knows, cells that are no numbers, and a row that is cut."""
    path = _written(found, folder)
    lines = path.read_text("utf-8").splitlines()
    lines[0] += ",Qx [%]"
    lines[1:] = [f"{line}," for line in lines[1:]]
    cells = lines[5].split(",")
    cells[1] = "nan"
    lines[5] = ",".join(cells)
    (whole := folder / "spoiled").mkdir()
    there = whole / path.name
    there.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return there


def _upload(client: TestClient, car: str, path: Path) -> None:
    answer = client.post(
        f"{car}/record/file", files={"file": (path.name, io.BytesIO(path.read_bytes()))}
    )
    assert answer.status_code == 200, answer.text


def errors(client: TestClient, car: str, language: str) -> list[Response]:
    """What the page answers to mistakes, each of another room."""
    head = {"accept-language": language}

    def sent(name: str, data: bytes) -> Response:
        return client.post(f"{car}/record/file", files={"file": (name, data)}, headers=head)

    rows = b"time [s],engine_speed [rpm]\n"
    return [
        sent("qx.exe", b"MZ"),
        sent("qx.csv", b"Qx qx"),
        sent("qx.csv", rows + b"0,700\n1,abc\n"),
        sent("qx.csv", rows + b"0,700,3\n"),
        sent("qx.csv", b"time [s],engine_speed\n0,700\n"),
        sent("qx.csv", b"time [s],engine_speed [qx]\n0,700\n"),
        sent("qx.csv", rows),
        sent("qx.parquet", b"PAR1"),
        sent("qx.blf", b"LOGG"),
        sent("qx.mf4", b"MDF "),
        client.get("/car/!!!/record", headers=head),
        client.get("/qx", headers=head),
        client.get(f"{car}/attempt/99", headers=head),
        client.get(f"{car}/learning/qx", headers=head),
        client.get(f"{car}/entry/99", headers=head),
        client.get(f"{car}/work?work=renew_gasket&bolts=5", headers=head),
        client.get(f"{car}/work?work=renew_gasket&torque=qx", headers=head),
        client.get(f"{car}/work?work=clean_meter&bolts=4", headers=head),
        client.post(f"{car}/proof/choose", headers=head, data={"before": "1", "after": "2"}),
        client.post(f"{car}/learning/pedal-released-position/judge", headers=head, data={"by": ""}),
        client.post(f"{car}/learning/pedal-released-position/settle", headers=head,
                    data={"settled": "left out"}),
        client.get("/survey/99", headers=head),
        client.post("/cars", headers=head,
                    data={"name": "qx", "displacement_l": "qx", "metering": "airflow"}),
        client.post("/cars", headers=head,
                    data={"name": "qx", "displacement_l": "99", "metering": "airflow"}),
        client.post(f"{car}/job", headers=head, data={"distance": "10"}),
        client.post(f"{car}/codes", headers=head),
        client.post(f"{car}/record/stop", headers=head),
        client.post(f"{car}/record/live", headers=head, data={"interface": "qx", "channel": "0"}),
        client.post(f"{car}/finding/result", headers=head,
                    data={"check": "smoke_test", "outcome": "§"}),
        client.post(f"{car}/finding/result", headers=head, data={"check": "§", "outcome": "§"}),
        client.post(f"{car}/note", headers=head, data={"text": " "}),
        client.post(f"{car}/photo", headers=head, files={"file": ("qx.png", b"x")}),
    ]  # fmt: skip


def ask(client: TestClient, path: str, language: str, units: str = "metric") -> str:
    """A page as a reader gets it."""
    answer = client.get(
        path, headers={"accept-language": language, "cookie": f"bellmouth_units={units}"}
    )
    assert answer.status_code in {200, 400}, (path, answer.text)
    return answer.text


def texts(html: str) -> list[str]:
    """What a person sees or hears of a page: its texts and the names of its parts."""
    body = re.sub(r"<(script|style|code|bdi)\b.*?</\1>", "", html, flags=re.DOTALL)
    named = re.findall(rf'\b(?:{"|".join(_SHOWN)})="([^"]*)"', body)
    found = [*re.findall(r">([^<]+)<", body), *named]
    return [text for one in found if (text := " ".join(unescape(one).split()))]
