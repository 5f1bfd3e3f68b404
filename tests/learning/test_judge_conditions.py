"""What has to stand throughout an attempt, and the starter that pulls it down."""

from dataclasses import replace

from bellmouth.learning import judge
from bellmouth.learning.judgement import Judgement
from bellmouth.learning.procedure_reader import procedure_from_text
from tests.learning.made import Attempt, idle_air, recorded
from tests.learning.test_judge import NAME, judge_of


def _condition(judged: Judgement, name: str) -> str:
    return next(line.judgement for line in judged.conditions if line.condition == name)


def test_a_dip_of_the_supply_cancels_and_is_mended_first() -> None:
    good = idle_air()
    on = good.on[1][0]
    judged = judge_of(replace(good, supply=((on + 9.0, on + 10.0, 11.2),)))
    assert judged.judgement == "missed"
    assert judged.repeat == "mend first"
    assert _condition(judged, "battery") == "missed"
    assert "11.2 V" in judged.consequence
    assert judged.advice.startswith("Mend that first")


def test_the_sag_of_the_starter_is_no_dip() -> None:
    judged = judge_of(idle_air())
    assert _condition(judged, "battery") == _condition(judged, "charging") == "met"


_SUPPLIED = """
name = "run-between"
title = "Run between"
source = "Workshop manual, page 4"
[[throughout]]
name = "supply"
say = "Supply"
signal = "control_module_voltage"
unit = "V"
least = 12.4
engine = "stopped"
[[step]]
name = "key_on"
who = "key"
do = "on"
say = "Key on"
lasts_s = { about = 3, tolerance = 0.5 }
[[step]]
name = "start"
who = "engine"
do = "start"
say = "Start"
[[step]]
name = "idle"
who = "engine"
do = "idle"
say = "Idle"
lasts_s = { least = 10 }
[[step]]
name = "key_off"
who = "key"
do = "off"
say = "Key off"
lasts_s = { least = 10 }
[[step]]
name = "key_on_again"
who = "key"
do = "on"
say = "Key on"
lasts_s = { least = 5 }
[[step]]
name = "press"
who = "pedal"
do = "press"
say = "Press"
lasts_s = { least = 5 }
"""


def test_a_condition_of_the_engine_stopped_need_not_be_read_while_it_runs() -> None:
    procedure = procedure_from_text(_SUPPLIED)
    attempt = Attempt(
        on=((0.0, 4.0), (16.0, 36.0), (50.0, 70.0)),
        presses=((57.0, 64.0, 1.0),),
        engine=((19.0, 36.0),),
    )
    recording = recorded(attempt)
    judged = judge(recording, procedure)
    assert (judged.judgement, _condition(judged, "supply")) == ("met", "met")
    # Not one reading while it ran, nor while it started, and the same is said.
    supply = recording.series["control_module_voltage"]
    stood = (supply.time_s < 19.0) | (supply.time_s > 36.0)
    rare = replace(supply, time_s=supply.time_s[stood], value=supply.value[stood])
    judged = judge(replace(recording, series={**recording.series, supply.name: rare}), procedure)
    assert (judged.judgement, _condition(judged, "supply")) == ("met", "met")
    # Read for the first seconds only, whatever came then is not known to have stood.
    cut = replace(supply, time_s=supply.time_s[:100], value=supply.value[:100])
    series = {**recording.series, supply.name: cut}
    judged = judge(replace(recording, series=series), procedure)
    assert (judged.judgement, _condition(judged, "supply")) == ("cannot tell", "cannot tell")


def test_the_sag_of_the_starter_is_no_dip_of_a_supply_that_always_must_stand() -> None:
    always = procedure_from_text(_SUPPLIED.replace('engine = "stopped"\n', ""))
    attempt = Attempt(
        on=((0.0, 4.0), (16.0, 36.0), (50.0, 70.0)),
        presses=((57.0, 64.0, 1.0),),
        engine=((19.0, 36.0),),
    )
    assert _condition(judge(recorded(attempt), always), "supply") == "met"
    dipped = replace(attempt, supply=((25.0, 25.5, 11.0),))
    assert _condition(judge(recorded(dipped), always), "supply") == "missed"


def test_rolling_cancels() -> None:
    good = idle_air()
    on = good.on[1][0]
    judged = judge_of(replace(good, speed=((on + 5.0, on + 7.0, 2.0),)))
    assert _condition(judged, "stationary") == "missed"


def test_conditions_of_other_times_do_not_matter() -> None:
    good = idle_air()
    judged = judge_of(replace(good, supply=((0.0, 3.0, 11.0),)))
    assert judged.judgement == "met"


def test_a_condition_that_is_not_recorded_is_told_and_may_be_confirmed() -> None:
    attempt = idle_air()
    recording = recorded(attempt, without=["vehicle_speed"])
    judged = judge(recording, NAME, attempt.marks)
    assert judged.judgement == "met"
    assert _condition(judged, "stationary") == "cannot tell"
    assert "The car does not move" in judged.advice
    moved = judge(recording, NAME, {**attempt.marks, "stationary": False})
    assert moved.judgement == "missed"
