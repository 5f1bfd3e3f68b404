import math
import threading
from functools import partial

import pytest

from bellmouth.learning.coach import Coach
from bellmouth.learning.cue_plan import COUNT_IN_S
from bellmouth.learning.cues import Cue
from bellmouth.learning.evidence import Moment
from bellmouth.learning.follow import Follower, Matched
from bellmouth.learning.packs import find_procedure
from bellmouth.learning.procedure import Procedure
from bellmouth.learning.procedure_reader import procedure_from_text
from bellmouth.learning.session import Session, leads_of
from tests.learning.fake_clock import Face, FakeClock

P3, P4 = find_procedure("P3"), find_procedure("P4")
BEGIN_S = 100.0 + COUNT_IN_S
ALL = ("key", "pedal", "engine")


def coach_of(
    procedure: Procedure, watched: tuple[str, ...] = (), *, ahead_s: float = 0.0
) -> tuple[Coach, Face, FakeClock]:
    face, clock = Face(), FakeClock()
    return Coach(Session(procedure, watched=watched), face, clock, ahead_s=ahead_s), face, clock


def _acts(coach: Coach, clock: FakeClock, *actions: tuple[float, str]) -> None:
    for at_s, action in actions:
        moment = Moment(BEGIN_S + at_s - 0.02, BEGIN_S + at_s + 0.02)
        clock.at(BEGIN_S + at_s + 0.05, partial(coach.acted, action, moment))


def _presses(begin_s: float, count: int = 5) -> list[tuple[float, str]]:
    times = [begin_s + 0.889 * index for index in range(count)]
    return [item for at in times for item in ((at, "press"), (at + 0.44, "release"))]


def test_every_cue_is_given_at_its_time_and_in_order() -> None:
    coach, face, _ = coach_of(P3)
    coach.run()
    assert coach.session.phase == "done"
    assert face.said()[-1].startswith("Done. Look for: ")
    assert max(abs(given.late_s) for given in coach.given) < 1e-6
    times = [given.cue.at_s for given in coach.given]
    assert times == sorted(times)
    now = [cue.at_s - BEGIN_S for cue in face.cues if cue.kind == "now" and cue.edge >= 0]
    assert now == pytest.approx([0.0, 3.0])


def test_cues_come_ahead_for_sound_that_is_late() -> None:
    coach, face, clock = coach_of(P3, ahead_s=0.2)
    when: list[float] = []
    face.cue = lambda cue: when.append(clock.now_s()) if cue.kind == "now" else None  # type: ignore[method-assign]
    coach.run()
    assert when[0] == pytest.approx(BEGIN_S - 0.2)


def test_a_mark_begins_what_follows_the_event() -> None:
    coach, face, clock = coach_of(P4)
    clock.at(BEGIN_S + 46.0, coach.mark)
    coach.run()
    let_go = next(cue for cue in face.cues if cue.text == "Let go")
    assert let_go.at_s == pytest.approx(BEGIN_S + 46.0)
    assert coach.session.phase == "done"
    assert coach.session.marks == {"lamp_steady": [pytest.approx(BEGIN_S + 46.0)]}


def test_an_event_that_never_comes_loses_the_attempt_at_its_time_out() -> None:
    coach, face, clock = coach_of(P4)
    coach.run()
    assert coach.session.phase == "lost"
    assert clock.now_s() == pytest.approx(BEGIN_S + 26.0 + 30.0)
    assert face.said()[-1] == (
        "Stop. Attempt lost. Press and hold: not within 30 s that the lamp stops blinking and "
        "stays on. Pedal up, key off, wait 10 s."
    )


def test_an_event_of_the_hold_before_is_none_of_this_one() -> None:
    hold = (
        '[[step]]\nname = "hold{0}"\nwho = "pedal"\ndo = "press"\nsay = "Hold"\n'
        'until = {{ event = "lamp_steady", timeout_s = 20 }}\n'
        '[[step]]\nname = "let_go{0}"\nwho = "pedal"\ndo = "release"\nsay = "Let go"\n'
        "lasts_s = {{ least = 5 }}\n"
    )
    text = 'name = "two-holds"\ntitle = "Two holds"\nsource = "Workshop manual, page 6"\n'
    coach, _, clock = coach_of(procedure_from_text(text + hold.format("") + hold.format("_again")))
    clock.at(BEGIN_S + 12.0, lambda: coach.mark("lamp_steady"))
    coach.run()
    assert coach.session.phase == "lost"
    assert coach.session.lost is not None
    assert coach.session.lost.step == "hold_again"
    assert "not within 20 s that the lamp stops blinking" in coach.session.lost.why


