"""Sounds on the sound card's own clock: each begins at its exact sample, however late a thread is.

The library asks for samples well before they are heard, by the length of its buffer. What is
placed earlier than that does not depend on when anybody is let on the processor.
"""

import itertools
import threading
import time
from collections import deque
from collections.abc import Callable
from statistics import median
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["BUFFER_S", "RATE_HZ", "Mixer", "Samples"]

Samples = NDArray[np.float32]
RATE_HZ = 44_100
#: Buffer of a stream whose sounds are placed beforehand. [s]
BUFFER_S = 0.3
#: What is placed comes at least so long before the card's buffer takes it. [s]
_SPARE_S = 0.1
#: The card's clock is watched over so many of the library's questions.
_WATCHED = 31


class Mixer:
    """Adds whatever is to be heard, block by block, in the sound library's own thread.

    ``library`` is ``sounddevice``; ``latency`` its word or a time, as it wants it. [s]
    """

    def __init__(
        self, library: Any, latency: str | float, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._lock = threading.Lock()
        self._clock = clock
        self._soonest_s = _SPARE_S + (latency if isinstance(latency, float) else 0.0)
        self._tokens = itertools.count(1)
        self._sounding: list[Samples] = []
        self._placed: dict[int, tuple[float, Samples]] = {}
        self._starts: dict[int, int] = {}
        self._frames = 0
        # When the first sample of all was heard, on the card's clock, and how that one differs.
        self._began_s: deque[float] = deque(maxlen=_WATCHED)
        self._differ_s: deque[float] = deque(maxlen=_WATCHED)
        self._stream = library.OutputStream(
            samplerate=RATE_HZ, channels=1, dtype="float32", latency=latency, callback=self._fill
        )
        self._stream.start()

    def play(self, samples: Samples) -> None:
        """Play as soon as can be, over whatever still sounds."""
        with self._lock:
            self._sounding.append(samples)

    def place(self, samples: Samples, at_s: float) -> int | None:
        """Play at a time of the monotonic clock; a token, None where that is too soon. [s]"""
        if at_s < self._clock() + self._soonest_s:
            return None
        token = next(self._tokens)
        with self._lock:
            self._placed[token] = at_s, samples
        return token

    def withdraw(self, token: int) -> None:
        """Take back what was placed; too late once it is in the buffer."""
        with self._lock:
            self._placed.pop(token, None)
            self._starts.pop(token, None)

    def close(self) -> None:
        """End the stream."""
        self._stream.stop()
        self._stream.close()

    def _fill(self, out: Any, frames: int, times: Any, status: Any) -> None:
        out.fill(0.0)
        with self._lock:
            self._watch(times, status)
            self._begin(out, frames)
            left: list[Samples] = []
            for samples in self._sounding:
                now = samples[:frames]
                out[: now.size, 0] += now
                if samples.size > frames:
                    left.append(samples[frames:])
            self._sounding = left + self._begun
            self._frames += frames

    def _watch(self, times: Any, status: Any) -> None:
        """Learn when each sample is heard from what the library tells."""
        if getattr(status, "output_underflow", False):
            # Samples were missed: those that follow are heard later than counted.
            self._began_s.clear()
            self._starts.clear()
        self._began_s.append(times.outputBufferDacTime - self._frames / RATE_HZ)
        self._differ_s.append(self._clock() - times.currentTime)

    def _begin(self, out: Any, frames: int) -> None:
        """Write the beginnings that fall into this block, and keep what is left of them."""
        self._begun: list[Samples] = []
        # Lateness of this thread only adds to the difference, so the least is true.
        first_s = median(self._began_s) + min(self._differ_s)
        for token, (at_s, samples) in list(self._placed.items()):
            start = self._starts.setdefault(token, round((at_s - first_s) * RATE_HZ))
            offset = max(start - self._frames, 0)
            if offset >= frames:
                continue
            now = samples[: frames - offset]
            out[offset : offset + now.size, 0] += now
            self._begun.append(samples[now.size :])
            del self._placed[token], self._starts[token]
