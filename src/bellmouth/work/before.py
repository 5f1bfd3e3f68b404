"""The recording that a card was made from: which it is, and whether it will do as the *before*."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Self

from bellmouth.book.masking import mask_within
from bellmouth.finding.result import Finding
from bellmouth.recording.series import Recording
from bellmouth.recording.steady import stretches

__all__ = ["Before", "made_from", "step_made_from"]

_LONGEST_NAME = 48  # one line of the printed card


@dataclass(frozen=True, slots=True)
class Before:
    """A recording of the car as it came: its name, and what a *before* needs and it has not.

    ``lacks`` is ``idle`` (warm, held long enough to be steady), ``held`` (a raised speed) or empty.
    """

    name: str
    lacks: str = ""

    @classmethod
    def of(cls, recording: Recording) -> Self:
        """What a recording, such as the one that the finding was made from, is good for."""
        warm = {one.kind for one in stretches(recording) if one.warm is not False}
        if "idle" not in warm:
            return cls(recording.source, "idle")
        return cls(recording.source, "" if warm & {"held", "drive"} else "held")


def made_from(finding: Finding | None, before: Before | None) -> Mapping[str, str]:
    """Which text stands where a recording of the car as it came is there, and that one's name."""
    if before is not None:
        name = mask_within(before.name)[:_LONGEST_NAME]
        return {"text": f"no_{before.lacks}" if before.lacks else "suits", "recording": name}
    return {"text": "unnamed"} if finding is not None else {}


def step_made_from(row: Mapping[str, Any], of: Mapping[str, str]) -> Mapping[str, Any]:
    """A step as it stands on a card that was made from a recording, or from none."""
    text = of.get("text", "")
    if text not in row.get("made_from", ()):
        return row
    values = {**row.get("values", {}), "recording": of.get("recording", "")}
    # Where nothing is to be recorded, no engine runs.
    cautions = () if text == "suits" else row.get("cautions", ())
    return {**row, **row["made_from"][text], "values": values, "cautions": cautions}
