"""Whole files written beside a loop that must not wait, for as long as that stays cheap."""

import os
import threading
from collections.abc import Callable
from pathlib import Path

from bellmouth.recording.export import frame
from bellmouth.recording.series import Recording

__all__ = ["Duty", "Snapshots", "put", "write_parquet"]

# A snapshot at most this often, and at most this share of the time: beside the loop. [s]
SNAPSHOT_S = 0.4
SNAPSHOT_SHARE = 0.15


class Duty:
    """Work that is done at most every so often, and takes at most its share of the time."""

    def __init__(
        self, every_s: float, share: float, clock: Callable[[], float], *, at_once: bool = False
    ) -> None:
        self._every_s, self._share, self._clock = every_s, share, clock
        self._next = clock() + every_s * (not at_once)
        self._begun = 0.0

    def due(self) -> bool:
        """Whether it may be done again."""
        return self._clock() >= self._next

    def __enter__(self) -> None:
        self._begun = self._clock()

    def __exit__(self, *_: object) -> None:
        now = self._clock()
        self._next = now + max(self._every_s, (now - self._begun) / self._share)


class Snapshots:
    """Writes the whole capture anew now and then, beside the loop that must not wait for it."""

    def __init__(self, path: Path, clock: Callable[[], float]) -> None:
        self._path = path
        self._duty = Duty(SNAPSHOT_S, SNAPSHOT_SHARE, clock, at_once=True)
        self._work: threading.Thread | None = None

    def due(self) -> bool:
        """Whether a snapshot would be begun now."""
        return self._duty.due() and not (self._work is not None and self._work.is_alive())

    def take(self, recording: Callable[[str], Recording]) -> None:
        """Write what ``recording`` gives for the file's name, unless it is too soon."""
        if not self.due():
            return
        now = recording(self._path.name)
        self._work = threading.Thread(target=self._write, args=(now,), daemon=True)
        self._work.start()

    def close(self) -> None:
        """Wait for the one under way."""
        if self._work is not None:
            self._work.join()

    def _write(self, recording: Recording) -> None:
        with self._duty:
            try:
                put(self._path, lambda file: write_parquet(recording, file))
            except OSError:
                return  # the journal holds it all; a full disk shows there


def write_parquet(recording: Recording, path: Path) -> None:
    """Write the contract's columns as Parquet."""
    frame(recording).write_parquet(path)


def put(path: Path, write: Callable[[Path], None]) -> None:
    """Write beside, to the disk, and then in place: there is never half a file."""
    beside = path.with_name(f".{path.name}.part")
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
