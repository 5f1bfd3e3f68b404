"""A capture on the terminal: what the car reports, what to do next, how far it has got."""

import sys
from types import TracebackType
from typing import TYPE_CHECKING, Self

import click

from bellmouth.pages.lists import celsius
from bellmouth.pages.words import spoken

if TYPE_CHECKING:
    from rich.live import Live

    from bellmouth.bus.capture import Captured, Progress
    from bellmouth.bus.first_answers import FirstAnswers
    from bellmouth.bus.guide import Advice, Step

__all__ = ["CapturingScreen", "opening_lines"]

_PLAIN_EVERY_S = 10.0
_AWAY = "The adapter went away: plug it in again. It is waited for; what was read is kept."


def opening_lines(report: "FirstAnswers") -> list[str]:
    """What the car reported, a sentence each."""
    lines = [f"Talking to the car: {report.description}."]
    for one in report.identity:
        told = [f"calibration {name}" for name in one.calibrations]
        told += [f"verification {number}" for number in one.verifications]
        if one.vehicle_number:
            told.insert(0, f"VIN {one.vehicle_number}")
        lines.append(f"Controller {one.source:02X} {one.name or ''}".rstrip() + _listed(told))
    kinds = {
        "confirmed": report.codes.confirmed,
        "pending": report.codes.pending,
        "permanent": report.codes.permanent,
    }
    told = [
        f"{kind} {', '.join(codes)}" for kind, by in kinds.items() for codes in by.values() if codes
    ]
    if "codes" not in report.untold:
        lines.append("Trouble codes" + (_listed(told) if told else ": none."))
    for frame in report.freeze_frames:
        read = [_reading(name, value) for name, value in frame.values.items() if value is not None]
        told = [one for one in read if one]
        lines.append(f"Freeze frame of {frame.code}" + _listed(told))
    for source, status in report.monitors.items():
        open_ = [name for name, state in status.monitors.items() if state == "supported incomplete"]
        ready = "all complete" if status.ready else f"incomplete: {', '.join(map(spoken, open_))}"
        lamp = "on" if status.lamp_on else "off"
        lines.append(f"Controller {source:02X}: lamp {lamp}, monitors {ready}.")
    lines += [f"The car did not tell its {what}: {why}" for what, why in report.untold.items()]
    return lines


def _reading(name: str, value: float) -> str | None:
    """A value in words; None where it says nothing (a bank that this engine has not got)."""
    from bellmouth.j1979.parameters import meanings, unit_of  # noqa: PLC0415 - --help stays quick

    unit = unit_of(name)
    words = name.replace("_", " ")
    if unit in ("code", "bits", "mask"):
        said = ", ".join(meanings(name, value))
        return f"{words} {said}" if said else None
    return f"{words} {value:.4g} {unit}"


def _listed(told: list[str]) -> str:
    return f": {'; '.join(told)}." if told else "."


class CapturingScreen:
    """Prints what happens; one live line where there is a terminal, plain lines elsewhere."""

    def __init__(self) -> None:
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
        for line in opening_lines(report):
            self._say(line)
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
        line = f"{now.seconds:5.0f} s  {now.samples:6d} values"
        if now.engine_speed is not None:
            line += f"  {now.engine_speed:5.0f} rpm"
        if advice is not None and advice.step is not None:
            line += f"  {_words(advice.step.name)} {_bar(advice.share)} {advice.hint}"
        if self._live is not None:
            self._live.update(line)
        elif now.seconds - self._told_s >= _PLAIN_EVERY_S:
            self._told_s = now.seconds
            self._say(line)

    def captured(self, result: "Captured") -> None:
        """How it ended."""
        names = len(result.recording.series)
        self._say(f"{result.path}: {names} parameters.")
        for note in result.notes:
            self._say(f"- {note}")

    def _advise(self, advice: "Advice") -> None:
        """What is done, and what is wanted now where that has changed."""
        for name in [one for one in advice.passed if one not in self._passed]:
            self._passed.add(name)
            how = advice.passed[name].partition(";")[0]
            done = "Done" if "passed over" not in how else "Not done"
            self._say(f"{done}: {_words(name)} ({how}).")
        step = advice.step
        if step is not None and step.name != self._step:
            self._step = step.name
            self._tell(step, advice.number, advice.of)

    def _tell(self, step: "Step", number: int, of: int) -> None:
        why = "" if step.name in self._steps else f" {step.why}"  # once is enough
        self._steps.add(step.name)
        self._say(f"\n[{number} of {of}] {step.do}{why}")
        if step.caution and step.caution not in self._cautions:
            self._cautions.add(step.caution)
            self._say(f"! Caution: {step.caution}")

    def _say(self, line: str) -> None:
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
