"""Losses in words: one and several, and what the links count besides."""

from bellmouth.bus.link import Losses
from bellmouth.bus.lost import lost


def test_nothing_lost_is_not_told() -> None:
    assert lost(Losses()) == []


def test_one_and_several() -> None:
    seen = {"session started again": 1, "values not borne out by a second answer": 2}
    assert lost(Losses(unanswered=1, cut=2, seen=seen)) == [
        "Lost on the way: 1 request was not answered, 2 messages lost frames, 1 time the session "
        "was started again, 2 values were not borne out by a second answer. None of it was "
        "recorded."
    ]
