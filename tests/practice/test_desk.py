"""Practising at a desk: keys move the light car, and the coach sees it as a car's signals."""

from functools import partial

from bellmouth.learning.coach import Coach
from bellmouth.learning.cue_plan import COUNT_IN_S
from bellmouth.learning.judge import judge
from bellmouth.learning.packs import find_procedure
from bellmouth.learning.session import Session
from bellmouth.practice.desk import KEYS, Desk
from tests.learning.fake_clock import Face, FakeClock


def _desk(clock: FakeClock, coach: Coach) -> Desk:
    from bellmouth.learning.live import LiveReader  # noqa: PLC0415

    desk = Desk(clock)
    reader = LiveReader(coach, 0.02)
    for look in range(60 * 50):
        at_s = 100.0 + 0.02 * look
        clock.at(at_s, partial(desk._look, reader, at_s))
    return desk


def test_the_closed_position_can_be_practised() -> None:
    clock = FakeClock()
    coach = Coach(Session(find_procedure("P3"), watched={"key", "pedal", "engine"}), Face(), clock)
    desk = _desk(clock, coach)
    begin_s = 100.0 + COUNT_IN_S
    clock.at(begin_s + 0.1, lambda: desk.press_key("k"))
    clock.at(begin_s + 3.2, lambda: desk.press_key("k"))
    coach.run()
    assert coach.session.phase == "done"
    assert [one.procedure for one in desk.verdicts if one.met] == ["closed_position"]
    late = [one.done_s - one.cued_s for one in coach.session.timings]
    assert all(0.0 < one < 0.3 for one in late)


def test_where_the_key_is_to_be_turned_off_first_it_is_on() -> None:
    """Whoever taps at the first call turns it off, and not on."""
    clock = FakeClock()
    on = Desk(clock, procedure=find_procedure("P6"))
    off = Desk(clock, procedure=find_procedure("P3"))
    clock.time_s += 0.1
    for desk in (on, off):
        desk.press_key("")
    assert "key on" in on.status()
    assert "key off" in off.status()
    on.press_key("k")
    clock.time_s += 0.1
    on.press_key("")
    assert "key off" in on.status()


def test_taps_move_the_pedal_down_and_up() -> None:
    clock = FakeClock()
    desk = Desk(clock)
    assert "pedal ▲ up" in desk.status()
    desk.press_key(" ")
    assert "pedal ▼ down" in desk.status()
    clock.time_s += 1.0
    desk.press_key(" ")
    assert "pedal ▲ up" in desk.status()


def test_a_space_bar_that_is_held_down_is_told() -> None:
    clock = FakeClock()
    desk = Desk(clock)
    told = ""
    for _ in range(8):
        clock.time_s += 0.03
        told = told or desk.press_key(" ")
    assert told == "Tap the space bar, do not hold it: one tap down, one tap up."


def test_every_key_has_its_meaning() -> None:
    clock = FakeClock()
    desk = Desk(clock)
    assert set(KEYS) == {" ", "k", "s"}
    desk.press_key("k")
    clock.time_s += 1.0
    desk.press_key("s")
    clock.time_s += 2.0
    desk.press_key("x")
    assert "engine running" in desk.status()


def test_what_was_practised_can_be_judged() -> None:
    clock = FakeClock()
    procedure = find_procedure("P2")
    coach = Coach(Session(procedure, watched={"key", "pedal", "engine"}), Face(), clock)
    desk = _desk(clock, coach)
    begin_s = 100.0 + COUNT_IN_S
    for at_s in (0.1, 3.1, 15.1):
        clock.at(begin_s + at_s, lambda: desk.press_key("k"))
    clock.at(begin_s + 16.0, lambda: desk.press_key("k"))
    coach.run()
    assert coach.session.phase == "lost"
    judgement = judge(desk.recording(), procedure)
    assert judgement.judgement != "met"