def test_a_second_hold_is_not_counted_from_the_event_of_the_first() -> None:
    text = (
        'name = "rounds"\ntitle = "Rounds"\nsource = "Workshop manual, page 5"\n'
        '[[step]]\nname = "hold"\nwho = "pedal"\ndo = "press"\nsay = "Hold"\n'
        'until = { event = "lamp_steady", timeout_s = 20 }\n'
        '[[step]]\nname = "let_go"\nwho = "pedal"\ndo = "release"\nsay = "Let go"\n'
        'after = "lamp_steady"\nafter_s = { most = 3 }\nlasts_s = { least = 5 }\n'
        '[[repeat]]\nfirst = "hold"\nlast = "let_go"\ntimes = 2\n'
    )
    follower = Follower(procedure_from_text(text), ("pedal",))
    follower.saw("press", Moment(0.0, 0.1))
    follower.event("lamp_steady", Moment(9.9, 10.0))
    follower.saw("release", Moment(11.0, 11.1))
    follower.saw("press", Moment(17.0, 17.1))
    assert follower.overdue(26.0) is None
    follower.event("lamp_steady", Moment(26.9, 27.0))
    found = follower.saw("release", Moment(28.0, 28.1))
    assert isinstance(found, Matched)
    assert found.lost is None


def test_the_plan_moves_with_what_was_seen() -> None:
    coach, face, clock = coach_of(P4, ALL)
    _acts(coach, clock, (0.1, "key_off"), (12.4, "key_on"), *_presses(15.4))
    clock.at(BEGIN_S + 22.0, coach.stop)
    coach.run()
    now = {cue.text: cue.at_s - BEGIN_S for cue in face.cues if cue.kind == "now"}
    # Key off came at 0.1, so key on is called 12 s after that; the key came on at 12.4.
    assert now["Key on"] == pytest.approx(12.1)
    assert now["Press five times"] == pytest.approx(15.4)


def test_what_went_wrong_is_said_at_once_and_by_how_much() -> None:
    coach, face, clock = coach_of(P4, ALL)
    _acts(coach, clock, (0.1, "key_off"), (12.1, "key_on"), *_presses(15.1), (24.6, "press"))
    coach.run()
    assert coach.session.phase == "lost"
    assert clock.now_s() == pytest.approx(BEGIN_S + 24.65)
    assert face.said()[-1] == (
        "Stop. Attempt lost. Wait: 5.5 s, at least 6.5 s: 1.0 s too short. "
        "Pedal up, key off, wait 10 s."
    )


def test_a_sixth_press_loses_it() -> None:
    coach, _, clock = coach_of(P4, ALL)
    _acts(coach, clock, (0.1, "key_off"), (12.1, "key_on"), *_presses(15.1, 6))
    coach.run()
    assert coach.session.phase == "lost"
    assert clock.now_s() < BEGIN_S + 20.5


def test_what_is_not_done_in_time_is_missed_without_waiting_for_it() -> None:
    coach, _, clock = coach_of(P4, ALL)
    _acts(coach, clock, (0.1, "key_off"), (12.1, "key_on"))
    for tenth in range(400):
        at_s = BEGIN_S + 0.1 * tenth
        clock.at(at_s, partial(coach.seen_until, at_s))
    coach.run()
    lost = coach.session.lost
    assert lost is not None
    assert (lost.step, lost.why) == ("five_presses", "Key on: not done within 3.5 s.")
    assert clock.now_s() < BEGIN_S + 17.0


def test_a_condition_that_breaks_loses_it() -> None:
    coach, face, clock = coach_of(P4, ALL)
    for tenth in range(60, 90):
        at_s = BEGIN_S + 0.1 * tenth
        clock.at(at_s, partial(coach.reading, "engine_speed", 0.0, at_s))
        clock.at(at_s, partial(coach.reading, "control_module_voltage", 11.8, at_s))
    coach.run()
    assert coach.session.phase == "lost"
    assert "Battery 12.4 V or more with the engine stopped: it is 11.8 V." in face.said()[-1]


