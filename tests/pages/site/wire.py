"""Whatever may come over the wire to the page's server: odd fields, files that are damaged."""

import gzip
import http.client
import io
import json
import random
import re
import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from html import unescape
from importlib.resources import files
from pathlib import Path
from typing import Any
from urllib.parse import quote_from_bytes

import polars as pl
from fastapi.routing import APIRoute
from PIL import Image

from bellmouth.book.book import Book
from bellmouth.pages.site.car_fields import FIELDS
from bellmouth.practice.polling import write_csv
from bellmouth.recording import read_recording
from bellmouth.recording.export import write_recording
from tests.finding.test_family import family
from tests.finding.worked import healthy, meter_reads_low

__all__ = ["MARK", "NAME", "Answer", "Sent", "Wire", "damaged", "fields_of", "odd", "samples",
           "told_in_json"]  # fmt: skip

NAME, MARK = "On the wire", "0123456789abcdef"
_RECORDINGS = ("before.csv", "before.csv.gz", "before.parquet", "before.mf4")
#: What may be sent to a route that takes no recording; and in which field.
_KINDS = {
    "/care/import": ("car.zip",), "/families/file": ("family.toml",), "/rules": ("rules.toml",),
    "/car/{key}/facts/file": ("car.toml",), "/known/procedure": ("procedure.toml",),
    "/car/{key}/photo": ("photo.jpg", "photo.png", "photo.webp"),
    "/car/{key}/finding/prior": ("prior.toml",), "/car/{key}/proof/choose": ("prior.toml",),
}  # fmt: skip
_FIELDS = {"mapping": ("mapping.toml",), "cars": ("cars.csv", "cars.parquet")}
_ODD: tuple[str | bytes, ...] = (
    "", " ", "x" * 300, "x" * 100_000, "nan", "inf", "-inf", "1e400", "-1", "0", "9" * 30,
    "9" * 5000, "1e308", "٣", "²", "\0", "a\0b", "\x1b[31m", "a\r\nX: 1", "\ud800", "a\udfffb",
    b"\xff\xfe", b"\xc3(", "<script>alert(1)</script>", "'; DROP TABLE entry; --", "../../x",
    "/etc/passwd", "true", "null", "[]", "{}", '{"a": NaN}', "[" * 5000, "Ä" * 300, "\u202eabc",
    "2026-02-30", "9999-12-31", "1_000", "0x10", "60 ± nan", "1 ± 2 ± 3", "\u2028", "\x7f", "=",
    "smoke_test=seen", "leak", "none",
)  # fmt: skip
_NAMES: tuple[str | bytes, ...] = (
    "../../x.csv", "/etc/passwd.csv", "a\0b.csv", "Ä" * 300 + ".csv", "x", "", ".csv", "..",
    "x.parquet", "x.mf4", "x.blf", "x.jpg", "x.zip", "x.toml", "x.CSV", "van/../bus.csv",
    "\ud800.csv", b"\xff.csv", "a\nb.csv", "van\0.csv", "x" * 5000 + ".csv",
)  # fmt: skip
#: Fields as a person fills them in; where a form is sent that is good but for one of them.
_GOOD = {
    "name": NAME, "displacement_l": "2,0", "metering": "airflow", "idle_rpm": "700",
    "distance": "85000", "complaint": "rough idle", "text": "oil", "job": "2", "recording": "3",
    "is_good": "yes", "check": "smoke_test", "outcome": "none", "number": "1", "before": "3",
    "after": "4", "reference": "4", "work": "clean_plate", "by": "7", "gasket": "new",
    "asked": "work=clean_plate", "settled": "done", "because": "so", "to": "csv", "language": "en",
    "units": "us", "manual": "checked", "how": "taps", "do": "take", "which": "x-1.parquet",
    "control": "key", "value": "0.5", "keep": "yes", "marks": '{"lamp_blinks": 4}', "code": "abc",
    "done": "nothing", "keep_until": "2031-01-01", "read": "x", "word": "clear",
}  # fmt: skip


