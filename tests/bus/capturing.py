"""A capture of the simulated car in real time, to be killed: ``python capturing.py FILE``.

Prints the time of every poll once it is over; the last line is what must be on disk.
"""

import sys
import time
from collections.abc import Sequence

from bellmouth.bus.capture import record
from bellmouth.bus.reports import Sample
from tests.bus.simulated import SimulatedClient

__all__ = ["main"]


class _Telling(SimulatedClient):
    """The clock is the machine's, and every poll is told when the next is asked for."""

    begun = 0.0

    def clock(self) -> float:
        return time.monotonic()

    def read(
        self, identifiers: Sequence[int], controller: int | None = None, *, then: Sequence[int] = ()
    ) -> Sample:
        time.sleep(0.004)
        self.now = time.monotonic()
        if not self.begun:
            self.begun = self.now
        else:
            sys.stdout.write(f"{self.now - self.begun:.6f}\n")
            sys.stdout.flush()
        return super().read(identifiers, controller, then=then)


def main(path: str) -> None:
    """Capture until killed."""
    client = _Telling(latency_s=0.0)
    client.step = "idle"
    record(client, path, seconds=3600.0, clock=client.clock, wait=time.sleep)  # type: ignore[arg-type]


if __name__ == "__main__":
    main(sys.argv[1])
