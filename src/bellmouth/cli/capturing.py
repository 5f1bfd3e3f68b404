"""A capture on the terminal: what the car reports, what to do next, how far it has got."""

import sys
from types import TracebackType
from typing import TYPE_CHECKING, Self

import click

from bellmouth.pages.card_words import ENGLISH, Words
from bellmouth.pages.lists import celsius
from bellmouth.pages.us_units import unit_of_reading
from bellmouth.pages.words import spoken

if TYPE_CHECKING:
    from rich.live import Live

    from bellmouth.bus.capture import Captured, Progress
    from bellmouth.bus.first_answers import FirstAnswers
    from bellmouth.bus.guide import Advice, Step
    from bellmouth.bus.reports import Codes, Identity
    from bellmouth.j1979.codes import MonitorStatus

__all__ = ["CapturingScreen", "opening_lines"]

_PLAIN_EVERY_S = 10.0
_AWAY = "The adapter went away: plug it in again. It is waited for; what was read is kept."


def opening_lines(report: "FirstAnswers", speak: Words = ENGLISH) -> list[str]:
    """What the car reported, a sentence each."""
    lines = [speak.told(f"Talking to the car: {report.description}.")]
    lines += [_identity(one, speak) for one in report.identity]
    if "codes" not in report.untold:
        lines.append(_codes(report.codes, speak))
    for frame in report.freeze_frames:
        read = [
            _reading(name, value, speak)
            for name, value in frame.values.items()
            if value is not None
        ]
        title = speak.text("Freeze frame of {code}").format(code=frame.code)
        lines.append(title + _listed([one for one in read if one]))
    lines += [_ready(source, status, speak) for source, status in report.monitors.items()]
    untold = report.untold.items()
    lines += [speak.told(f"The car did not tell its {what}: {why}") for what, why in untold]
    return lines


def _controller(address: int, speak: Words) -> str:
    return speak.text("Controller {n}").format(n=f"{address:02X}")


def _identity(one: "Identity", speak: Words) -> str:
    """Who a controller is; names and numbers stay what they are."""
    calibration, verification = speak.text("calibration {n}"), speak.text("verification {n}")
    told = [speak.text("VIN {n}").format(n=one.vehicle_number)] if one.vehicle_number else []
    told += [calibration.format(n=name) for name in one.calibrations]
    told += [verification.format(n=number) for number in one.verifications]
    return f"{_controller(one.source, speak)} {one.name or ''}".rstrip() + _listed(told)


def _codes(codes: "Codes", speak: Words) -> str:
    kinds = (
        ("confirmed {codes}", codes.confirmed),
        ("pending {codes}", codes.pending),
        ("permanent {codes}", codes.permanent),
    )
    told = [
        speak.text(words).format(codes=", ".join(found))
        for words, by in kinds
        for found in by.values()
        if found
    ]
    if not told:
        return speak.text("Trouble codes: none.")
    return speak.text("Trouble codes") + _listed(told)


def _ready(source: int, status: "MonitorStatus", speak: Words) -> str:
    """Lamp and monitors of a controller."""
    missing = [
        speak.told(spoken(name))
        for name, state in status.monitors.items()
        if state == "supported incomplete"
    ]
    ready = speak.text("all complete")
    if not status.ready:
        ready = speak.text("incomplete: {names}").format(names=", ".join(missing))
    lamp = speak.text(
        "lamp on, monitors {ready}" if status.lamp_on else "lamp off, monitors {ready}"
    )
    return f"{_controller(source, speak)}: {lamp.format(ready=ready)}."


def _reading(name: str, value: float, speak: Words) -> str | None:
    """A value in words; None where it says nothing (a bank that this engine has not got)."""
    from bellmouth.j1979.parameters import meanings, unit_of  # noqa: PLC0415 - --help stays quick

    unit = unit_of(name)
    words = speak.told(name.replace("_", " "))
    if unit in ("code", "bits", "mask"):
        said = speak.told(", ".join(meanings(name, value)))
        return f"{words} {said}" if said else None
    unit = unit_of_reading(name, unit)
    shown = speak.scaled(value, unit)
    told = f"{shown:.4g}" if abs(shown) < 1000 else f"{shown:.0f}"
    return f"{words} {speak.told(told)} {speak.unit(unit)}".rstrip()


