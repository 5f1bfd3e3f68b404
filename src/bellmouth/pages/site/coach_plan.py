"""A procedure as the coach on the page needs it: stretches, cues and words, as plain data.

Times and cues are the coach's own (:mod:`bellmouth.learning.schedule`, ``cue_plan``); the browser
only lays them on its audio clock.
"""

import math
from typing import Any

from bellmouth.learning.cue_plan import COUNT_IN_S, cues_of
from bellmouth.learning.cues import TONES_HZ, Cue
from bellmouth.learning.procedure import Procedure, Step, Until
from bellmouth.learning.schedule import Edge, Leads, Slot, Stretch, stretches
from bellmouth.pages.card_words import Words
from bellmouth.pages.coach_told import Told

__all__ = ["cue_document", "plan_document"]


def plan_document(
    procedure: Procedure,
    leads: Leads | None = None,
    *,
    quiet: bool = False,
    words: Words | None = None,
) -> dict[str, Any]:
    """The whole procedure; times in seconds from the beginning of their stretch. [s]"""
    told = Told(procedure, words or Words())
    return {
        "name": procedure.name,
        "title": told.say(procedure.title),
        "safe_state": told.say(procedure.safe_state),
        "count_in_s": COUNT_IN_S,
        "tones_hz": dict(TONES_HZ),
        "steps": {step.name: _step(told, step) for step in procedure.steps},
        "stretches": [
            _stretch(told, stretch, leads or {}, quiet=quiet) for stretch in stretches(procedure)
        ],
        "quiet": quiet,
    }


def _step(told: Told, step: Step) -> dict[str, Any]:
    def words(event: str) -> str:
        return told.say(told.procedure.event_words(event))

    return {
        "who": step.who,
        "do": step.do,
        "say": told.say(step.say),
        "show": told.say(step.show),
        "caution": told.say(step.caution),
        "tone": step.tone,
        "optional": step.optional,
        "event": step.until.event if step.until else "",
        "event_words": words(step.until.event) if step.until else "",
        "least_s": step.lasts_s.least_s if step.lasts_s else 0.0,
        "stops": [{"event": one, "words": words(one)} for one in step.stopped_by],
    }


def _stretch(told: Told, stretch: Stretch, leads: Leads, *, quiet: bool) -> dict[str, Any]:
    return {
        "anchor": stretch.anchor,
        "waits": _until(told, stretch.waits),
        "ends_s": _last_s(stretch),
        "slots": [_slot(slot) for slot in stretch.slots],
        "edges": [_edge(edge) for edge in stretch.edges],
        "cues": [
            cue_document(cue, told) for cue in cues_of(told.procedure, stretch, leads, quiet=quiet)
        ],
    }


def _last_s(stretch: Stretch) -> float:
    """When it is over by itself. [s]"""
    last = stretch.slots[-1]
    if stretch.waits is not None:
        return last.begin_s + stretch.waits.timeout_s
    return max(last.end_s, stretch.edges[-1].at_s if stretch.edges else 0.0)


def _until(told: Told, until: Until | None) -> dict[str, Any] | None:
    if until is None:
        return None
    return {
        "event": until.event,
        "words": told.say(told.procedure.event_words(until.event)),
        "timeout_s": until.timeout_s,
    }


def _slot(slot: Slot) -> dict[str, Any]:
    end_s = slot.end_s if math.isfinite(slot.end_s) else None
    return {"step": slot.step.name, "begin_s": slot.begin_s, "end_s": end_s}


def _edge(edge: Edge) -> dict[str, Any]:
    return {
        "step": edge.step,
        "action": edge.action,
        "kind": edge.kind,
        "tone": edge.tone,
        "at_s": edge.at_s,
        "number": edge.number,
    }


def cue_document(cue: Cue, told: Told) -> dict[str, Any]:
    """A cue as plain data; ``at_s`` on the clock that it was made for. [s]"""
    return {
        "at_s": cue.at_s,
        "kind": cue.kind,
        "text": told.say(cue.text),
        "tone": cue.tone,
        "step": cue.step,
        "sounds": cue.sounds,
        "edge": cue.edge,
    }
