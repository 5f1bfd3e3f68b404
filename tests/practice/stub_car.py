"""A car that answers from a table, for tests of the wires."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from bellmouth.practice.answering import Reply

SPEED = bytes.fromhex("410C1AF8")
VEHICLE_NUMBER = bytes.fromhex("490201") + b"1G1JC5444R7252367"
CODES = bytes.fromhex("430401010171050703FF")

ANSWERS = {
    "0100": bytes.fromhex("4100BE1FA813"),
    "0101": bytes.fromhex("41018407E100"),  # four codes
    "010C": SPEED,
    "0902": VEHICLE_NUMBER,
    "03": CODES,
}


@dataclass
class StubNode:
    address: int
    answers: Mapping[str, bytes]
    after_s: float = 0.0
    pending: bool = False
    asked: list[bytes] = field(default_factory=list)

    def answer(self, payload: bytes, *, functional: bool) -> Sequence[Reply]:
        self.asked.append(payload)
        found = self.answers.get(payload.hex().upper())
        if found is None:
            return [] if functional else [Reply(bytes((0x7F, payload[0], 0x11)), self.after_s)]
        final = Reply(found, self.after_s)
        if self.pending:
            return [Reply(bytes((0x7F, payload[0], 0x78)), 0.0), final]
        return [final]


@dataclass
class StubCar:
    nodes: list[StubNode]
    awake: bool = True


def stub_car(**options: object) -> StubCar:
    """Engine and gearbox; the gearbox knows the engine speed alone."""
    engine = StubNode(0x10, ANSWERS, **options)  # type: ignore[arg-type]
    return StubCar([engine, StubNode(0x18, {"010C": bytes.fromhex("410C0AF0")})])
