"""A small car that answers on any wire, whose every value can be checked.

Each value of service 01 encodes a counter of the car's state: ``truth(identifier, number)`` are
the data bytes at count ``number``. The count moves with the requests the car hears, so a value
tells at which it was made, and a belated one gives itself away.
"""

import time
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field

from bellmouth.j1979 import parameters
from bellmouth.practice.answering import Node, Reply

__all__ = ["ENGINE_PARAMETERS", "StubCar", "StubNode", "truth"]

ENGINE_PARAMETERS = (0x01, 0x04, 0x05, 0x06, 0x07, 0x0B, 0x0C, 0x0D, 0x0F, 0x10, 0x11, 0x33, 0x42)
STATUS = b"\x00\x07\x65\x04"  # one monitor of several is incomplete: evaporative
VIN = b"00PBELLM0AP000001"
INFORMATION = {
    b"\x09\x00": b"\x49\x00\x55\x40\x00\x00",  # items 02, 04, 06, 08, 0A
    b"\x09\x02": b"\x49\x02\x01" + VIN,
    b"\x09\x04": b"\x49\x04\x01" + b"STUB-1".ljust(16, b"\0"),
    b"\x09\x06": b"\x49\x06\x01\xde\xad\xbe\xef",
    b"\x09\x0a": b"\x49\x0a\x01" + b"ECM\0-EngineControl".ljust(20, b"\0"),
}


def truth(identifier: int, number: int) -> bytes:
    """Data bytes of a parameter at a count: both can be read off them."""
    size = parameters.byte_count(identifier)
    return bytes((identifier * 7 + number * 5 + 31 * place) % 256 for place in range(size))


@dataclass
class StubNode:
    """One controller.

    ``fixed`` holds replies (whole payloads) by request; ``most`` parameters are taken in one
    request, more are refused with ``too_many`` or, where that is None, met with silence.
    ``refuses`` are claimed and refused, ``skips`` claimed and left out of answers in company.
    """

    address: int = 0x10
    parameters: Collection[int] = ENGINE_PARAMETERS
    fixed: dict[bytes, Sequence[bytes]] = field(default_factory=dict)
    values: Mapping[int, bytes] = field(default_factory=lambda: {0x01: STATUS})
    latency_s: float = 0.001
    most: int = 6
    too_many: int | None = 0x13
    refuses: Collection[int] = ()
    skips: Collection[int] = ()
    backwards: bool = False
    moves_every: int = 1
    heard: list[bytes] = field(default_factory=list)
    made: dict[int, list[tuple[float, int]]] = field(default_factory=dict)
    number: int = 0
    asked: int = 0

    def answer(self, payload: bytes, *, functional: bool) -> Sequence[Reply]:
        self.heard.append(payload)
        replies = self.fixed.get(payload)
        if replies is None:
            made = self._make(payload)
            replies = [made] if made else []
        if functional:
            replies = [one for one in replies if one[:1] != b"\x7f" or one[2:] == b"\x78"]
        return [Reply(one, self.latency_s * (1 + n)) for n, one in enumerate(replies)]

    def _make(self, payload: bytes) -> bytes | None:
        service = payload[0]
        if service == 0x01:
            return self._current(payload[1:])
        if service in (0x03, 0x07, 0x0A):
            return bytes((service + 0x40, 0))
        if service == 0x04:
            return b"\x44"
        return INFORMATION.get(payload, bytes((0x7F, service, 0x12)))

    def _current(self, asked: bytes) -> bytes | None:
        if len(asked) > self.most:
            return None if self.too_many is None else bytes((0x7F, 0x01, self.too_many))
        if not all(one % 0x20 == 0 for one in asked):
            self.asked += 1
            self.number = self.asked // self.moves_every
        parts = []
        for one in asked:
            if one % 0x20 == 0:
                if one <= max(self.parameters, default=0):
                    parts.append(
                        bytes((one,)) + parameters.encode_supported(one, tuple(self.parameters))
                    )
            elif one in self.parameters and one not in self._kept_back(asked):
                parts.append(bytes((one,)) + self.data(one))
        if not parts:
            return bytes((0x7F, 0x01, 0x12))
        return b"\x41" + b"".join(parts[::-1] if self.backwards else parts)

    def _kept_back(self, asked: bytes) -> set[int]:
        return {*self.refuses, *(self.skips if len(asked) > 1 else ())}

    def data(self, identifier: int) -> bytes:
        """Data bytes as they are now; remembers when they were made."""
        if identifier in self.values:
            return self.values[identifier]
        self.made.setdefault(identifier, []).append((time.monotonic(), self.number))
        return truth(identifier, self.number)


@dataclass
class StubCar:
    """Some controllers behind one plug."""

    nodes: Sequence[Node] = field(default_factory=lambda: [StubNode()])
    awake: bool = True
