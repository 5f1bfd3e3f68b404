"""Guided capture: ask the car without a pause, keep every answer, say what to do next."""

import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from bellmouth.bus.first_answers import FirstAnswers, first_answers
from bellmouth.bus.gaps import Gaps
from bellmouth.bus.guide import RUNNING_RPM, Advice, Guide
from bellmouth.bus.journal import Journal
from bellmouth.bus.lost import lost
from bellmouth.bus.polling import Polling, present
from bellmouth.bus.slept import Slept
from bellmouth.car.description import Car
from bellmouth.errors import BusError, FindingError, RecordingError
from bellmouth.finding.find import find
from bellmouth.recording.series import Recording

if TYPE_CHECKING:
    from bellmouth.bus.client import Client
    from bellmouth.bus.link import Losses
    from bellmouth.bus.reports import Sample
    from bellmouth.finding.result import Finding

__all__ = ["Captured", "Progress", "record"]

# The recording is looked at this often, and at most this share of the time. [s]
LOOK_S = 2.0
LOOK_SHARE = 0.05
# Quiet for so long in a guided capture, the ignition is off for good and the capture ends. [s]
QUIET_S = 120.0
# An adapter that is gone is waited for so long, asked again after each pause. [s]
GONE_S = 30.0
PAUSE_S = 0.25
# So many of the readings that the causes hinge on are named.
_MOST_HASTENED = 4
# Parameters asked for before each of the opening's questions.
FIRST_LOOKS = 24


@dataclass(frozen=True)
class Progress:
    """How a capture stands: seconds since its start, samples, and what to do (guided only).

    ``engine_speed`` is the last reading [rpm], None where there is none; ``quiet`` whether the
    car has stopped answering, ``away`` whether the adapter is gone.
    """

    seconds: float
    samples: int
    engine_speed: float | None
    quiet: bool
    advice: Advice | None = None
    away: bool = False


@dataclass(frozen=True)
class Captured:
    """A capture that ended.

    Attributes
    ----------
    path, recording
        Where it is, and what it holds.
    opening
        What the car reported before.
    finding
        The finding, None where no car was described or the recording cannot be asked.
    notes
        What is worth knowing, whole sentences: rate, losses, ignition off, steps passed over.
    requests_per_s, samples_per_s
        Measured over the capture. [1/s]
    losses
        The client's, since it was opened.
    """

    path: Path
    recording: Recording
    opening: FirstAnswers
    finding: "Finding | None"
    notes: tuple[str, ...]
    requests_per_s: float
    samples_per_s: float
    losses: "Losses"


@dataclass
class _Run:
    """The loop's state."""

    client: "Client"
    controller: int
    polling: Polling
    journal: Journal
    guide: Guide | None
    clock: Callable[[], float]
    wait: Callable[[float], None]
    begun_s: float
    progress: Callable[[Progress], None] = lambda _: None
    requests: int = 0
    # Where the loop itself began: time, requests, samples. The opening's questions are not polling.
    from_s: float = 0.0
    from_requests: int = 0
    from_samples: int = 0
    strangers: int = 0
    next_look_s: float = 0.0
    advice: Advice | None = None
    speed: float | None = None
    answered_s: float = 0.0  # when something was read last
    gaps: Gaps = field(default_factory=Gaps)
    slept: Slept = field(default_factory=Slept)
    heard: Callable[[float, Mapping[str, float]], None] | None = None
    onward: tuple[int, ...] = ()  # what the last request was followed by at once
    ended: list[str] = field(default_factory=list)

    @property
    def now_s(self) -> float:
        """Since the beginning. [s]"""
        return self.clock() - self.begun_s

    @property
    def is_running(self) -> bool:
        """Whether the engine ran when its speed was read last."""
        return self.speed is not None and self.speed > RUNNING_RPM

    def tell(self) -> None:
        """How it stands, to whoever looks on."""
        gaps = self.gaps
        quiet = gaps.quiet_since_s is not None
        self.progress(
            Progress(self.now_s, self.journal.samples, self.speed, quiet, self.advice, gaps.is_away)
        )

    def adapter(self, is_away: bool) -> None:
        """The adapter went away, or is back."""
        was_away = self.gaps.is_away
        self.gaps.adapter(is_away=is_away, since_s=self.answered_s, now_s=self.now_s)
        if was_away != is_away:
            self.tell()

    def rates(self, end_s: float) -> tuple[float, float]:
        """Requests and values a second of the loop, which ended at ``end_s``. [1/s]"""
        seconds = max(end_s - self.from_s, 1e-9)
        requests = self.requests - self.from_requests
        return requests / seconds, (self.journal.samples - self.from_samples) / seconds


