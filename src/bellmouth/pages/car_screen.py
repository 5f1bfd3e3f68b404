"""What a car reports, on the terminal: codes, freeze frame, monitors, what a clear would lose."""

from collections.abc import Mapping, Sequence

from rich.console import Console
from rich.table import Table
from rich.text import Text

from bellmouth.bus.code_meanings import meaning
from bellmouth.bus.link import Losses
from bellmouth.bus.readiness import Advice
from bellmouth.bus.reports import Clearing, Codes, Controller, FreezeFrame, Identity
from bellmouth.j1979 import parameters
from bellmouth.j1979.codes import MonitorStatus
from bellmouth.pages.clearing_words import STAYS, clearing_words
from bellmouth.pages.lists import hanging, print_list, section
from bellmouth.pages.us_units import SHOWN
from bellmouth.pages.words import spoken

__all__ = [
    "losses_words",
    "print_clearing",
    "print_codes",
    "print_last_word",
    "print_losses",
    "print_monitors",
]

_MOST_NOTES = 8
_VERDICTS = {
    "go": "Go: ready for inspection by this table.",
    "wait": "Wait: not ready for inspection; something else comes first.",
    "drive": "Drive: not ready for inspection; driving completes what is missing.",
}
_LOSSES = {
    "unanswered": "requests unanswered",
    "cut": "messages cut",
    "damaged": "frames damaged",
    "stray": "messages nobody asked for",
    "malformed": "answers malformed",
    "reopened": "times the adapter was opened again",
}
_KINDS = ("confirmed", "pending", "permanent")


def print_codes(
    controllers: Sequence[Controller],
    codes: Codes,
    frames: Sequence[FreezeFrame],
    identities: Sequence[Identity],
    out: Console,
) -> None:
    """Print codes with their meanings, the freeze frame and who said it, by controller."""
    known = {identity.source: identity for identity in identities}
    for one in controllers:
        name = f" ({one.name})" if one.name else ""
        section(out, f"Controller {one.address:02X}{name}")
        _print_identity(known.get(one.address), out)
        for kind in _KINDS:
            _print_kind(kind, getattr(codes, kind).get(one.address), out)
        for frame in frames:
            if frame.source == one.address:
                _print_frame(frame, out)


def _print_identity(identity: Identity | None, out: Console) -> None:
    if identity is None:
        return
    if identity.vehicle_number:
        out.print(Text(f"VIN: {identity.vehicle_number}"))
    for calibration in identity.calibrations:
        out.print(Text(f"Calibration: {calibration}"))
    for number in identity.verifications:
        out.print(Text(f"Calibration verification number: {number}"))


def _print_kind(kind: str, codes: tuple[str, ...] | None, out: Console) -> None:
    title = kind.capitalize()
    if codes is None:
        out.print(Text(f"{title} codes: it does not answer this question."))
    elif not codes:
        out.print(Text(f"{title} codes: none."))
    else:
        out.print(Text(f"{title} codes:", style="bold"))
        for code in codes:
            said = meaning(code) or "not in our table; see the car's manual"
            out.print(hanging(" ", f"{code}  {said}"))


def _print_frame(frame: FreezeFrame, out: Console) -> None:
    said = meaning(frame.code)
    out.print(Text(f"Freeze frame, kept when {frame.code} was set", style="bold"))
    if said:
        out.print(hanging(" ", said))
    table = Table.grid(padding=(0, 2))
    table.add_column(overflow="fold")
    table.add_column(justify="right")
    table.add_column()
    for name, value in frame.values.items():
        table.add_row(f"  {spoken(name)}", *_told(name, value))
    out.print(table)


def _told(name: str, value: float | None) -> tuple[str, str]:
    """A value and its unit, codes in words."""
    row = parameters.by_name(name)
    if value is None:
        return "not available", ""
    if row.kind in {"flags", "choice"}:
        return ", ".join(parameters.meanings(name, value)) or "none", ""
    # Four figures are finer than any of the standard's steps that a person reads.
    told = f"{value:.4g}" if abs(value) < 1000 else f"{value:.0f}"
    return told, "" if row.unit in {"code", "bits", "mask"} else SHOWN.get(row.unit, row.unit)


def print_monitors(monitors: Mapping[int, MonitorStatus], advice: Advice, out: Console) -> None:
    """Print go, wait or drive; what is missing and what completes it."""
    out.print()
    out.print(Text(_VERDICTS[advice.verdict], style="bold"))
    for reason in advice.why:
        out.print(hanging("-", reason))
    for address, status in monitors.items():
        section(out, f"Controller {address:02X}")
        for name, state in status.monitors.items():
            if state != "not supported":
                told = "complete" if state == "supported complete" else "INCOMPLETE"
                out.print(Text(f"  {spoken(name)}: {told}"))
    if advice.missing:
        section(out, "What completes the missing ones")
        for one in advice.missing:
            out.print(hanging("-", f"{spoken(one.monitor)}: {one.how}"))
        out.print(
            hanging(
                "!",
                "Drive only where it is legal and safe: no pattern outranks limits, traffic or "
                "weather, and somebody else reads the screen. The car's own manual comes first.",
            )
        )


def print_last_word(advice: Advice, place: str, out: Console) -> None:
    """Print whose rules these are, and the law's word, which is the last."""
    out.print()
    out.print(Text(f"Rules: {place}.", style="dim"))
    out.print(Text(advice.last_word, style="dim"))


def print_clearing(clearing: Clearing, out: Console) -> None:
    """Print what a clear would lose, before anybody is asked."""
    section(out, "Clearing loses")
    for line in clearing_words(clearing):
        out.print(hanging("-", line))
    if any(clearing.codes.permanent.values()):
        out.print(hanging(" ", STAYS))
    print_list(out, "What speaks against it now", clearing.against, _MOST_NOTES)


def losses_words(losses: Losses) -> str:
    """Every loss that was counted, in one sentence; empty where there was none.

    Refusals are answers, and are told where they matter.
    """
    told = [f"{n} {words}" for key, words in _LOSSES.items() if (n := getattr(losses, key))]
    told += [f"{n} {what}" for what, n in losses.seen.items() if n]
    return f"Lost on the way: {', '.join(told)}." if told else ""


def print_losses(losses: Losses, notes: Sequence[str], out: Console) -> None:
    """Print what went wrong on the wire and what a controller keeps back."""
    told = losses_words(losses)
    print_list(out, "Mind", [*notes, *([told] if told else [])], _MOST_NOTES)
