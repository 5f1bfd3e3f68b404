"""Bus logs made of messages that are known, written by python-can's own writers."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import can

__all__ = ["FORMATS", "Bus"]

FORMATS = {"candump": ".log", "ASC": ".asc", "BLF": ".blf", "TRC": ".trc"}


@dataclass
class Bus:
    """A tester and controllers talking; ``messages`` is what a logger sees."""

    extended: bool = False
    padding: int = 0x55

    def __post_init__(self) -> None:
        self.messages: list[can.Message] = []
        self.time_s = 1_000_000_000.0

    def ask(self, payload: str, to: int | None = None) -> None:
        """A request, functional unless ``to`` names a controller."""
        if self.extended:
            identifier = 0x18DB33F1 if to is None else 0x18DA00F1 | to << 8
        else:
            identifier = 0x7DF if to is None else 0x7E0 + to - 0x10
        self._send(identifier, [self._single(bytes.fromhex(payload))])

    def say(self, payload: str, source: int = 0x10) -> None:
        """A reply, in as many frames as it needs, with its flow control."""
        identifier = 0x18DAF100 | source if self.extended else 0x7E8 + source - 0x10
        data = bytes.fromhex(payload)
        if len(data) < 8:
            self._send(identifier, [self._single(data)])
            return
        self._send(identifier, [bytes((0x10 | len(data) >> 8, len(data) & 0xFF)) + data[:6]])
        flow = 0x18DA00F1 | source << 8 if self.extended else 0x7E0 + source - 0x10
        self._send(flow, [bytes((0x30, 0, 0)).ljust(8, bytes((self.padding,)))])
        parts = [data[at : at + 7] for at in range(6, len(data), 7)]
        self._send(
            identifier,
            [
                (bytes((0x20 | (number + 1) % 16,)) + part).ljust(8, bytes((self.padding,)))
                for number, part in enumerate(parts)
            ],
        )

    def other(self, identifier: int = 0x123, data: bytes = b"\x10\x0f\x41\x0c\x1a\xf8\0\0") -> None:
        """Traffic that is none of ours."""
        self._send(identifier, [data], extended=False)

    def _single(self, data: bytes) -> bytes:
        return (bytes((len(data),)) + data).ljust(8, bytes((self.padding,)))

    def _send(
        self, identifier: int, frames: Iterable[bytes], *, extended: bool | None = None
    ) -> None:
        for data in frames:
            self.messages.append(
                can.Message(
                    timestamp=self.time_s,
                    arbitration_id=identifier,
                    is_extended_id=self.extended if extended is None else extended,
                    data=data,
                    channel=0,
                    check=True,
                )
            )
            self.time_s += 0.002

    def write(self, path: Path, messages: Sequence[can.Message] | None = None) -> Path:
        """Write the log in the format of the ending."""
        with can.Logger(path) as log:
            for message in self.messages if messages is None else messages:
                log.on_message_received(message)
        return path
