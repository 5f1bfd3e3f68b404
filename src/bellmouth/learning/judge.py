"""Judge an attempt at a learning procedure from a recording, from marks, or from both.

A pure function from steps and signals to times, windows and margins. A step is *met* only where
all that the sampling allows lies inside its window, *missed* only where none of it does, and
otherwise this *cannot tell*. A step without evidence is never met.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path

from bellmouth.learning.align import Alignment, align, leaves_traces
from bellmouth.learning.conditions import due_s, judge_conditions
from bellmouth.learning.consequence import outcome
from bellmouth.learning.evidence import Evidence
from bellmouth.learning.judgement import (
    CANNOT_TELL,
    MISSED,
    Attempt,
    Judgement,
    StepJudgement,
    worst,
)
from bellmouth.learning.marks import ACTION_MARKS, check_marks, read_marks
from bellmouth.learning.packs import find_procedure
from bellmouth.learning.place import place
from bellmouth.learning.procedure import Procedure
from bellmouth.learning.signals import evidence_of
from bellmouth.learning.step_checks import judge_steps
from bellmouth.recording.series import Recording

__all__ = ["judge"]


def judge(
    recording: Recording | None,
    procedure: Procedure | str | Path,
    marks: str | Path | Mapping[str, object] | None = None,
    *,
    others: Iterable[Procedure] | None = None,
) -> Judgement:
    """Judge the last attempt at a procedure that a recording holds; earlier ones are listed.

    Parameters
    ----------
    recording
        What was recorded, or None to judge by marks alone.
    procedure
        The procedure, the name of one of the packs, or a file that ends in ``.toml``.
    marks
        What a person saw, heard, tapped or confirmed, on the clock of the recording's file: a
        JSON file or a table, see ``marks.read_marks``. [s]
    others
        Procedures that an attempt may have fallen into; None for the packs.

    Raises
    ------
    ProcedureError
        Where procedure or marks cannot be used.
    """
    if not isinstance(procedure, Procedure):
        procedure = find_procedure(procedure)
    known = read_marks(marks)
    check_marks(known, procedure)
    evidence = evidence_of(recording, procedure, known)
    alignments = align(evidence, procedure)
    unseen = recording is None or not leaves_traces(evidence, procedure)
    if not alignments and not (unseen and evidence.taps):
        return _none_found(procedure, evidence, recorded=recording is not None)
    every = [
        _judged(recording, procedure, evidence, one, others)
        for one in alignments or (Alignment({}, 0, 0, 0.0),)
    ]
    judged = every[-1][1]
    attempts = tuple(attempt for attempt, _ in every)
    notes = evidence.notes
    if len(attempts) > 1:
        begun = ", ".join(f"{one.begins_s:.1f} s" for one in attempts)
        told = f"{len(attempts)} attempts found; the last one is judged. They began at {begun}."
        notes = (told, *notes)
    return replace(judged, attempts=attempts, notes=notes)


def _judged(
    recording: Recording | None,
    procedure: Procedure,
    evidence: Evidence,
    alignment: Alignment,
    others: Iterable[Procedure] | None,
) -> tuple[Attempt, Judgement]:
    """One attempt and its judgement."""
    placed = place(evidence, procedure, alignment)
    steps = judge_steps(evidence, procedure, placed)
    conditions = judge_conditions(evidence, procedure, placed, recording)
    needed = [line.judgement for line in steps if not line.optional]
    # What is not recorded and nobody confirmed is told, but is no reason to call the timing open.
    needed += [line.judgement for line in conditions if line.seen]
    overall = worst(needed)
    result = outcome(procedure, overall, steps, conditions, placed, others)
    judged = Judgement(
        procedure.name,
        procedure.title,
        overall,
        steps,
        conditions,
        result.consequence,
        result.repeat,
        result.advice,
        does=procedure.does,
    )
    times = [item.begin.best_s for item in placed if item.begin is not None]
    times += [due_s(item) for item in placed if item.end is not None]
    finite = [at for at in times if math.isfinite(at)] or [evidence.begin_s]
    return Attempt(min(finite), max(finite), overall, _missed_names(steps)), judged


def _missed_names(steps: tuple[StepJudgement, ...]) -> tuple[str, ...]:
    return tuple(line.step for line in steps if line.judgement == MISSED and not line.optional)


def _none_found(procedure: Procedure, evidence: Evidence, *, recorded: bool) -> Judgement:
    """No attempt: every line cannot be told, and the advice says what the recording shows."""
    counts = dict.fromkeys(("press", "engine_start"), 0)
    for item in evidence.happenings:
        if item.kind in counts:
            counts[item.kind] += 1
    missing = [name for name in ("pedal", "engine") if name not in evidence.signals]
    shown = f"presses of the pedal: {counts['press']}, engine starts: {counts['engine_start']}"
    advice = (
        f'No attempt at "{procedure.title}" was found in this recording. It shows {shown}. '
        f"{'It does not hold the ' + ' or the '.join(missing) + ' at all. ' if missing else ''}"
        "Record from before the first step to after the last, or mark the steps."
    )
    if not recorded:
        advice = (
            f'No attempt at "{procedure.title}" was found in the marks, and there is no recording. '
            f"Mark what was done too: {', '.join(ACTION_MARKS)}."
        )
    steps = tuple(
        StepJudgement(step.name, CANNOT_TELL, why="No attempt found.", optional=step.optional)
        for step in procedure.steps
    )
    return Judgement(
        procedure.name,
        procedure.title,
        CANNOT_TELL,
        steps,
        (),
        advice=advice,
        notes=evidence.notes,
        does=procedure.does,
    )
