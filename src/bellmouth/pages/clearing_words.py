"""What clearing codes would lose, in sentences, for the terminal and the page alike."""

from typing import TYPE_CHECKING

from bellmouth.pages.words import spoken

if TYPE_CHECKING:
    from bellmouth.bus.reports import Clearing, Codes

__all__ = ["STAYS", "clearing_words", "stored_codes"]

STAYS = "Permanent codes stay: only driving with the fault gone ends them."


def clearing_words(clearing: "Clearing") -> tuple[str, ...]:
    """What a clear would lose, a sentence each."""
    lines = [_lost_codes(clearing.codes)]
    lines += [f"the freeze frame of {frame.code}." for frame in clearing.freeze_frames]
    if clearing.ready:
        ready = ", ".join(spoken(name) for name in clearing.ready)
        lines.append(
            f"readiness: {ready} would have to complete again before an inspection, which takes "
            "days of driving."
        )
    lines.append(
        "the learned fuel trims and idle corrections, and with them the evidence of the fault; "
        "the engine may idle badly until it has learned again."
    )
    if clearing.distance_km is not None:
        lines.append(f"the count since the last clearing ({clearing.distance_km:.0f} km).")
    return tuple(lines)


def stored_codes(codes: "Codes") -> tuple[str, ...]:
    """The confirmed and pending codes of every controller, each once, in order."""
    kinds = (codes.confirmed, codes.pending)
    return tuple(sorted({code for kind in kinds for found in kind.values() for code in found}))


def _lost_codes(codes: "Codes") -> str:
    confirmed = ", ".join(sorted({code for found in codes.confirmed.values() for code in found}))
    pending = ", ".join(sorted({code for found in codes.pending.values() for code in found}))
    if confirmed and pending:
        return f"the codes: confirmed {confirmed}; pending {pending}."
    if confirmed:
        return f"the codes: confirmed {confirmed}."
    return f"the codes: pending {pending}." if pending else "no codes: none are stored."
