"""A capture that runs while a page looks on: one a car, however many look.

The capture itself is :func:`bellmouth.bus.capture.record` in a thread of its own. It writes to a
file of the book's folder from its first second on, so a server that is killed loses at most one
second, and what it left is offered when the page is opened again.
"""

import threading
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, get_args

from bellmouth.car.description import Car
from bellmouth.errors import BellmouthError
from bellmouth.j1979.parameters import unit_of
from bellmouth.pages.card_catalogue import LANGUAGES
from bellmouth.pages.card_words import Units, Words
from bellmouth.pages.site.traces import Traces

if TYPE_CHECKING:
    from bellmouth.bus.capture import Captured, Progress
    from bellmouth.bus.client import Client
    from bellmouth.bus.first_answers import FirstAnswers

__all__ = ["Adapter", "Live", "Practice", "State", "told"]

#: Whoever hears the plate says so within this: common practice, no source. [s], car time
_ANSWERS_S = 2.0
#: An engine that is switched off stands after this at the latest. [s]
_SETTLES_S = 8.0


@dataclass(frozen=True)
class Adapter:
    """How a car is reached, in python-can's words; ``kline`` is a serial K line."""

    interface: str
    channel: str | None
    bitrate: int | None = None


@dataclass(frozen=True)
class State:
    """How a capture stands, as the page shows it.

    ``phase`` is opening, running, ended or failed; ``advice`` what to do now; ``values`` the
    newest reading of each parameter.
    """

    number: int
    phase: str
    seconds: float = 0.0
    samples: int = 0
    quiet: bool = False
    advice: dict[str, Any] | None = None
    values: dict[str, float] = field(default_factory=dict)
    units: dict[str, str] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    trouble: str = ""


class Practice:
    """A practice car on a wire of its own, one tap away."""

    def __init__(
        self, fault: str, seed: int, speed: float = 1.0, variant: str = "A",
        state_file: Path | None = None, sizes: Sequence[float] | None = None,
    ) -> None:  # fmt: skip
        from bellmouth.practice.live import PracticeCar  # noqa: PLC0415 - only a practice needs it
        from bellmouth.practice.wires import WireChoice, serve  # noqa: PLC0415

        self.made: dict[str, Any] = {
            "fault": fault, "seed": seed, "speed": speed, "variant": variant, "sizes": sizes,
        }  # fmt: skip
        self.works: list[str] = []
        self.own_foot = False
        self._stack = ExitStack()
        self.car: PracticeCar = PracticeCar(
            fault,
            _one_or_more(sizes),
            seed=seed,
            variant=variant,
            speed=speed,
            state_file=state_file,
        )
        self._stack.callback(self.car.close)
        self._stack.enter_context(self.car.keep_up())
        self._wire = serve(self.car, WireChoice())
        self._stack.callback(self._wire.close)

    @property
    def adapter(self) -> Adapter:
        """How it is reached."""
        return Adapter(self._wire.interface, self._wire.channel)

    def sit_down(self) -> None:
        """The person at the page takes the seat: engine stopped, key on, nobody else's foot."""
        self.car.driver = None
        for control, value in (("hold_rpm", 0.0), ("pedal_pct", 0.0), ("key", 0.0)):
            self.car.do(control, value)
        self._wait(lambda: self.car.seen().speed_rpm <= 0.0)
        self.car.do("key", 2.0)
        self._wait(lambda: self.car.awake)

    def key_on(self) -> None:
        """The key on where it is off; an engine that runs goes on running."""
        if self.car.seen().speed_rpm <= 0.0:
            self.car.driver = None
            self.car.do("key", 2.0)
            self._wait(lambda: self.car.awake)

    def obey(self, rpm: float) -> None:
        """Hold the speed that the page asks for, unless the person at the page took over. [rpm]"""
        if not self.own_foot and self.car.driver is not None:
            self.car.ask(rpm)

    def tells(self, event: str) -> bool | None:
        """Whether it is so that an event has come, of which a person's tap tells.

        Only an ear hears the plate; of all else the signals tell, and a tap tells nothing: None.
        """
        if event != "plate_moves":
            return None
        return self.car.plate_heard_ago_s <= _ANSWERS_S

    def hand_over(self) -> None:
        """A mechanic takes the seat, with the key on and the engine stopped."""
        from bellmouth.practice.mechanic import Mechanic  # noqa: PLC0415 - only a practice needs it

        self.sit_down()
        self.own_foot = False
        self.car.driver = Mechanic()

    @staticmethod
    def _wait(come: Callable[[], bool]) -> None:
        until = time.monotonic() + _SETTLES_S
        while not come() and time.monotonic() < until:
            time.sleep(0.05)

    def mend(self, works: Sequence[str]) -> None:
        """Do work on it: the fault that it heals is gone, what was learned stays."""
        self.works += works
        self.car.mend(works)

    def close(self) -> None:
        """Take it off its wire."""
        self._stack.close()