def samples(folder: Path) -> dict[str, bytes]:
    """A good file of each kind that a form takes."""
    for recording in (meter_reads_low("before.csv"), healthy("after.csv")):
        write_csv(recording, folder / recording.source)
    for ending in ("parquet", "mf4"):
        write_recording(read_recording(folder / "before.csv"), folder / f"before.{ending}")
    family().write(folder / "family.toml")
    picture = Image.linear_gradient("L").resize((80, 60)).convert("RGB")
    for ending in ("jpg", "png", "webp"):
        picture.save(folder / f"photo.{ending}")
    with Book(folder / "another") as book:
        book.add_car("From elsewhere", {"displacement_l": 2.0, "metering": "airflow"})
        book.add_recording("From elsewhere", folder / "before.csv")
        book.add_photo("From elsewhere", folder / "photo.jpg")
        book.export("From elsewhere", folder / "car.zip")
    pack = next(iter(sorted(files("bellmouth.learning").joinpath("packs").iterdir(), key=str)))
    own = re.sub(r"(?m)^name = .*$", 'name = "of-my-own"', pack.read_text("utf-8"), count=1)
    cars = b"car,displacement_l,metering\nvan,2.0,airflow\nbus,2.0,airflow\n"
    pl.read_csv(cars).write_parquet(folder / "cars.parquet")
    written = {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}
    return written | {
        "before.csv.gz": gzip.compress(written["before.csv"], mtime=0), "cars.csv": cars,
        "car.toml": b'displacement_l = 2.0\nmetering = "airflow"\nidle_rpm = {value = 700}\n',
        "prior.toml": b"leak = 2.0\n", "rules.toml": b'place = "Here"\n',
        "mapping.toml": b'[columns]\n"N" = "engine_speed [rpm]"\n', "procedure.toml": own.encode(),
    }  # fmt: skip


def damaged(rng: random.Random, raw: bytes) -> bytes:
    """A file that is not as it was: bytes changed, cut, gone, twice, or something else."""
    found = bytearray(raw or b"\0")
    how, at = rng.choice(("bit", "bit", "bit", "cut", "zeros", "twice", "front", "none", "junk")), 0
    at = rng.randrange(len(found))
    if how == "bit":
        found[at] ^= 1 << rng.randrange(8)
    elif how == "zeros":
        found[at : at + 300] = bytes(len(found[at : at + 300]))
    elif how == "junk":
        found = bytearray(rng.randbytes(2000))
    else:
        cut = {"cut": found[:at], "twice": found * 2, "front": found[9:], "none": bytearray()}
        found = cut[how]
    return bytes(found)


def odd(rng: random.Random) -> bytes:
    """What nobody should write into a field."""
    one = rng.choice(_ODD)
    return one if isinstance(one, bytes) else one.encode("utf-8", "surrogatepass")


def fields_of(route: APIRoute) -> list[tuple[str, bool]]:
    """Fields of a form, and whether each holds a file."""
    found = [
        (one.name, "UploadFile" in str(one.field_info.annotation))
        for one in route.dependant.body_params
    ]
    if route.path == "/car/{key}/facts":
        found += [(one.key, False) for one in FIELDS]
    return found


@dataclass(frozen=True)
class Sent:
    """A request; ``told`` is what is odd about it."""

    path: str
    body: bytes
    kind: str
    told: str = ""
    headers: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Answer:
    """An answer, and how many entries the book had before and after."""

    status: int
    text: str
    entries: tuple[int, int]

    @property
    def sentence(self) -> str:
        """What a person is told; all there is where it is no page."""
        said = re.search(r'<p class="sorry">(.*?)</p>', self.text, re.DOTALL)
        if said is None and "<html" not in self.text:
            return self.text
        return "" if said is None else unescape(said[1])