def record(
    client: "Client",
    path: str | Path,
    *,
    car: Car | None = None,
    complaint: str | None = None,
    seconds: float | None = None,
    controller: int | None = None,
    show_vin: bool = False,
    overwrite: bool = False,
    opened: Callable[[FirstAnswers], None] | None = None,
    progress: Callable[[Progress], None] | None = None,
    heard: Callable[[float, Mapping[str, float]], None] | None = None,
    clock: Callable[[], float] = time.monotonic,
    wait: Callable[[float], None] = time.sleep,
) -> Captured:
    """Capture what a finding needs, guided where a car is described and no time is given.

    Parameters
    ----------
    client
        The car.
    path
        Where to: ``.parquet`` or ``.csv``. Crash-safe (:class:`bellmouth.bus.journal.Journal`).
    car, complaint
        For the finding; without a car there is neither guidance nor finding.
    seconds
        Capture for so long after the opening's questions, which may take that long on a K line,
        without guidance. Without it, until the guide has enough, or ctrl-C. [s]
    controller
        Address of the controller to read; None for the engine's.
    show_vin
        Whether the identification number is shown in full.
    opened, progress
        Called with what the car reports first, and as the capture goes on.
    heard
        Called with every reading once it is on disk: its time since the beginning, and its values
        by parameter. Must return at once. [s]
    clock, wait
        Monotonic seconds, and how to let some pass (tests have their own).

    Raises
    ------
    BusError
        If there is no such controller, or nothing was recorded.
    RecordingError
        If the file is there already or cannot be written; what was recorded is kept.
    """
    address, supported = _controller(client, controller)
    polling = Polling(supported, client.most_parameters)
    if not polling.identifiers:
        raise BusError(
            f"Controller {address:02X} reports none of the parameters that a finding needs. "
            "Choose another with --controller."
        )
    journal = Journal(path, polling.names, overwrite=overwrite, clock=clock)
    try:
        guide = Guide(polling.names, car, complaint) if car and seconds is None else None
        journal.loads_off = guide is not None  # its steps ask for that
        run = _Run(
            client, address, polling, journal, guide, clock, wait, clock(),
            progress or (lambda _: None), heard=heard,
        )  # fmt: skip
        client.watch_adapter(run.adapter)
        # The engine may be started any moment, and then the key-on reading is gone: it is read
        # before and between the questions.
        report = first_answers(client, mask_vin=not show_vin, between=lambda: _first_looks(run))
        journal.of_car(report.of_car(address))
        if opened is not None:
            opened(report)
        run.from_s, run.from_requests = run.now_s, run.requests
        run.from_samples = journal.samples
        with suppress(KeyboardInterrupt):
            _loop(run, None if seconds is None else run.from_s + seconds)
        took = run.now_s
    except BaseException:
        # What went wrong first is what is said; what was recorded is on disk either way.
        with suppress(RecordingError):
            journal.close()
        raise
    finally:
        client.watch_adapter(None)
    journal.close()
    if not journal.samples:
        raise BusError("Nothing was recorded: the car did not answer. Is the ignition on?")
    requests_per_s, samples_per_s = run.rates(took)
    recording = journal.recording()
    finding, why = _found(recording, car, complaint)
    return Captured(
        path=journal.path,
        recording=recording,
        opening=report,
        finding=finding,
        notes=(*_notes(run, took), *why),
        requests_per_s=requests_per_s,
        samples_per_s=samples_per_s,
        losses=client.losses,
    )


def _controller(client: "Client", wanted: int | None) -> tuple[int, frozenset[int]]:
    known = {one.address: one.supported for one in client.controllers}
    if wanted is None:
        first = client.controllers[0]
        return first.address, first.supported
    if wanted not in known:
        listed = ", ".join(f"{address:02X}" for address in known)
        raise BusError(f"Controller {wanted:02X} does not answer; these do: {listed}.")
    return wanted, known[wanted]


def _loop(run: _Run, until_s: float | None) -> None:
    while True:
        now = run.now_s
        if until_s is not None and now >= until_s:
            return
        # Whatever takes longer than an answer is done with no answer on its way: its time would
        # be known less exactly.
        is_look, is_duty = now >= run.next_look_s, run.journal.has_duty
        try:
            _ask(run, onward=not (is_look or is_duty))
        except BusError as error:
            run.ended.append(f"The capture ended there: {error}")
            return
        if is_duty:
            run.journal.tend()
        if is_look:
            _look(run)
            run.tell()
        if run.guide is not None and run.guide.done:
            return
        quiet = run.gaps.quiet_since_s
        if until_s is None and quiet is not None and run.now_s - quiet > QUIET_S:
            return


