"""Attempts that count for nothing: stopped by a person, or void because a machine failed.

They are kept with all that was seen, and are never met; nor is one in which a person told what was
not so.
"""

from typing import Any

from bellmouth.learning.judge import judge
from bellmouth.learning.procedure import Procedure
from bellmouth.pages.attempt_words import ADVICE, SPOILED
from bellmouth.pages.judgement import judgement_document

__all__ = ["interrupted", "spoiled"]


def spoiled(document: dict[str, Any]) -> dict[str, Any]:
    """A judgement's document, told as void or stopped where the coach says that it was.

    What each step showed stays; nothing of it counts.
    """
    coached = document["coached"]
    phase = coached["phase"]
    # The coach ended it then, whatever the recording shows by that time.
    if phase == "lost" and not all(coached.get("marks", {}).values()):
        phase = "untrue"
    if phase not in ADVICE:
        return document
    return {
        **document, "judgement": SPOILED.get(phase, "missed"), "seen": document["judgement"],
        "consequence": "", "advice": ADVICE[phase],
    }  # fmt: skip


def interrupted(procedure: Procedure, ident: str, why: str) -> dict[str, Any]:
    """An attempt of which nothing is left but that it began."""
    document = judgement_document(judge(None, procedure, None))
    document["coached"] = {"id": ident, "phase": "void", "why": why, "taps": []}
    return spoiled(document)
