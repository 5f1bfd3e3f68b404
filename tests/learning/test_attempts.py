from pathlib import Path

import pytest

from bellmouth.errors import ProcedureError
from bellmouth.learning.attempts import FILE, Attempts, KeptAttempt, kept_attempt
from bellmouth.learning.evidence import Moment
from bellmouth.learning.packs import find_procedure
from bellmouth.learning.session import Session, Timing

ATTEMPT = KeptAttempt(
    "throttle-closed-position", "7", "2030-01-02T10:00:00+01:00", "done", "met", leads={"key": 0.1},
    live=True, timings=(Timing("key_on", "key", 0, 1.0, 1.2, 0.05),), marks={"plate_moves": [4.5]},
)  # fmt: skip


def test_what_is_kept_is_read_again(tmp_path: Path) -> None:
    kept = Attempts(tmp_path / "new")
    kept.keep(ATTEMPT)
    kept.keep(KeptAttempt("other", "8", outcome="lost", by_s=0.3))
    assert Attempts(tmp_path / "new").read()[0] == ATTEMPT
    assert [one.person for one in kept.read(procedure="other")] == ["8"]
    assert kept.read("nobody") == []


def test_a_line_cut_off_by_a_crash_costs_only_itself(tmp_path: Path) -> None:
    kept = Attempts(tmp_path)
    kept.keep(ATTEMPT)
    with (tmp_path / FILE).open("a") as file:
        file.write('{"procedure": "x", "outc')
    kept.keep(ATTEMPT)
    assert kept.read() == [ATTEMPT, ATTEMPT]
    assert kept.unread() == 1


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('"key_on"', "7"), ('"kind": "key"', '"kind": "x"'), ('"kind": "key"', '"kind": []'),
        ("1.2", '"1.2"'), ("1.2", "null"),
        ("1.2", "NaN"), ("0.1", "[]"), ("4.5", '"x"'), ('"marks": {', '"marks": [{'), ('"7"', "7"),
    ],
)  # fmt: skip
def test_a_line_that_was_changed_costs_only_itself(tmp_path: Path, old: str, new: str) -> None:
    kept = Attempts(tmp_path)
    kept.keep(ATTEMPT)
    line = (tmp_path / FILE).read_text("utf-8")
    assert old in line
    (tmp_path / FILE).write_text(line + line.replace(old, new, 1), "utf-8")
    assert kept.read() == [ATTEMPT]
    assert kept.unread() == 1


def test_no_file_is_no_attempt(tmp_path: Path) -> None:
    assert Attempts(tmp_path).read() == []
    assert Attempts(tmp_path).unread() == 0


def test_a_folder_that_cannot_be_written_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(
        ProcedureError, match=r"cannot be kept .* choose another folder with --keep"
    ):
        Attempts(tmp_path / "file").keep(ATTEMPT)


def test_a_session_becomes_an_attempt() -> None:
    session = Session(find_procedure("P3"), watched=("key",), leads={"key": 0.1})
    session.begin(0.0)
    session.acted("key_on", Moment(8.1, 8.2))
    session.acted("key_off", Moment(9.1, 9.2))
    kept = kept_attempt(session, person="7", practice=True)
    assert (kept.outcome, kept.lost_step, kept.live, kept.practice) == (
        "lost",
        "key_on",
        True,
        True,
    )
    assert kept.lost_why == "Key on: 1.0 s, at least 2 s: 1.0 s too short."
    assert kept.by_s == pytest.approx(1.0)
    assert kept.timings[0].done_s - kept.timings[0].cued_s == pytest.approx(0.25)


@pytest.mark.parametrize(
    ("attempt", "slipped"),
    [
        (KeptAttempt("x", outcome="lost", by_s=0.2), False),
        (KeptAttempt("x", outcome="lost", by_s=4.0), True),
        (KeptAttempt("x", outcome="lost"), True),
        (KeptAttempt("x", outcome="done"), False),
        (KeptAttempt("x", outcome="void", by_s=4.0), False),
    ],
)
def test_a_slip_is_what_timing_does_not_explain(attempt: KeptAttempt, slipped: bool) -> None:
    assert attempt.slipped is slipped