def test_a_blink_of_a_condition_does_not() -> None:
    coach, _, clock = coach_of(P3)
    clock.at(BEGIN_S + 1.0, lambda: coach.reading("control_module_voltage", 9.0, BEGIN_S + 1.0))
    clock.at(BEGIN_S + 1.5, lambda: coach.reading("control_module_voltage", 12.6, BEGIN_S + 1.5))
    coach.run()
    assert coach.session.phase == "done"


def test_stop_ends_it_with_the_safe_state() -> None:
    coach, face, clock = coach_of(P4)
    clock.at(BEGIN_S + 13.0, coach.stop)
    coach.run()
    assert coach.session.phase == "stopped"
    assert face.said()[-1] == "Stopped. Pedal up, key off, wait 10 s."
    assert clock.now_s() == pytest.approx(BEGIN_S + 13.0)


def test_a_computer_that_slept_voids_the_attempt() -> None:
    coach, face, clock = coach_of(P4)
    clock.at(BEGIN_S + 5.0, lambda: setattr(clock, "slept_s", 4.2))
    coach.run()
    assert coach.session.phase == "void"
    assert "This computer slept for 4.2 s." in face.said()[-1]


def test_a_computer_that_stood_still_voids_the_attempt() -> None:
    coach, face, clock = coach_of(P4)
    clock.at(BEGIN_S + 5.0, lambda: setattr(clock, "held_up_s", 1.5))
    coach.run()
    assert coach.session.phase == "void"
    assert "This computer stood still for" in face.said()[-1]


def test_a_face_that_fails_leaves_nobody_waiting() -> None:
    coach, face, _ = coach_of(P3)

    def fail(cue: object) -> None:
        raise RuntimeError("no screen")

    face.cue = fail  # type: ignore[method-assign]
    with pytest.raises(RuntimeError, match="no screen"):
        coach.run()
    assert coach.session.phase == "void"


def test_what_voids_an_attempt_after_its_end_changes_nothing() -> None:
    coach, _, _ = coach_of(P3)
    coach.run()
    coach.void("too late")
    assert coach.session.phase == "done"
    assert coach.session.lost is None


def test_a_key_that_is_on_already_is_to_be_turned_off_first() -> None:
    coach, face, clock = coach_of(P3, ("key",))
    clock.at(101.0, partial(coach.acted, "key_on", Moment(-math.inf, 101.0)))
    clock.at(103.0, partial(coach.acted, "key_off", Moment(102.9, 103.0)))
    _acts(coach, clock, (0.1, "key_on"), (3.2, "key_off"))
    coach.run()
    assert "Key off now, it comes on when called" in face.said()
    assert coach.session.phase == "done"
    assert len(coach.session.timings) == 2


def test_a_fan_that_runs_already_when_the_idle_begins_stops_its_clock() -> None:
    coach, face, clock = coach_of(find_procedure("running-idle-after-warm-up"))
    clock.at(BEGIN_S + 200.0, lambda: coach.mark("fan_runs"))
    idle_s = BEGIN_S + 204.0
    clock.at(idle_s + 66.0, lambda: coach.mark("fan_stops"))
    coach.run()
    calls = {cue.text: cue.at_s for cue in face.cues if cue.kind == "now"}
    assert calls["Let it idle"] == pytest.approx(idle_s)
    assert calls["Key off"] == pytest.approx(idle_s + 310.0 + 66.0)


def test_timings_are_kept_against_their_calls() -> None:
    coach, _, clock = coach_of(P3, ("key",))
    _acts(coach, clock, (0.2, "key_on"), (3.5, "key_off"))
    coach.run()
    late = [timing.done_s - timing.cued_s for timing in coach.session.timings]
    # The second is counted from the first: it was called at 3.2.
    assert late == pytest.approx([0.2, 0.3])
    assert coach.session.timings[0].give_s == pytest.approx(0.02)


def test_progress_says_what_a_face_needs() -> None:
    coach, _, clock = coach_of(P4)
    seen = []
    clock.at(BEGIN_S + 13.0, lambda: seen.append(coach.progress()))
    clock.at(BEGIN_S + 36.0, lambda: seen.append(coach.progress()))
    clock.at(BEGIN_S + 37.0, coach.stop)
    coach.run()
    on, hold = seen
    assert on.step is not None
    assert (on.step.say, on.place, on.next_say) == ("Key on", 2, "Press five times")
    assert on.next_in_s == pytest.approx(2.0)
    assert hold.awaits == "the lamp stops blinking and stays on"
    assert hold.left_s == pytest.approx(20.0)


