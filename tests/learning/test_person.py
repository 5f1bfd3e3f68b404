import numpy as np
import pytest

from bellmouth.learning.attempts import KeptAttempt
from bellmouth.learning.chances import action_times, edges_of, limits, within
from bellmouth.learning.packs import find_procedure, packs
from bellmouth.learning.person import KINDS, PRIOR, learn_timing
from bellmouth.learning.posterior import Seen, posterior
from bellmouth.learning.procedure import Procedure
from bellmouth.learning.procedure_reader import procedure_from_text
from bellmouth.learning.schedule import Kind
from bellmouth.learning.session import Timing

P3, P4 = find_procedure("P3"), find_procedure("P4")


def _attempts(
    count: int, bias_s: float = 0.1, spread_s: float = 0.1, seed: int = 1, outcome: str = "done"
) -> list[KeptAttempt]:
    rng = np.random.default_rng(seed)
    shares: dict[Kind, tuple[float, int]] = {"key": (1.0, 3), "press": (1.0, 3), "beat": (0.35, 9)}
    asked = [(kind, share) for kind, (share, times) in shares.items() for _ in range(times)]

    def one() -> tuple[Timing, ...]:
        late = [bias_s + spread_s * share * rng.standard_normal() for _, share in asked]
        return tuple(
            Timing("step", kind, 0, 10.0, 10.0 + by)
            for (kind, _), by in zip(asked, late, strict=True)
        )

    return [KeptAttempt("made-up", outcome=outcome, timings=one()) for _ in range(count)]


def test_with_no_attempt_it_is_the_prior() -> None:
    nothing = learn_timing([])
    for place, kind in enumerate(KINDS):
        habit = nothing.habit(kind)
        assert habit.bias_s == pytest.approx(PRIOR.bias_s[place], abs=0.05)
        assert habit.spread_s == pytest.approx(PRIOR.spread_s[place], rel=0.15)
        assert habit.count == 0


def test_every_attempt_draws_it_towards_what_this_person_does() -> None:
    bias = [learn_timing(_attempts(count, 0.45)).habit("press").bias_s for count in (0, 1, 10)]
    assert bias[0] < bias[1] < 0.46
    assert bias[2] == pytest.approx(0.45, abs=0.04)


def test_intervals_narrow_and_hold_the_truth() -> None:
    few, many = (learn_timing(_attempts(count, 0.3, 0.2)).habit("key") for count in (1, 20))
    assert many.bias_high_s - many.bias_low_s < few.bias_high_s - few.bias_low_s
    assert few.bias_low_s < 0.3 < few.bias_high_s
    assert many.spread_low_s < 0.2 < many.spread_high_s


def test_who_is_late_with_the_pedal_is_thought_late_with_the_key() -> None:
    rng = np.random.default_rng(2)
    timings = tuple(
        Timing("step", "press", 0, 0.0, 0.5 + 0.05 * rng.standard_normal()) for _ in range(10)
    )
    late = learn_timing([KeptAttempt("made-up", outcome="done", timings=timings)])
    nothing = learn_timing([])
    assert late.habit("key").bias_s > nothing.habit("key").bias_s + 0.1
    assert late.habit("key").bias_s < late.habit("press").bias_s


def test_what_the_observing_adds_is_not_the_persons() -> None:
    rng = np.random.default_rng(3)
    errors = [(float(rng.uniform(-0.2, 0.2)), 0.2, 1.0) for _ in range(60)]
    nothing = [Seen(0)] * (len(KINDS) - 2)
    seen = [Seen(0), Seen.of(errors), *nothing]
    _, spread = posterior(PRIOR, seen, 300, np.random.default_rng(1))
    blind = [Seen(0), Seen.of([(error, 0.0, 1.0) for error, *_ in errors]), *nothing]
    _, taken = posterior(PRIOR, blind, 300, np.random.default_rng(1))
    assert np.median(spread[:, 1]) < 0.6 * np.median(taken[:, 1])


def test_one_kind_alone_agrees_with_the_sum_over_a_grid() -> None:
    """The same posterior by brute force: shared parts are taken out by making them tiny."""
    prior = type(PRIOR)(
        bias_s=np.array([0.1]), shared_bias_s=np.array([1e-6]), own_bias_s=np.array([0.2]),
        spread_s=np.array([0.15]), shared_log=1e-6, own_log=0.5,
    )  # fmt: skip
    errors = np.array([0.31, 0.18, 0.42, 0.25])
    bias, spread = posterior(
        prior, [Seen.of([(e, 0.0, 1.0) for e in errors])], 4000, np.random.default_rng(1)
    )
    b = np.linspace(-0.6, 1.0, 801)[:, None]
    s = np.exp(np.linspace(np.log(0.01), np.log(2.0), 801))[None, :]
    log = -0.5 * ((b - 0.1) / 0.2) ** 2 - 0.5 * (np.log(s / 0.15) / 0.5) ** 2
    for error in errors:
        log = log - np.log(s) - 0.5 * ((error - b) / s) ** 2
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    assert bias.mean() == pytest.approx(float((weight * b).sum()), abs=0.01)
    assert np.log(spread).mean() == pytest.approx(float((weight * np.log(s)).sum()), abs=0.03)
    assert bias.std() == pytest.approx(
        float(np.sqrt((weight * b**2).sum() - (weight * b).sum() ** 2)), rel=0.1
    )


