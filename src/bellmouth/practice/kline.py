"""A practice car on a K line, on a pseudo-terminal: what a serial K-line adapter would carry.

The line is one wire, so whatever the tester sends comes back to it as an echo, which can be left
out as some adapters do. What a pseudo-terminal cannot carry stands in
:mod:`bellmouth.practice.kline_car`.
"""

import time

from bellmouth.j1979.iso14230 import TIMING, KeyBytes, Timing
from bellmouth.practice.answering import Answering
from bellmouth.practice.faulty import Disturbance, Passage
from bellmouth.practice.kline_car import KLineCar, Start
from bellmouth.practice.serving import Serving, Terminal, read_some, write_some

__all__ = ["KLineServer"]

_MOST_WAITING_BYTES = 4096


class KLineServer(Serving):
    """Serves a car on a pseudo-terminal until closed; also a context manager.

    Parameters
    ----------
    car
        What answers.
    echo
        Whether the tester hears what it sends.
    disturbance
        How bad the line is for replies; None for a good one.
    keys, starts, timing
        See ``KLineCar``.
    """

    def __init__(
        self,
        car: Answering,
        *,
        echo: bool = True,
        disturbance: Disturbance | None = None,
        keys: KeyBytes = KeyBytes(0xEF, 0x8F),  # noqa: B008
        starts: tuple[Start, ...] = ("fast", "slow"),
        timing: Timing = TIMING,
    ) -> None:
        super().__init__("practice-kline", "kline")
        self._line = KLineCar(car, keys=keys, starts=starts, timing=timing)
        self._echo = echo
        self._disturbance = disturbance
        self._to_tester: Passage[bytes] = Passage(disturbance)
        self._out = bytearray()
        self._terminal = Terminal()
        self._begin()

    @property
    def channel(self) -> str:
        """Path of the pseudo-terminal, to be opened as a serial device."""
        return self._terminal.path

    def _wanted(self) -> tuple[list[int], list[int], float | None]:
        end, now = self._terminal.end, time.monotonic()
        waits = (self._line.wait_s(now), self._to_tester.wait_s(now))
        wait_s = min((wait for wait in waits if wait is not None), default=None)
        return [end], [end] if self._out else [], wait_s

    def _serve(self, ready: list[int]) -> None:
        now = time.monotonic()
        if self._terminal.end in ready and (data := read_some(self._terminal.end)):
            if self._echo:
                self._out += data
            self._line.take(data, now)
        for frame in self._line.give(now):
            self._to_tester.put(frame, now)
        for frame, damaged in self._to_tester.take(now):
            worn = (
                self._disturbance.damaged_bytes(frame) if damaged and self._disturbance else frame
            )
            if len(self._out) + len(worn) < _MOST_WAITING_BYTES:  # nobody reads: it is lost
                self._out += worn
        if self._out:
            write_some(self._terminal.end, self._out)

    def _release(self) -> None:
        self._terminal.close()
