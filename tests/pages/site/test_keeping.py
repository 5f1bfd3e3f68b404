"""Notes, photos, the good recording, own weights and files of a job."""

import io
from pathlib import Path

import numpy as np
import pytest
from fastapi.testclient import TestClient
from PIL import Image

from bellmouth import read_recording
from bellmouth.pages.site.garage import Garage
from tests.pages.site.test_job import ODD, begin, upload


def picture(kind: str = "JPEG") -> bytes:
    made, exif = io.BytesIO(), Image.Exif()
    exif[0x010F] = "a camera"
    Image.new("RGB", (40, 30), "#884422").save(made, kind, exif=exif)
    return made.getvalue()


def test_a_photo_is_drawn_anew_and_served_as_what_it_is(client: TestClient) -> None:
    car = begin(client)
    assert b"a camera" in picture()
    sent = client.post(
        f"{car}/photo", files={"file": ("../../x.JPG", picture())}, data={"text": "<b>plate</b>"}
    )
    assert sent.status_code == 200, sent.text
    assert "&lt;b&gt;plate" in sent.text
    shown = client.get(f"{car}/photo/3")
    assert shown.headers["content-type"] == "image/jpeg"
    assert shown.headers["x-content-type-options"] == "nosniff"
    assert b"a camera" not in shown.content
    assert Image.open(io.BytesIO(shown.content)).size == (40, 30)


@pytest.mark.parametrize(
    ("name", "content", "sentence"),
    [
        ("x.svg", b"<svg/>", "Choose a photo that ends in"),
        ("x.jpg", b"<script>", "is no picture that can be read"),
    ],
)
def test_what_is_no_photo_is_refused(
    client: TestClient, name: str, content: bytes, sentence: str
) -> None:
    car = begin(client)
    answer = client.post(f"{car}/photo", files={"file": (name, content)})
    assert answer.status_code == 400
    assert sentence in answer.text


def test_a_note_is_kept_as_text(client: TestClient) -> None:
    car = begin(client)
    kept = client.post(f"{car}/note", data={"text": "plate <i>sticks</i>"})
    assert "plate &lt;i&gt;sticks" in kept.text
    assert client.post(f"{car}/note", data={"text": "  "}).status_code == 400


@pytest.mark.parametrize("ending", ["csv", "parquet", "mf4"])
def test_a_recording_comes_back_in_every_format(
    client: TestClient, files: tuple[Path, Path], tmp_path: Path, ending: str
) -> None:
    car = begin(client)
    upload(client, car, files[0])
    answer = client.get(f"{car}/recording/3.{ending}")
    assert answer.status_code == 200, answer.text
    path = tmp_path / f"back.{ending}"
    path.write_bytes(answer.content)
    back, was = read_recording(path), read_recording(files[0])
    assert set(back.series) == set(was.series)
    for name, series in was.series.items():
        np.testing.assert_allclose(back.series[name].value, series.value)


def test_the_good_recording_goes_into_the_next_finding(
    client: TestClient, garage: Garage, files: tuple[Path, Path]
) -> None:
    car = begin(client)
    client.post(f"{car}/record/file", files={"file": ("a.csv", files[1].read_bytes())})
    marked = client.post(f"{car}/good", data={"recording": 3})
    assert "the good one" in marked.text
    client.post(f"{car}/job", data={})
    upload(client, car, files[0])
    visit = garage.visit(car.removeprefix("/car/"))
    assert visit.numbers("finding")[-1].document["references"] == [3]
    again = client.post(f"{car}/finding/compare", data={})
    assert 'value="3" checked' not in again.text
    taken_back = client.post(f"{car}/good", data={"recording": 3, "is_good": "no"})
    assert "the good one" not in taken_back.text.replace("Keep as the good one", "")


SAME = "Entry 7 holds the same samples as entry 3, which was called good"


def after_a_good_one(client: TestClient, good: Path) -> str:
    """A car in its second job, whose recording of the first was called good."""
    car = begin(client)
    upload(client, car, good)
    client.post(f"{car}/good", data={"recording": 3})
    client.post(f"{car}/job", data={})
    return car


def test_the_good_recording_sent_again_is_judged_without_itself(
    client: TestClient, garage: Garage, files: tuple[Path, Path]
) -> None:
    car = after_a_good_one(client, files[1])
    shown = upload(client, car, files[1])
    visit = garage.visit(car.removeprefix("/car/"))
    assert visit.numbers("recording")[-1].number == 7
    assert SAME in shown
    assert SAME in client.get(f"{car}/finding").text
    assert visit.numbers("finding")[-1].document["references"] == []
    # Its own choice is told why not, and nothing is kept of it.
    refused = client.post(f"{car}/finding/compare", data={"reference": 3})
    assert refused.status_code == 400
    assert "is the same recording as" in refused.text


def test_a_part_of_the_good_recording_is_judged_without_it(
    client: TestClient, files: tuple[Path, Path], tmp_path: Path
) -> None:
    car = after_a_good_one(client, files[1])
    lines = files[1].read_text().splitlines(keepends=True)
    part = tmp_path / "part.csv"
    part.write_text("".join(lines[: len(lines) * 2 // 3]))
    assert SAME in upload(client, car, part)


def test_another_recording_than_the_good_one_is_chosen_beside_it(
    client: TestClient, garage: Garage, files: tuple[Path, Path]
) -> None:
    car = after_a_good_one(client, files[1])
    assert SAME not in upload(client, car, files[0])
    upload(client, car, files[1])
    shown = client.post(f"{car}/finding/of", data={"recording": 9})
    assert shown.status_code == 200, shown.text
    assert SAME.replace("7", "9") in shown.text
    back = client.post(f"{car}/finding/of", data={"recording": 7})
    assert "holds the same samples" not in back.text
    kept = garage.visit(car.removeprefix("/car/")).numbers("finding")[-1]
    assert kept.document["references"] == [3]


def test_own_weights_are_taken_in_and_given_back(
    client: TestClient, garage: Garage, files: tuple[Path, Path]
) -> None:
    car = begin(client)
    upload(client, car, files[0])
    own = b"leak = 0.9\nhealthy = 0.1\n"
    judged = client.post(f"{car}/finding/prior", files={"file": ("mine.toml", own)})
    assert "made with your own weights" in judged.text
    kept = garage.visit(car.removeprefix("/car/")).numbers("finding")[-1]
    assert kept.document["prior"] == {"leak": 0.9, "healthy": 0.1}
    assert kept.document["finding"]["prior"]["leak"] == pytest.approx(0.9)
    assert garage.book.recompute(ODD, kept.number)[0].same
    wrong = client.post(f"{car}/finding/prior", files={"file": ("mine.toml", b"gremlin = 1\n")})
    assert wrong.status_code == 400
    assert "gremlin" in wrong.text
    back = client.post(f"{car}/finding/prior")
    assert "weights that come with the program" in back.text