def _one_or_more(sizes: Sequence[float] | None) -> float | Sequence[float] | None:
    """As a practice car takes them."""
    return sizes[0] if sizes is not None and len(sizes) == 1 else sizes


class Live:
    """One capture; ``close`` ends it and keeps what it has.

    ``obey`` is told the speed that is asked for, 0 for idle: a practice car's mechanic does it.
    """

    def __init__(
        self, adapter: Adapter, path: Path, car: Car, complaint: str | None,
        seconds: float | None, obey: Callable[[float], None] = lambda _: None,
        controller: int | None = None,
    ) -> None:  # fmt: skip
        self.traces = Traces()
        self._obey = obey
        self._controller = controller
        self.path = path
        #: Held by whoever ends it and takes it into the book.
        self.ending = threading.Lock()
        self.car = car
        self.captured: Captured | None = None
        self._adapter, self._complaint, self._seconds = adapter, complaint, seconds
        self._client: Client | None = None
        self._told = threading.Lock()
        self._state = State(0, "opening")
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._work, name="capture", daemon=True)
        self._thread.start()

    @property
    def state(self) -> State:
        """How it stands now."""
        with self._told:
            return self._state

    def close(self) -> None:
        """End the capture; what it has is on disk."""
        self._stopping.set()
        self._thread.join(timeout=30.0)

    def _tell(self, **changed: Any) -> None:
        with self._told:
            old = {name: getattr(self._state, name) for name in State.__dataclass_fields__}
            self._state = State(**{**old, **changed, "number": self._state.number + 1})
            over = self._state.phase in {"ended", "failed"}
            self.traces.tell(told(self._state), over=over)

    def _work(self) -> None:
        from bellmouth.bus.capture import record  # noqa: PLC0415 - loads the finding
        from bellmouth.bus.opening import open_client  # noqa: PLC0415

        adapter = self._adapter
        # The words are loaded now: once the car is asked, nothing may hold the capture up.
        _said(State(0, "opening", trouble="Nothing was recorded."))
        try:
            with open_client(adapter.interface, adapter.channel, adapter.bitrate) as client:
                self._client = client
                self.captured = record(
                    client, self.path, car=self.car, complaint=self._complaint,
                    seconds=self._seconds, controller=self._controller, opened=self._opened,
                    progress=self._progress, heard=self._heard,
                )  # fmt: skip
            self._tell(phase="ended", notes=self.captured.notes, advice=None)
        except BellmouthError as error:
            self._tell(phase="failed", trouble=str(error))
        except OSError as error:
            reason = (error.strerror or str(error)).lower()
            self._tell(
                phase="failed",
                trouble=f"The disk refused ({reason}). What was recorded until then is kept.",
            )
        except KeyboardInterrupt:
            # Ended while the car was still being asked what it is: what was read is on disk.
            self._tell(phase="ended", advice=None)

    def _opened(self, opening: "FirstAnswers") -> None:
        del opening
        self._tell(phase="running")
        self._look()

    def _heard(self, at_s: float, values: Mapping[str, float]) -> None:
        # It is on disk already, so it is shown, even where it is the last.
        self.traces.heard(at_s, values)
        # Asked for here, because a car that is asked without a pause is looked at far less often.
        self._look()

    def _progress(self, progress: "Progress") -> None:
        self._look()
        advice = progress.advice
        if advice is not None and advice.step is not None:
            self._obey(advice.step.speed_rpm or 0.0)
        self._tell(
            phase="running",
            seconds=progress.seconds,
            samples=progress.samples,
            quiet=progress.quiet,
            values=dict(self.traces.newest),
            units={name: unit_of(name) for name in self.traces.newest},
            advice=None if advice is None else _plain(asdict(advice)),
        )

    def _look(self) -> None:
        if self._stopping.is_set():
            raise KeyboardInterrupt


def told(state: State) -> dict[str, Any]:
    """A state as its viewers are sent it, with its sentences in their languages and units."""
    return {**asdict(state), "said": _said(state)}


def _said(state: State) -> dict[str, dict[str, str]]:
    """A state's sentences in every language and units: its viewers share what is sent."""
    advice = state.advice or {}
    step = advice.get("step") or {}
    texts = {
        "do": step.get("do", ""), "caution": step.get("caution", ""),
        "hint": advice.get("hint", ""), "trouble": state.trouble, "notes": " ".join(state.notes),
    }  # fmt: skip
    return {
        f"{language}/{units}": {
            name: Words(language, units).told(text) for name, text in texts.items()
        }
        for language in LANGUAGES
        for units in get_args(Units)
    }


def _plain(told: dict[str, Any]) -> dict[str, Any]:
    """Without what JSON does not have."""
    return {
        name: None if isinstance(value, float) and value != value else value  # noqa: PLR0124
        for name, value in told.items()
    }