def test_a_steady_person_passes_and_an_unsteady_one_does_not() -> None:
    steady = learn_timing(_attempts(10, 0.1, 0.05)).predict(P4)
    unsteady = learn_timing(_attempts(10, 0.1, 0.45)).predict(P4)
    assert steady.chance > 0.9
    assert unsteady.chance < steady.chance - 0.15
    assert steady.low <= steady.chance <= steady.high


def test_it_names_the_step_to_practise() -> None:
    prediction = learn_timing(_attempts(10, 0.1, 0.3)).predict(P4)
    assert prediction.steps[0].step in ("key_on", "wait")
    assert [one.miss for one in prediction.steps] == sorted(
        (one.miss for one in prediction.steps), reverse=True
    )


def test_a_lead_helps_who_is_late_where_nobody_follows() -> None:
    rng = np.random.default_rng(4)
    timings = tuple(
        Timing("step", kind, 0, 0.0, bias + 0.06 * rng.standard_normal())  # type: ignore[arg-type]
        for kind, bias in [("key", 0.6), ("press", 0.1), ("beat", 0.1)] * 10
    )
    late = learn_timing([KeptAttempt("made-up", outcome="done", timings=timings)])
    prediction = late.predict(P4, follows=False)
    assert prediction.led_chance > prediction.chance + 0.2
    assert prediction.leads["key"] > prediction.leads.get("press", 0.0) + 0.2
    led = late.predict(P4, prediction.leads, follows=False)
    assert led.chance == pytest.approx(prediction.led_chance, abs=0.02)


def test_attempts_that_the_computer_spoilt_count_for_nothing() -> None:
    spoilt = _attempts(10, 0.9, 0.3, outcome="void")
    assert learn_timing(spoilt).predict(P4) == learn_timing([]).predict(P4)


def test_slips_lower_the_chance() -> None:
    good = _attempts(10, 0.1, 0.05)
    slips = [KeptAttempt("made-up", outcome="lost", lost_why="a press too many")] * 5
    assert learn_timing([*good, *slips]).predict(P4).chance < (
        learn_timing(good).predict(P4).chance - 0.1
    )


@pytest.mark.parametrize("procedure", packs(), ids=lambda one: one.name)
def test_who_acts_exactly_as_called_keeps_every_window(procedure: Procedure) -> None:
    """Coach and windows agree: the plan itself is met, whether or not it is followed."""
    edges = edges_of(procedure)
    errors = np.array([[0.3 if edge.kind == "react" else 0.0 for edge in edges]])
    for follows in (True, False):
        times = action_times(procedure, errors, {}, follows=follows)
        missed = [limit.step for limit in limits(procedure) if not within(times, limit)[0]]
        assert missed == []


def test_a_plan_that_is_followed_forgives_the_last_delay() -> None:
    edges = edges_of(P3)
    errors = np.array([[1.5, 0.0]])
    assert len(edges) == 2
    followed = action_times(P3, errors, {}, follows=True)
    blind = action_times(P3, errors, {}, follows=False)
    assert followed[0, 1] - followed[0, 0] == pytest.approx(3.0)
    assert blind[0, 1] - blind[0, 0] == pytest.approx(1.5)


def _series(lag_s: float, count: int = 3) -> list[KeptAttempt]:
    """Attempts in which each beat of ten lags so much more than the one before. [s]"""
    rng = np.random.default_rng(5)
    kinds: list[Kind] = ["press", *["beat"] * 9]  # type: ignore[list-item]

    def one() -> tuple[Timing, ...]:
        off = 0.02 * rng.standard_normal(10)
        return tuple(
            Timing("five_presses", kind, 1 + place // 2, 0.0, 0.2 + lag_s * place + off[place])
            for place, kind in enumerate(kinds)
        )

    return [KeptAttempt("made-up", outcome="done", timings=one()) for _ in range(count)]


def test_who_cannot_keep_the_pace_is_thought_to_run_out_of_time() -> None:
    slow, prompt = (learn_timing(_series(lag)).predict(P4) for lag in (0.15, 0.0))
    missed = {one.step: one.miss for one in slow.steps}
    assert slow.steps[0].step == "five_presses"
    assert missed["five_presses"] > 0.8
    assert {one.step: one.miss for one in prompt.steps}["five_presses"] < 0.1
    assert slow.led_chance == pytest.approx(slow.chance, abs=0.05), "a lead quickens nobody"


def test_every_action_may_lapse_so_more_of_them_more_often() -> None:
    nothing = learn_timing([])
    missed = {one.step: one.miss for one in nothing.predict(P4).steps}
    lapse = float(nothing.lapse.mean())
    assert lapse == pytest.approx(0.004, abs=0.002)
    assert missed["five_presses"] >= 1.0 - float(((1.0 - nothing.lapse) ** 10).mean()) - 1e-9


def test_what_was_done_lately_counts_for_more() -> None:
    early, late = _attempts(8, 0.5, 0.05), _attempts(8, 0.1, 0.05, seed=2)
    better = learn_timing([*early, *late]).habit("press").bias_s
    worse = learn_timing([*late, *early]).habit("press").bias_s
    assert better < 0.3 < worse


def test_a_procedure_that_only_waits_is_passed_for_certain() -> None:
    text = (
        'name = "wait"\ntitle = "Wait"\nsource = "Workshop manual, page 2"\n[[step]]\n'
        'name = "rest"\nwho = "pedal"\ndo = "rest"\nsay = "Wait"\nlasts_s = { least = 30 }\n'
    )
    assert learn_timing([]).predict(procedure_from_text(text)).chance == 1.0