class Wire:
    """A server on loopback and what can be sent to it."""

    def __init__(self, address: str, folder: Path, good: Mapping[str, bytes]) -> None:
        self.host = address.removeprefix("http://")
        self._database, self.good = folder / "book" / "book.db", good

    def send(self, sent: Sent, method: str = "POST") -> Answer:
        """Send it, and read the whole answer."""
        before = self.entries()
        line = http.client.HTTPConnection(self.host, timeout=120.0)
        headers = {"Origin": f"http://{self.host}", "Accept": "text/html", **sent.headers}
        if sent.kind:
            headers["Content-Type"] = sent.kind
        line.request(method, sent.path, sent.body, headers)
        answer = line.getresponse()
        text = answer.read().decode("utf-8", "replace")
        line.close()
        return Answer(answer.status, text, (before, self.entries()))

    def entries(self) -> int:
        """How many entries the book has, whoever wrote them."""
        book = sqlite3.connect(f"file:{self._database}?mode=ro", uri=True)
        try:
            return int(book.execute("SELECT count(*) FROM entry").fetchone()[0])
        finally:
            book.close()

    def good_form(self, path: str, fields: Mapping[str, str]) -> Sent:
        """A form as a person sends it; ``file`` names one of the samples."""
        parts: list[tuple[str, str | bytes | None, bytes]] = [
            (name, text, self.good[text]) if name == "file" else (name, None, text.encode())
            for name, text in fields.items()
        ]
        return Sent(path, *_multipart(parts))

    def form(self, rng: random.Random, route: APIRoute, path: str) -> Sent:
        """A form that is good but for what is odd about it."""
        parts = [self._part(rng, route, name, is_file) for name, is_file in fields_of(route)]
        how = rng.choice(("field", "field", "file", "file", "name", "none", "twice", "swap", "cut"))
        at = rng.randrange(len(parts)) if parts else 0
        for place, (name, called, content) in enumerate(parts):
            if how == "file" and called is not None:
                parts[place] = (name, called, damaged(rng, content))
            elif how == "name" and called is not None:
                parts[place] = (name, rng.choice(_NAMES), content)
            elif place == at and how == "field":
                parts[place] = (name, called, odd(rng))
            elif place == at and how == "swap":
                parts[place] = (name, "x.csv" if called is None else None, content)
        if parts and how in ("none", "twice"):
            parts = [one for one in parts if one[0] != parts[at][0]] + parts[at : at + 1] * (
                0 if how == "none" else 300
            )
        plain = all(called is None for _, called, _ in parts) and rng.random() < 0.7
        body, kind = _plain(parts) if plain else _multipart(parts)
        if how == "cut":
            body = body[: rng.randrange(len(body) + 1)]
            kind = rng.choice((kind, kind, "text/plain", "multipart/form-data", ""))
        return Sent(path, body, kind, f"{how} of {parts[at][0] if parts[at:] else None}")

    def _part(
        self, rng: random.Random, route: APIRoute, name: str, is_file: bool
    ) -> tuple[str, str | bytes | None, bytes]:
        if is_file:
            kind = rng.choice(_FIELDS.get(name) or _KINDS.get(route.path) or _RECORDINGS)
            return name, f"van-{kind}" if name == "files" else kind, self.good[kind]
        # No car of the book is called so: a car that is added, or deleted, is another matter.
        other = name == "name" and route.path in ("/cars", "/car/{key}/delete")
        good = f"{rng.random()}" if other else _GOOD.get(name, "")
        return name, None, good.encode()


def told_in_json(rng: random.Random) -> bytes:
    """What a coach's page tells, with something odd in it."""
    tap: dict[str, Any] = {"means": "lamp_blinks", "at_s": 1.0, "kind": "press", "number": 1}
    told: dict[str, Any] = {
        "id": MARK, "phase": "done", "taps": [tap], "watched_s": 5.0, "person": "7",
        "device": {"lead_ms": 10.0}, "take": False, "why": "", "lead_ms": 5.0,
    }  # fmt: skip
    where = rng.choice((told, told, tap, told["device"]))
    where[rng.choice([*where, "\ud800"])] = rng.choice(
        (None, -1, float("nan"), float("inf"), 10**400, "", "x" * 5000, "\ud800", "\0", [], {},
         {"a": float("nan")}, [{}] * 3000)
    )  # fmt: skip
    return json.dumps(told).encode()


def _plain(parts: Sequence[tuple[str, str | bytes | None, bytes]]) -> tuple[bytes, str]:
    pairs = (f"{name}={quote_from_bytes(content)}" for name, _, content in parts)
    return "&".join(pairs).encode(), "application/x-www-form-urlencoded"


def _multipart(parts: Sequence[tuple[str, str | bytes | None, bytes]]) -> tuple[bytes, str]:
    body = io.BytesIO()
    for name, called, content in parts:
        body.write(b'--odd\r\nContent-Disposition: form-data; name="%s"' % name.encode())
        if called is not None:
            raw = called if isinstance(called, bytes) else called.encode("utf-8", "surrogatepass")
            body.write(b'; filename="%s"' % raw.replace(b"\n", b"%0A"))
        body.write(b"\r\n\r\n" + content + b"\r\n")
    body.write(b"--odd--\r\n")
    return body.getvalue(), "multipart/form-data; boundary=odd"
