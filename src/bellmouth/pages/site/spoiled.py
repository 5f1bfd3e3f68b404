"""Attempts that count for nothing: stopped by a person, or void because a machine failed.

They are kept with all that was seen, and are never met.
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
    phase = document["coached"]["phase"]
    if phase not in SPOILED:
        return document
    return {
        **document, "judgement": SPOILED[phase], "seen": document["judgement"],
        "consequence": "", "advice": ADVICE[phase],
    }  # fmt: skip


def interrupted(procedure: Procedure, ident: str, why: str) -> dict[str, Any]:
    """An attempt of which nothing is left but that it began."""
    document = judgement_document(judge(None, procedure, None))
    document["coached"] = {"id": ident, "phase": "void", "why": why, "taps": []}
    return spoiled(document)
