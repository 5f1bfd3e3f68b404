"""The other end of an in-process CAN bus, frame by frame as a test writes it."""

import itertools
import threading
import time
from collections.abc import Callable, Sequence
from types import TracebackType
from typing import Self

import can

__all__ = ["Peer", "hexed"]

Script = Callable[[int, bytes], Sequence[tuple[float, int, str]]]
_NUMBER = itertools.count()
_PATIENCE_S = 10.0


def hexed(text: str) -> bytes:
    """Bytes from hexadecimal text."""
    return bytes.fromhex(text)


class Peer:
    """Answers frames: ``script(identifier, data)`` gives (seconds later, identifier, hex)."""

    def __init__(self, script: Script) -> None:
        self.channel = f"peer-{next(_NUMBER)}"
        self.heard: list[tuple[int, bytes]] = []
        self._script = script
        self._bus = can.Bus(interface="virtual", channel=self.channel, ignore_config=True)
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def say(self, identifier: int, text: str) -> None:
        """Put one frame on the bus."""
        extended = identifier > 0x7FF
        self.put(can.Message(arbitration_id=identifier, data=hexed(text), is_extended_id=extended))

    def put(self, message: can.Message) -> None:
        """Put any message on the bus."""
        self._bus.send(message)

    def after(self, frames: int) -> list[bytes]:
        """Data of what it has heard, once that many frames are in: its thread may be late."""
        until = time.monotonic() + _PATIENCE_S
        while len(self.heard) < frames and time.monotonic() < until:
            time.sleep(0.001)
        return [data for _, data in self.heard]

    def _run(self) -> None:
        while not self._stop.is_set():
            message = self._bus.recv(0.02)
            if message is None:
                continue
            self.heard.append((message.arbitration_id, bytes(message.data)))
            for wait_s, identifier, text in self._script(*self.heard[-1]):
                time.sleep(wait_s)
                self.say(identifier, text)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._stop.set()
        self._thread.join()
        self._bus.shutdown()
