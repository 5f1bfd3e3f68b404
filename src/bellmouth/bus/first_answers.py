"""What a car reports before anything is recorded: codes, readiness, freeze frames, identity."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, TypeVar

from bellmouth.bus.reports import Codes, FreezeFrame, Identity
from bellmouth.errors import BusError
from bellmouth.recording.of_car import OfCar

if TYPE_CHECKING:
    from bellmouth.bus.client import Client
    from bellmouth.j1979.codes import MonitorStatus

__all__ = ["FirstAnswers", "first_answers"]

_Told = TypeVar("_Told")


@dataclass(frozen=True)
class FirstAnswers:
    """What the car reported; ``untold`` names what it could not be asked, and why."""

    description: str
    codes: Codes
    freeze_frames: tuple[FreezeFrame, ...]
    monitors: "Mapping[int, MonitorStatus]"
    identity: tuple[Identity, ...]
    untold: Mapping[str, str] = field(default_factory=dict)

    def of_car(self, controller: int) -> OfCar:
        """Which car a recording of one of its controllers is of; the number is the car's,
        whichever of them told it."""
        marks = [one.mark for one in self.identity if one.mark]
        own = [one for one in self.identity if one.source == controller]
        return OfCar(
            marks[0] if marks else "",
            tuple(name for one in own for name in one.calibrations),
            tuple(number for one in own for number in one.verifications),
        )


def first_answers(
    client: "Client", *, mask_vin: bool = True, between: Callable[[], None] = lambda: None
) -> FirstAnswers:
    """Ask for all of it; what fails is said and does not keep the capture from beginning.

    ``between`` is called before each of the questions, which may take a second or two.
    """
    untold: dict[str, str] = {}

    def told(what: str, ask: Callable[[], _Told], nothing: _Told) -> _Told:
        between()
        try:
            return ask()
        except BusError as error:
            untold[what] = str(error)
            return nothing

    return FirstAnswers(
        description=client.description,
        codes=told("codes", client.codes, Codes()),
        freeze_frames=told("freeze frames", client.freeze_frames, ()),
        monitors=told("monitors", client.monitors, {}),
        identity=told("identity", lambda: client.identity(mask_vin=mask_vin), ()),
        untold=untold,
    )
