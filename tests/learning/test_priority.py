import os
import threading

import pytest

from bellmouth.learning.priority import preferred


def test_a_thread_is_ordinary_again_afterwards_whatever_the_system_allows() -> None:
    seen: list[int] = []

    def work() -> None:
        with preferred() as allowed:
            seen.append(os.sched_getscheduler(0) & os.SCHED_RR if allowed else os.SCHED_RR)
        seen.append(os.sched_getscheduler(0) & ~os.SCHED_RESET_ON_FORK)

    thread = threading.Thread(target=work)
    thread.start()
    thread.join()
    assert seen == [os.SCHED_RR, os.SCHED_OTHER]


def test_where_it_is_refused_nothing_changes(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise PermissionError

    monkeypatch.setattr(os, "sched_setscheduler", refuse)
    with preferred() as allowed:
        assert allowed is False


def test_where_there_is_no_such_thing_nothing_changes(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delattr(os, "sched_setscheduler")
    with preferred() as allowed:
        assert allowed is False