def test_it_runs_in_a_thread_of_its_own_and_can_be_closed() -> None:
    face = Face()
    with Coach(Session(P3), face) as coach:
        coach.start()
        assert coach.wait(0.0) is False
    assert coach.session.phase == "stopped"
    assert threading.active_count() == 1 or all(t.name != "coach" for t in threading.enumerate())


def test_one_lead_is_for_everything_that_has_one() -> None:
    assert leads_of(0.2) == {"key": 0.2, "press": 0.2, "release": 0.2, "other": 0.2}


def test_a_session_begins_once() -> None:
    session = Session(P3)
    session.begin(0.0)
    with pytest.raises(ValueError, match="begins once"):
        session.begin(1.0)


class Placed:
    """Keeps what is placed and taken back, with the clock's time."""

    def __init__(self, clock: FakeClock) -> None:
        self.clock = clock
        self.held: dict[Cue, float] = {}
        self.lead_s: dict[Cue, float] = {}
        self.withdrawn: list[Cue] = []

    def place(self, cue: Cue, at_s: float) -> None:
        assert cue not in self.held
        self.held[cue] = at_s
        self.lead_s[cue] = at_s - self.clock.time_s

    def withdraw(self, cue: Cue) -> None:
        del self.held[cue]
        self.withdrawn.append(cue)


def test_cues_are_placed_long_before_their_moment_and_stay() -> None:
    face, clock = Face(), FakeClock(99.5)
    placed = Placed(clock)
    coach = Coach(Session(P3), face, clock, ahead_s=0.2, placing=placed)
    coach.run()
    planned = [given.cue for given in coach.given if given.cue.kind != "state"]
    assert {cue: cue.at_s - 0.2 for cue in planned} == pytest.approx(placed.held)
    assert placed.withdrawn == []
    assert min(placed.lead_s[cue] for cue in planned) > 0.25


def test_what_moves_with_an_action_is_taken_back_and_placed_anew() -> None:
    face, clock = Face(), FakeClock(99.5)
    placed = Placed(clock)
    coach = Coach(Session(P4, watched=ALL), face, clock, placing=placed)
    _acts(coach, clock, (0.0, "key_off"), (12.25, "key_on"), *_presses(15.3))
    clock.at(BEGIN_S + 24.0, coach.stop)
    coach.run()
    given = [one.cue for one in coach.given if one.cue.kind != "state"]
    assert placed.withdrawn
    assert set(given) <= set(placed.held)
    # What is held and was not given would sound after all.
    assert [cue for cue in placed.held if cue not in given] == []


def test_what_was_heard_though_the_thread_is_late_is_not_called_again() -> None:
    face, clock = Face(), FakeClock()
    placed = Placed(clock)
    coach = Coach(Session(P4, watched=ALL), face, clock, placing=placed)
    coach.session.begin(clock.time_s)
    placed_before = coach.session.planned(BEGIN_S + 0.01)
    coach._look_ahead(BEGIN_S - 0.3)
    clock.time_s = BEGIN_S + 0.05
    # Nobody gave "key off" yet, and it has been heard.
    coach.acted("key_off", Moment(BEGIN_S, BEGIN_S + 0.04))
    called = [one.cue for one in coach.given if one.cue.kind == "now"]
    assert [cue.text for cue in called] == ["Key off"]
    assert called[0] in placed_before
    assert called[0] not in placed.withdrawn


def test_what_was_told_and_was_not_so_loses_the_attempt_and_counts_as_not_noticed() -> None:
    coach, _, clock = coach_of(P3, ("key",))
    _acts(coach, clock, (0.0, "key_on"), (3.0, "key_off"))
    clock.at(BEGIN_S + 1.0, lambda: coach.untrue(coach.awaited()) if coach.awaited() else None)
    clock.at(BEGIN_S + 4.0, lambda: coach.untrue(coach.awaited()))
    coach.run()
    assert coach.session.phase == "lost"
    assert coach.session.lost is not None
    assert coach.session.lost.at_s == pytest.approx(BEGIN_S + 4.0)
    assert coach.session.lost.why == (
        "Key off: told that the plate is heard to move, when it was not so."
    )
    assert coach.session.told == {"plate_moves": []}
