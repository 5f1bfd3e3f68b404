"""What clearing codes would lose, in sentences, for the terminal and the page alike."""

from collections.abc import Iterable
from typing import TYPE_CHECKING

from bellmouth.pages.card_words import Words
from bellmouth.pages.words import spoken

if TYPE_CHECKING:
    from bellmouth.bus.reports import Cleared, Clearing, Codes

__all__ = [
    "CLEAR",
    "STAYS",
    "cleared_words",
    "clearing_words",
    "is_the_word",
    "other_codes_words",
    "question",
    "stored_codes",
]

#: What is typed to clear codes.
CLEAR = "clear"

STAYS = "Permanent codes stay: only driving with the fault gone ends them."


def clearing_words(clearing: "Clearing") -> tuple[str, ...]:
    """What a clear would lose, a sentence each."""
    told = stored_codes(clearing.codes) or not clearing.untold
    lines = [_lost_codes(clearing.codes)] if told else []
    lines += [
        f"whatever controller {address:02X} holds, which did not tell its codes."
        for address in clearing.untold
    ]
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


def question(speak: Words) -> str:
    """What is asked on the terminal before anything is cleared."""
    asked = 'Type "{word}" to lose all this, anything else to keep it'
    return speak.text(asked).format(word=speak.text(CLEAR))


def is_the_word(typed: str, speak: Words) -> bool:
    """Whether the question was answered with its word, the reader's or the English one."""
    return typed.strip().casefold() in {CLEAR, speak.text(CLEAR).casefold()}


def other_codes_words(stored: Iterable[str], speak: Words) -> str:
    """What is told whose ``--yes`` names other codes than the car holds."""
    told = ",".join(sorted(stored)) or "none"
    return speak.text("The car holds other codes than --yes names: {codes}.").format(codes=told)


def cleared_words(cleared: "Cleared", speak: Words) -> list[str]:
    """What each controller did, a line each."""
    done = speak.text("Controller {n} has cleared its codes.")
    refused = speak.text("Controller {n} refused:")
    return [
        *(done.format(n=f"{address:02X}") for address in cleared.cleared),
        *(
            f"{refused.format(n=f'{address:02X}')} {speak.told(why)}."
            for address, why in cleared.refused.items()
        ),
    ]