def _first_looks(run: _Run) -> None:
    for _ in range(FIRST_LOOKS // run.client.most_parameters):
        _ask(run)
        run.journal.tend()


def _ask(run: _Run, *, onward: bool = False) -> None:
    """One request; its values are on disk when this returns, and the next may be on its way."""
    asked = run.onward or run.polling.next(run.now_s)
    run.onward = run.polling.next(run.now_s) if onward else ()
    asked_s = run.now_s
    sample = _sample(run, asked)
    if slept_s := run.slept.since_s():
        run.gaps.slept(run.answered_s, slept_s)
        run.begun_s -= slept_s  # what is read from here on was read so much later
        if run.guide is not None:
            run.guide.slept(slept_s)
    if sample.source is None:
        run.gaps.unanswered(asked_s)
    run.requests += 1
    run.polling.heard(asked, sample)
    _listen(run)
    if sample.source not in (None, run.controller):
        run.strangers += 1  # another controller's values have no place in these columns
        return
    values = {name: value for name, value in sample.values.items() if value is not None}
    if "engine_speed" in values:
        run.speed = values["engine_speed"]
        run.gaps.read_speed(runs=run.is_running)
    at_s = max(sample.time_s - run.begun_s, 0.0)
    if values and (woke := run.gaps.woke(run.answered_s, at_s, run.client.woken, run.begun_s)):
        run.journal.woke(*woke)
    run.answered_s = at_s if values else run.answered_s
    run.journal.add(at_s, values)
    if run.heard is not None and values:
        run.heard(at_s, values)


def _sample(run: _Run, asked: tuple[int, ...]) -> "Sample":
    """Ask; an adapter that was pulled out is waited for."""
    gone_s: float | None = None
    while True:
        try:
            sample = run.client.read(asked, run.controller, then=run.onward)
        except BusError:
            gone_s = run.now_s if gone_s is None else gone_s
            run.adapter(True)
            if run.now_s - gone_s > GONE_S:
                raise
            run.wait(PAUSE_S)
        else:
            run.adapter(False)
            return sample


def _listen(run: _Run) -> None:
    """Notice that the car went quiet, as with the ignition off, and when it answers again."""
    silence = run.client.silence
    if silence is None:
        run.gaps.answers(run.now_s)
    else:
        at_s = silence.time_s - run.begun_s
        run.gaps.fell_silent(run.now_s, at_s, silence.half_width_s, ran=run.is_running)


def _look(run: _Run) -> None:
    begun = run.now_s
    if run.guide is not None and run.journal.samples:
        standing = run.guide.standing
        run.advice = run.guide.look(run.journal.recording(), begun)
        if run.guide.standing:
            run.polling.engine_stands()
        elif standing:
            run.polling.engine_runs()
        if run.guide.view is not None:
            run.polling.weigh(present(run.guide.view.probability))
    run.next_look_s = run.now_s + max(LOOK_S, (run.now_s - begun) / LOOK_SHARE)


def _found(
    recording: Recording, car: Car | None, complaint: str | None
) -> "tuple[Finding | None, tuple[str, ...]]":
    if car is None:
        return None, ()
    try:
        return find(recording, car, complaint=complaint), ()
    except FindingError as error:
        return None, (str(error),)


def _notes(run: _Run, took_s: float) -> tuple[str, ...]:
    requests, values = run.rates(took_s)
    notes = [
        f"{run.journal.samples} values in {took_s:.0f} s: {requests:.1f} requests and "
        f"{values:.0f} values a second."
    ]
    notes += [*run.gaps.told(), *run.ended]
    if run.guide is not None:
        notes += [
            f"Step {name.replace('_', ' ')}: {how}."
            for name, how in run.guide.passed.items()
            if "passed over" in how or "not steady" in how
        ]
    hastened = run.polling.hastened if run.guide is not None and run.guide.view else ()
    if hastened:
        words = ", ".join(name.replace("_", " ") for name in hastened[:_MOST_HASTENED])
        notes.append(f"Asked most, as the causes still in play hinge on it: {words}.")
    if run.strangers:
        notes.append(f"{run.strangers} answers of other controllers were not recorded.")
    return (*notes, *lost(run.client.losses), *run.client.notes)
