"""What one controller takes is learned from its answers."""

from bellmouth.bus.habits import Habits

SIX = (0x04, 0x05, 0x06, 0x07, 0x0B, 0x0C)


def test_six_go_into_one_request_and_more_into_several() -> None:
    parts = Habits().plan((*SIX, 0x0D, 0x0F))
    assert [len(part) for part in parts] == [6, 2]
    assert sorted(one for part in parts for one in part) == sorted((*SIX, 0x0D, 0x0F))


def test_the_order_turns_so_that_no_request_looks_like_the_last() -> None:
    habits = Habits()
    orders = [habits.request(SIX, wary=False)[0] for _ in range(6)]
    assert len(set(orders)) == 6
    assert habits.plan((0x0C, 0x0C)) == [(0x0C,)]


def test_one_parameter_gets_a_companion_every_other_time() -> None:
    habits = Habits(claimed=(0x0C, 0x0D, 0x05))
    asked = [habits.request((0x0C,), wary=False) for _ in range(4)]
    assert asked == [((0x0C, 0x0D), 0x0D), ((0x0C,), None)] * 2
    assert Habits().request((0x0C,), wary=True) == ((0x0C,), None)  # it claims no companion


def test_on_a_wary_link_the_companion_changes() -> None:
    habits = Habits(claimed=(0x0C, 0x10, 0x0D, 0x05, 0x0F))
    asked = {habits.request((0x0C, 0x10), wary=True) for _ in range(40)}
    assert {companion for _, companion in asked} == {None, 0x0D, 0x05, 0x0F}
    assert len(asked) == 8  # two orders and four companions
    assert habits.request(SIX, wary=True)[1] is None  # there is no room


def test_a_controller_that_takes_fewer_is_asked_for_fewer() -> None:
    habits = Habits()
    habits.failed(SIX)
    assert habits.most == 6  # once may be chance
    habits.failed(SIX)
    assert habits.most == 3
    habits.failed((0x04, 0x05, 0x06))
    habits.failed((0x04, 0x05, 0x06))
    assert habits.most == 1


def test_what_was_answered_whole_stays_proven() -> None:
    habits = Habits()
    habits.gave(SIX, SIX)
    habits.failed(SIX)
    habits.failed(SIX)
    assert habits.is_proven(SIX)
    assert habits.most == 6


def test_what_is_left_out_in_company_is_asked_alone() -> None:
    habits = Habits()
    for _ in range(3):
        habits.gave((0x0C, 0x10), {0x0C})
    assert habits.plan((0x0C, 0x10)) == [(0x0C,), (0x10,)]


def test_what_is_refused_twice_is_asked_no_more() -> None:
    habits = Habits()
    habits.denied(0x10, "request out of range")
    assert habits.plan((0x10,)) == [(0x10,)]
    habits.denied(0x10, "request out of range")
    assert habits.plan((0x10,)) == []
    assert habits.refused == {0x10: "request out of range"}


def test_what_was_given_is_asked_again_however_often_it_is_refused() -> None:
    habits = Habits()
    habits.gave((0x10,), {0x10})
    for _ in range(10):
        habits.denied(0x10, "service not supported")
    assert habits.plan((0x10,)) == [(0x10,)]


def test_an_answer_that_is_none_is_a_habit_only_of_what_was_never_given() -> None:
    habits = Habits()
    habits.gave((0x0C,), {0x0C})
    assert habits.suspects((0x0C, 0x46)) == [0x46]
    assert [habits.spoilt(0x0C, wire_is_good=True) for _ in range(9)] == [False] * 9
    assert [habits.spoilt(0x46, wire_is_good=True) for _ in range(2)] == [False, True]
    assert [habits.spoilt(0x5C, wire_is_good=False) for _ in range(5)] == [False] * 4 + [True]
    assert set(habits.refused) == {0x46, 0x5C}


def test_silence_to_one_parameter_is_believed_only_after_many_times() -> None:
    habits = Habits()
    habits.gave((0x0C,), {0x0C})
    for _ in range(5):
        habits.kept_silent(0x0C)  # it gave this before: the wire is to blame
        habits.kept_silent(0x10)
    assert habits.refused == {0x10: "no answer"}
