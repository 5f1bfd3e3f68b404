"""Something moved: frames for what has no log of its own, such as a coached attempt."""

import time
from collections.abc import Callable

from bellmouth.pages.site.paced import Paced

__all__ = ["Pulse"]


class Pulse(Paced):
    """A source of frames that hold nothing: whoever is woken looks for itself."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        super().__init__(clock)
        self._waits = False

    def tell(self) -> None:
        """Something is new."""
        with self._lock:
            first, self._waits = not self._waits, True
        if first:
            self._wake()

    def seal(self) -> None:
        """What was new is looked at now."""
        with self._lock:
            self._waits, self._sealed = False, self._clock()
