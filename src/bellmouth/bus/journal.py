"""Crash-safe writing of a capture: whatever stops the machine, what was read is on disk.

A CSV file is its own journal: a row a poll, written at once. Its header and rows end in a
separator until the capture ends in order, so that a row cut anywhere shows. A Parquet file cannot
grow, so the rows go to ``NAME.journal`` beside it, and the file itself is a snapshot, written
anew beside and put in its place about twice a second for as long as that stays cheap.
``read_recording`` knows both.
"""

import errno
import os
import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from bellmouth.bus.kept import Kept
from bellmouth.bus.snapshots import Beside, Snapshots, put, write_parquet
from bellmouth.errors import RecordingError
from bellmouth.recording.export import refused_by_disk
from bellmouth.recording.names import table
from bellmouth.recording.of_car import OfCar
from bellmouth.recording.readers import journal_of
from bellmouth.recording.seal import metadata_of
from bellmouth.recording.series import Recording

__all__ = ["Journal", "refuse_existing"]

# To the disk itself, in case the power fails, at most this share of the time. [s]
SYNC_S = 1.0
SYNC_SHARE = 0.02


class Journal:
    """Samples as they come, on disk before the next is asked for.

    Parameters
    ----------
    path
        What is recorded: ``.csv`` or ``.parquet``. Must not be there yet, unless ``overwrite``.
    names
        Parameters that may come, in the order of their columns; others are not written.

    Raises
    ------
    RecordingError
        If the ending is another, the file is there, or it cannot be written.
    """

    def __init__(
        self,
        path: str | Path,
        names: Sequence[str],
        *,
        overwrite: bool = False,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.path = Path(path)
        self._parquet = self.path.suffix.lower() == ".parquet"
        self._rows_path = journal_of(self.path) if self._parquet else self.path
        self._names = tuple(names)
        self._clock = clock
        refuse_existing(self.path, overwrite=overwrite)
        self._file = _opened(self._rows_path)
        self._written = 0
        self._kept = Kept(self._names)
        self._sync = Beside(SYNC_S, SYNC_SHARE, clock)
        self._snapshots = Snapshots(self.path, clock) if self._parquet else None
        titles = [f"{name} [{table()[name].unit}]" for name in self._names]
        self._write(",".join(["time [s]", *titles]) + ",\n")

    @property
    def seconds(self) -> float:
        """Time of the last sample. [s]"""
        return self._kept.last_s

    @property
    def samples(self) -> int:
        """How many values were written."""
        return self._kept.samples

    @property
    def has_duty(self) -> bool:
        """Whether :meth:`tend` has something to do that takes longer than a row."""
        return self._sync.due() or self._snapshot_due() is not None

    def add(self, time_s: float, values: Mapping[str, float]) -> None:
        """Write the values read at one time. [s]

        Raises
        ------
        RecordingError
            If the disk is full or gone; what was written before stays.
        """
        known = {name: value for name, value in values.items() if name in self._kept}
        if not known:
            return
        cells = (repr(known[name]) if name in known else "" for name in self._names)
        self._write(f"{time_s:.6f},{','.join(cells)},\n")
        self._kept.add(time_s, known)

    def woke(self, low_s: float, high_s: float) -> None:
        """A car that had kept silent woke between these: a row without a value says until when it
        did. To be told before the first value. [s]

        Raises
        ------
        RecordingError
            As for :meth:`add`.
        """
        if low_s > self._kept.last_s:
            self._write(f"{low_s:.6f},{',' * (len(self._names) - 1)},\n")
            self._kept.woke(low_s, high_s)

    def of_car(self, said: OfCar) -> None:
        """What the car said of itself; rows have no place for it, a Parquet file has."""
        self._kept.of_car = said

    @property
    def loads_off(self) -> bool:
        """Whether whoever records is asked to switch every load off; as for which car it is, a
        Parquet file has a place for that."""
        return self._kept.loads_off

    @loads_off.setter
    def loads_off(self, asked: bool) -> None:
        self._kept.loads_off = asked

    def tend(self) -> None:
        """See to it that the rows get to the disk itself and into the file, where that is due.

        Both are done beside; to begin them takes longer than a row all the same: not for a moment
        in which an answer is on its way.
        """
        if self._sync.due():
            self._sync.begin(lambda: os.fsync(self._file))
        snapshots = self._snapshot_due()
        if snapshots is not None:
            snapshots.take(self._kept.recording)

    def _snapshot_due(self) -> Snapshots | None:
        # A table of one row is no recording yet.
        there = self._snapshots is not None and self._kept.complete and self._kept.rows > 1
        return self._snapshots if there and self._snapshots and self._snapshots.due() else None

    def recording(self) -> Recording:
        """What was recorded so far (of a very long capture, its end)."""
        return self._kept.recording(self.path.name)

    def close(self) -> None:
        """End in order: the file is whole, and nothing is left beside it."""
        if self._file < 0:
            return
        self._sync.close()
        os.close(self._file)
        self._file = -1
        if self._snapshots is not None:
            self._snapshots.close()
        if not self._kept.samples:
            self._rows_path.unlink(missing_ok=True)
            return
        try:
            self._finish()
        except OSError as error:
            raise RecordingError(
                f"{self.path.name}: could not be finished ({_reason(error)}). All of it is in "
                f"{self._rows_path.name}, and read from there."
            ) from error

    def _finish(self) -> None:
        if not self._parquet:
            put(self.path, self._plain_csv)
        elif self._kept.complete:
            put(self.path, lambda file: write_parquet(self.recording(), file))
        else:
            put(self.path, self._parquet_from_rows)
        if self._parquet:
            self._rows_path.unlink()

    def _plain_csv(self, beside: Path) -> None:
        """The rows without the separator at their end."""
        with self.path.open("rb") as rows, beside.open("wb") as plain:
            for row in rows:
                plain.write(row.removesuffix(b",\n") + b"\n")

    def _parquet_from_rows(self, beside: Path) -> None:
        import polars as pl  # noqa: PLC0415 - only long captures come here

        rows = pl.scan_csv(self._rows_path, infer_schema=False)
        titles = [title for title in rows.collect_schema().names() if title]
        with refused_by_disk():
            rows.select(pl.col(titles).cast(pl.Float64)).sink_parquet(
                beside, metadata=metadata_of(self._kept.of_car, loads_off=self._kept.loads_off)
            )

    def _write(self, row: str) -> None:
        """One call for a row: a killed process leaves it whole or not at all."""
        raw = row.encode()
        try:
            done = os.write(self._file, raw)
        except OSError as error:
            raise self._stopped(error) from error
        if done < len(raw):
            os.ftruncate(self._file, self._written)
            raise self._stopped(OSError(errno.ENOSPC, os.strerror(errno.ENOSPC)))
        self._written += done

    def _stopped(self, error: OSError) -> RecordingError:
        return RecordingError(
            f"{self.path.name}: cannot be written on ({_reason(error)}). What was recorded until "
            f"then, {max(self.seconds, 0.0):.0f} s, is kept."
        )


def refuse_existing(path: Path, *, overwrite: bool = False) -> None:
    """Refuse an ending that is not recorded to, and a file that is there, also a crashed one's.

    Raises
    ------
    RecordingError
        One sentence for either.
    """
    if path.suffix.lower() not in (".csv", ".parquet"):
        raise RecordingError(
            f"{path.name}: what to record is told by the ending; use .parquet or .csv."
        )
    there = [one for one in (path, journal_of(path)) if one.exists()]
    if there and not overwrite:
        raise RecordingError(
            f"{there[0].name}: is there already, and a recording is never overwritten. Choose "
            "another name."
        )
    for one in there:
        one.unlink()


def _opened(path: Path) -> int:
    try:
        return os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_APPEND, 0o644)
    except OSError as error:
        raise RecordingError(
            f"{path}: cannot be written ({_reason(error)}). Choose another folder or name."
        ) from error


def _reason(error: OSError) -> str:
    return (error.strerror or str(error)).lower()
