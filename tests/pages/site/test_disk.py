"""A disk that fills up under a server that runs: told in one sentence, and nothing is lost."""

import resource
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import httpx2
import pytest

from bellmouth.book.book import Book
from bellmouth.practice.polling import write_csv
from tests.finding.worked import meter_reads_low
from tests.pages.site.other_processes import Server

pytestmark = pytest.mark.skipif(
    not hasattr(resource, "prlimit"), reason="needs another process's limits"
)

FREE = (resource.RLIM_INFINITY, resource.RLIM_INFINITY)
#: A file may not grow beyond this, which is what a full disk is to whoever writes. [byte]
FULL = (4096, resource.RLIM_INFINITY)


@contextmanager
def full(server: Server) -> Iterator[None]:
    resource.prlimit(server.process_id, resource.RLIMIT_FSIZE, FULL)
    try:
        yield
    finally:
        resource.prlimit(server.process_id, resource.RLIMIT_FSIZE, FREE)


def test_a_disk_that_is_full_is_told_and_what_was_kept_stays(tmp_path: Path) -> None:
    write_csv(meter_reads_low("a.csv"), tmp_path / "a.csv")
    csv = (tmp_path / "a.csv").read_bytes()
    (tmp_path / "book").mkdir()
    with Server(tmp_path / "book") as server:
        car = server.new_car("Full")
        with httpx2.Client(
            headers={"origin": server.address}, timeout=120.0, follow_redirects=True
        ) as client:
            with full(server):
                for answer in (
                    client.post(f"{car}/note", data={"text": "in vain"}),
                    client.post(f"{car}/record/file", files={"file": ("a.csv", csv)}),
                    client.post(f"{server.address}/files/check", files={"file": ("a.csv", csv)}),
                    client.post(f"{server.address}/practice"),
                ):
                    assert answer.status_code in {400, 507}, answer.text
                    assert "That did not work" in answer.text
                    assert "The disk is full" in answer.text or "the disk is full" in answer.text
                # What is kept can be looked at all the same, by a server started now, too.
                for place in ("record", "work", "learning", "book", "facts"):
                    assert client.get(f"{car}/{place}").status_code == 200
            assert client.post(f"{car}/note", data={"text": "there"}).status_code == 200
            judged = client.post(f"{car}/record/file", files={"file": ("a.csv", csv)})
            assert "meter low" in judged.text
    with closing(Book(tmp_path / "book")) as book:
        assert book.check().problems == ()
        kinds = [one.kind for one in book.history("Full").entries]
    assert [kinds.count(one) for one in ("note", "recording", "finding")] == [1, 1, 1]


def test_a_disk_that_fills_up_under_a_capture_ends_it_and_offers_what_it_has(
    tmp_path: Path,
) -> None:
    with Server(tmp_path) as server, httpx2.Client(
        headers={"origin": server.address}, timeout=120.0, follow_redirects=True
    ) as client:  # fmt: skip
        made = client.post(f"{server.address}/practice", data={"fault": "healthy", "seed": "5"})
        car = str(made.url).removesuffix("/record")
        client.post(f"{car}/record/live")
        _until(client, car, "readings.csv", lambda text: text.count("\n") > 200)
        with full(server):
            seen: list[str] = []

            def stands(text: str) -> bool:
                seen.append(text)
                return seen[-10:] == [text] * 10

            read = _until(client, car, "readings.csv", stands).count("\n") - 1
        page = client.get(f"{car}/record").text
        assert "cannot be written on" in page
        assert "is kept" in page
        taken = client.post(f"{car}/record/stop")
        assert "In this job already" in client.get(f"{car}/record").text, taken.text
        kept = client.get(f"{car}/recording/3.csv").text.count("\n") - 1
        assert kept >= read - 1, "all but the row that found no room"


def _until(client: httpx2.Client, car: str, what: str, right: Callable[[str], bool]) -> str:
    end = time.monotonic() + 90.0
    while time.monotonic() < end:
        text = client.get(f"{car}/record/{what}".rstrip("/")).text
        if right(text):
            return text
        time.sleep(0.2)
    raise TimeoutError(what)
