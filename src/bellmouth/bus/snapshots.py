"""Whole files written beside a loop that must not wait, for as long as that stays cheap."""

import os
import threading
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from bellmouth.errors import told_of
from bellmouth.recording.export import frame
from bellmouth.recording.kept_steps import steps_text
from bellmouth.recording.seal import sealed
from bellmouth.recording.series import Recording

__all__ = ["Beside", "Snapshots", "put", "write_parquet"]

# A snapshot at most this often, and at most this share of the time: beside the loop. [s]
SNAPSHOT_S = 0.4
SNAPSHOT_SHARE = 0.15


class Beside:
    """Work that a loop must not wait for: one at a time, in a thread of its own.

    Done at most every so often, and for at most its share of the time.

    Parameters
    ----------
    every_s
        From the end of one to the beginning of the next, at least. [s]
    share
        Of the time, at most: 0.1 is a tenth.
    clock
        Monotonic seconds.
    at_once
        Whether the first may be done from the beginning.
    """

    def __init__(
        self, every_s: float, share: float, clock: Callable[[], float], *, at_once: bool = False
    ) -> None:
        self._every_s, self._share, self._clock = every_s, share, clock
        self._next = clock() + every_s * (not at_once)
        self._work: threading.Thread | None = None

    def due(self) -> bool:
        """Whether it may be done again."""
        if self._work is not None and self._work.is_alive():
            return False
        return self._clock() >= self._next

    def begin(self, work: Callable[[], object]) -> None:
        """Begin it. What the disk refuses is let go: the rows themselves will meet it again."""
        self._work = threading.Thread(target=self._do, args=(work,), daemon=True)
        self._work.start()

    def close(self) -> None:
        """Wait for what is under way."""
        if self._work is not None:
            self._work.join()

    def _do(self, work: Callable[[], object]) -> None:
        begun = self._clock()
        with suppress(OSError):
            work()
        now = self._clock()
        self._next = now + max(self._every_s, (now - begun) / self._share)


class Snapshots:
    """Writes the whole capture anew now and then."""

    def __init__(self, path: Path, clock: Callable[[], float]) -> None:
        self._path = path
        self._beside = Beside(SNAPSHOT_S, SNAPSHOT_SHARE, clock, at_once=True)

    def due(self) -> bool:
        """Whether a snapshot would be begun now."""
        return self._beside.due()

    def take(self, recording: Callable[[str], Recording]) -> None:
        """Write what ``recording`` gives for the file's name, unless it is too soon."""
        if self.due():
            now = recording(self._path.name)
            self._beside.begin(lambda: put(self._path, lambda file: write_parquet(now, file)))

    def close(self) -> None:
        """Wait for the one under way."""
        self._beside.close()


def write_parquet(recording: Recording, path: Path) -> None:
    """Write the contract's columns as Parquet."""
    steps = steps_text(recording.series)
    whole = sealed(frame(recording), recording.of_car, loads_off=recording.loads_off, steps=steps)
    path.write_bytes(whole)


def put(path: Path, write: Callable[[Path], None]) -> None:
    """Write beside, to the disk, and then in place: there is never half a file."""
    beside = path.with_name(f".{path.name}.part")
    with told_of(path):
        try:
            write(beside)
            file = os.open(beside, os.O_RDONLY)
            try:
                os.fsync(file)
            finally:
                os.close(file)
            beside.replace(path)
        finally:
            beside.unlink(missing_ok=True)