def _listed(told: list[str]) -> str:
    return f": {'; '.join(told)}." if told else "."


class CapturingScreen:
    """Prints what happens; one live line where there is a terminal, plain lines elsewhere."""

    def __init__(self, speak: Words = ENGLISH) -> None:
        self._speak = speak
        self._live: Live | None = None
        self._steps: set[str] = set()
        self._step = ""
        self._passed: set[str] = set()
        self._told_s = -_PLAIN_EVERY_S
        self._cautions: set[str] = set()
        self._quiet = self._away = False

    def __enter__(self) -> Self:
        if sys.stderr.isatty():
            from rich.console import Console  # noqa: PLC0415 - only a terminal shows it
            from rich.live import Live  # noqa: PLC0415

            console = Console(stderr=True, highlight=False, markup=False, emoji=False)
            self._live = Live("", console=console, transient=True, refresh_per_second=4)
            self._live.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        if self._live is not None:
            self._live.stop()

    def opened(self, report: "FirstAnswers") -> None:
        """What the car reported."""
        for line in opening_lines(report, self._speak):
            self._print(line)
        self._say("Recording. Ctrl-C ends it; everything until then is kept.")

    def progress(self, now: "Progress") -> None:
        """How it stands."""
        if now.quiet != self._quiet:
            self._quiet = now.quiet
            self._say("The car went quiet." if now.quiet else "The car answers again.")
        if now.away != self._away:
            self._away = now.away
            self._say(_AWAY if now.away else "The adapter is back.")
        advice = now.advice
        if advice is not None:
            self._advise(advice)
        line = self._standing(now)
        if self._live is not None:
            self._live.update(line)
        elif now.seconds - self._told_s >= _PLAIN_EVERY_S:
            self._told_s = now.seconds
            self._print(line)

    def _standing(self, now: "Progress") -> str:
        """How far it has got, in one line whose figures stay where they are."""
        say, advice = self._speak.told, now.advice
        line = f"{now.seconds:5.0f} s  {now.samples:6d} {say('values')}"
        if now.engine_speed is not None:
            line += f"  {now.engine_speed:5.0f} {self._speak.unit('rpm')}"
        if advice is not None and advice.step is not None:
            line += f"  {say(_words(advice.step.name))} {_bar(advice.share)} {say(advice.hint)}"
        return line

    def captured(self, result: "Captured") -> None:
        """How it ended."""
        names = len(result.recording.series)
        held = self._speak.text("{path}: {count} parameters.")
        self._print(held.format(path=result.path, count=names))
        for note in result.notes:
            self._print(f"- {self._speak.told(note)}")

    def _advise(self, advice: "Advice") -> None:
        """What is done, and what is wanted now where that has changed."""
        for name in [one for one in advice.passed if one not in self._passed]:
            self._passed.add(name)
            how = advice.passed[name].partition(";")[0]
            done = "Done" if "passed over" not in how else "Not done"
            say = self._speak.told
            self._print(f"{say(done)}: {say(_words(name))} ({say(how)}).")
        step = advice.step
        if step is not None and step.name != self._step:
            self._step = step.name
            self._tell(step, advice.number, advice.of)

    def _tell(self, step: "Step", number: int, of: int) -> None:
        say = self._speak.told
        why = "" if step.name in self._steps else f" {say(step.why)}"  # once is enough
        self._steps.add(step.name)
        self._print(f"\n[{number}/{of}] {say(step.do)}{why}")
        if step.caution and step.caution not in self._cautions:
            self._cautions.add(step.caution)
            self._print(f"! {say(f'Caution: {step.caution}')}")

    def _say(self, sentence: str) -> None:
        """An English sentence, told as the reader's."""
        self._print(self._speak.told(sentence))

    def _print(self, line: str) -> None:
        """A line that stays; on stderr, so that --json may have stdout for itself."""
        line = celsius(line)
        if self._live is not None:
            self._live.console.print(line)
        else:
            click.echo(line, err=True)


def _words(name: str) -> str:
    return name.replace("_", " ")


def _bar(share: float, width: int = 12) -> str:
    filled = round(share * width)
    return f"[{'#' * filled}{'.' * (width - filled)}]"
