"""A writer that is killed loses nothing that it acknowledged. The 200 moments are
``python -m measure.kill_book``."""

from pathlib import Path

from measure.kill_book import kill_many


def test_nothing_acknowledged_is_lost_by_a_kill(tmp_path: Path) -> None:
    killed = kill_many(tmp_path / "book", 5, seed=3)
    assert [problem for one in killed for problem in one.problems] == []
    assert all(one.acknowledged >= 1 for one in killed)
    assert killed[-1].kept >= sum(one.acknowledged for one in killed)
