"""What the browser is told of a procedure agrees with the coach's own session."""

import json

import pytest

from bellmouth.learning.packs import packs
from bellmouth.learning.procedure import Procedure
from bellmouth.learning.session import Session
from bellmouth.pages.card_words import Words
from bellmouth.pages.site.attempt_chart import attempt_svg
from bellmouth.pages.site.coach_plan import plan_document


@pytest.mark.parametrize("procedure", packs(), ids=lambda one: one.name)
def test_every_plan_is_plain_data_with_finite_times(procedure: Procedure) -> None:
    plan = json.loads(json.dumps(plan_document(procedure), allow_nan=False))
    assert plan["stretches"][-1]["ends_s"] >= 0.0
    for stretch in plan["stretches"]:
        for cue in stretch["cues"]:
            assert cue["step"] in plan["steps"] or cue["kind"] in {"say", "tick"}
            assert cue["edge"] < len(stretch["edges"])
            assert not cue["tone"] or cue["tone"] in plan["tones_hz"]
    # Every stretch but the last ends with an event of the car.
    assert all(one["waits"] for one in plan["stretches"][:-1])


@pytest.mark.parametrize("procedure", packs(), ids=lambda one: one.name)
def test_the_first_stretch_is_called_when_the_session_calls_it(procedure: Procedure) -> None:
    """Two roads to one number: the plan that a browser lays out, and the session itself."""
    plan = plan_document(procedure)
    session = Session(procedure)
    session.begin(100.0)
    first = plan["stretches"][0]
    calls = [one for one in first["cues"] if one["kind"] in {"now", "beat"} and one["edge"] >= 0]
    expected = session.upcoming(1e9)
    assert [(one.kind, one.edge) for one in expected] == [
        (one["kind"], one["edge"]) for one in calls
    ]
    for cue, call in zip(expected, calls, strict=True):
        assert cue.at_s == pytest.approx(100.0 + plan["count_in_s"] + call["at_s"])


def test_a_plan_speaks_german() -> None:
    procedure = next(one for one in packs() if one.catalogue == "P4")
    plan = plan_document(procedure, words=Words("de"))
    texts = {cue["text"] for stretch in plan["stretches"] for cue in stretch["cues"]}
    assert "Danach: Zündung ein" in texts
    assert "drei" in texts
    assert not any(text.startswith("Next") for text in texts)


def test_the_time_line_tells_each_step_in_words_and_shape() -> None:
    step = {
        "step": "key_on", "judgement": "missed", "window": [2.0, None], "at_s": 8.0,
        "measured": {"value": 1.0, "low": 0.7, "high": None},
    }  # fmt: skip
    odd = {**step, "step": "<b>: lasts", "judgement": "cannot tell", "measured": None}
    svg = attempt_svg({"steps": [step, odd]}, {"key_on": 'Key "on"'}, Words())
    assert '1 ✗ Key "on": missed' in svg
    assert "2 ? &lt;b&gt;: lasts: cannot tell" in svg
    assert "<b>" not in svg
    assert 'aria-label="Key &quot;on&quot;: missed' in svg
