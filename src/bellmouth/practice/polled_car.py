"""The live practice car on a clock that is moved by hand, asked by real diagnostic messages."""

from collections.abc import Sequence

from bellmouth.j1979.messages import (
    Data,
    Request,
    Service,
    decode_response,
    encode_request,
)
from bellmouth.j1979.parameters import by_name
from bellmouth.practice.ignition import Action
from bellmouth.practice.light_car import Poll
from bellmouth.practice.live import PracticeCar
from bellmouth.practice.mechanic import Seen
from bellmouth.practice.verdicts import Verdict

__all__ = ["PolledCar"]

_ASKED = (
    "accelerator_pedal_position_d",
    "engine_speed",
    "monitor_status",
    "control_module_voltage",
    "engine_coolant_temperature",
    "vehicle_speed",
)


class PolledCar:
    """As :class:`bellmouth.practice.light_car.LightCar`, with a whole engine inside.

    Parameters are those of :class:`bellmouth.practice.live.PracticeCar`.
    """

    def __init__(self, fault: str = "healthy", *, seed: int = 1, coolant_c: float = 85.0) -> None:
        self._time_s = 0.0
        self.car = PracticeCar(
            fault, seed=seed, coolant_c=coolant_c, gearbox=False, clock=lambda: self._time_s
        )
        self._question = encode_request(
            Request(Service.CURRENT_DATA, tuple(by_name(name).identifier for name in _ASKED))
        )

    @property
    def time_s(self) -> float:
        """Car time. [s]"""
        return self.car.time_s

    @property
    def verdicts(self) -> tuple[Verdict, ...]:
        """What its learning logic thought of every go."""
        return self.car.verdicts

    def follow(self, actions: Sequence[Action]) -> None:
        """Do all of this, each at its own car time."""
        self.car.follow(actions)

    def advance(self, to_s: float) -> None:
        """Move on up to a car time. [s]"""
        self._time_s = max(self._time_s, to_s)
        self.car.advance(to_s)

    def seen(self) -> Seen:
        """What somebody in the driver's seat sees and hears."""
        return self.car.seen()

    def poll(self) -> Poll:
        """What the engine's controller answers to one request for six parameters."""
        if not self.car.awake:
            return Poll(self.time_s, None)
        replies = self.car.nodes[0].answer(self._question, functional=False)
        answer = decode_response(replies[-1].payload) if replies else None
        if not isinstance(answer, Data):
            return Poll(self.time_s, None)
        values = answer.values()
        found = {name: value for name in _ASKED if (value := values.get(name)) is not None}
        return Poll(self.time_s, found)
