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
from bellmouth.pages.card_words import ENGLISH, Words
from bellmouth.pages.clearing_words import STAYS, clearing_words
from bellmouth.pages.lists import hanging, section
from bellmouth.pages.teller import Teller
from bellmouth.pages.us_units import unit_of_reading
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
_KINDS = {
    "confirmed": "Confirmed codes",
    "pending": "Pending codes",
    "permanent": "Permanent codes",
}


def print_codes(
    controllers: Sequence[Controller],
    codes: Codes,
    frames: Sequence[FreezeFrame],
    identities: Sequence[Identity],
    out: Console,
    speak: Words = ENGLISH,
) -> None:
    """Print codes with their meanings, the freeze frame and who said it, by controller."""
    tell = Teller(out, speak)
    known = {identity.source: identity for identity in identities}
    for one in controllers:
        name = f" ({one.name})" if one.name else ""
        section(out, f"{_controller(one.address, tell)}{name}")
        _print_identity(known.get(one.address), tell)
        for kind, title in _KINDS.items():
            _print_kind(title, getattr(codes, kind).get(one.address), tell)
        for frame in frames:
            if frame.source == one.address:
                _print_frame(frame, tell)


def _controller(address: int, tell: Teller) -> str:
    return tell.filled("Controller {n}", n=f"{address:02X}")


def _print_identity(identity: Identity | None, tell: Teller) -> None:
    if identity is None:
        return
    numbers = [("VIN: {n}", identity.vehicle_number)] if identity.vehicle_number else []
    numbers += [("Calibration: {n}", one) for one in identity.calibrations]
    numbers += [("Calibration verification number: {n}", one) for one in identity.verifications]
    for sentence, number in numbers:
        tell.out.print(Text(tell.filled(sentence, n=number)))


def _print_kind(title: str, codes: tuple[str, ...] | None, tell: Teller) -> None:
    title = tell.say(title)
    if codes is None:
        silent = "{codes}: it does not answer this question."
        tell.out.print(Text(tell.filled(silent, codes=title)))
    elif not codes:
        tell.out.print(Text(tell.filled("{codes}: none.", codes=title)))
    else:
        tell.out.print(Text(f"{title}:", style="bold"))
        for code in codes:
            said = tell.say(meaning(code) or "not in our table; see the car's manual")
            tell.out.print(hanging(" ", f"{code}  {said}"))


def _print_frame(frame: FreezeFrame, tell: Teller) -> None:
    said = meaning(frame.code)
    title = tell.filled("Freeze frame, kept when {code} was set", code=frame.code)
    tell.out.print(Text(title, style="bold"))
    if said:
        tell.hanging(" ", said)
    table = Table.grid(padding=(0, 2))
    table.add_column(overflow="fold")
    table.add_column(justify="right")
    table.add_column()
    for name, value in frame.values.items():
        table.add_row(f"  {tell.say(spoken(name))}", *_told(name, value, tell))
    tell.out.print(table)


def _told(name: str, value: float | None, tell: Teller) -> tuple[str, str]:
    """A value and its unit, codes in words."""
    row = parameters.by_name(name)
    if value is None:
        return tell.say("not available"), ""
    if row.kind in {"flags", "choice"}:
        return tell.say(", ".join(parameters.meanings(name, value)) or "none"), ""
    # Four figures are finer than any of the standard's steps that a person reads.
    unit = unit_of_reading(name, row.unit)
    shown = tell.speak.scaled(value, unit)
    told = f"{shown:.4g}" if abs(shown) < 1000 else f"{shown:.0f}"
    return tell.say(told), "" if unit in {"code", "bits", "mask"} else tell.speak.unit(unit)


def print_monitors(
    monitors: Mapping[int, MonitorStatus], advice: Advice, out: Console, speak: Words = ENGLISH
) -> None:
    """Print go, wait or drive; what is missing and what completes it."""
    tell = Teller(out, speak)
    out.print()
    tell.line(_VERDICTS[advice.verdict], "bold")
    for reason in advice.why:
        tell.hanging("-", reason)
    for address, status in monitors.items():
        section(out, _controller(address, tell))
        for name, state in status.monitors.items():
            if state != "not supported":
                told = tell.say("complete" if state == "supported complete" else "INCOMPLETE")
                out.print(Text(f"  {tell.say(spoken(name))}: {told}"))
    if advice.missing:
        tell.section("What completes the missing ones")
        for one in advice.missing:
            out.print(hanging("-", f"{tell.say(spoken(one.monitor))}: {tell.say(one.how)}"))
        tell.hanging(
            "!",
            "Drive only where it is legal and safe: no pattern outranks limits, traffic or "
            "weather, and somebody else reads the screen. The car's own manual comes first.",
        )


def print_last_word(advice: Advice, place: str, out: Console, speak: Words = ENGLISH) -> None:
    """Print whose rules these are, and the law's word, which is the last."""
    tell = Teller(out, speak)
    out.print()
    tell.dim(f"Rules: {place}.")
    tell.dim(advice.last_word)


def print_clearing(clearing: Clearing, out: Console, speak: Words = ENGLISH) -> None:
    """Print what a clear would lose, before anybody is asked."""
    tell = Teller(out, speak)
    tell.section("Clearing loses")
    for line in clearing_words(clearing):
        tell.hanging("-", line)
    if any(clearing.codes.permanent.values()):
        tell.hanging(" ", STAYS)
    tell.list("What speaks against it now", clearing.against, _MOST_NOTES)


def losses_words(losses: Losses) -> str:
    """Every loss that was counted, in one sentence; empty where there was none.

    Refusals are answers, and are told where they matter.
    """
    told = [f"{n} {words}" for key, words in _LOSSES.items() if (n := getattr(losses, key))]
    told += [f"{n} {what}" for what, n in losses.seen.items() if n]
    return f"Lost on the way: {', '.join(told)}." if told else ""


def print_losses(
    losses: Losses, notes: Sequence[str], out: Console, speak: Words = ENGLISH
) -> None:
    """Print what went wrong on the wire and what a controller keeps back."""
    told = losses_words(losses)
    Teller(out, speak).list("Mind", [*notes, *([told] if told else [])], _MOST_NOTES)
