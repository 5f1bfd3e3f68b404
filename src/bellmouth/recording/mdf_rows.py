"""Rows of an ASAM MDF 4 file: channels by the contract's names, or by a mapping."""

import gc
import html
import io
import logging
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from bellmouth.errors import RecordingError
from bellmouth.recording.clock import is_astray
from bellmouth.recording.header import Column, Header, read_header
from bellmouth.recording.kept_steps import steps_in
from bellmouth.recording.of_car import OfCar
from bellmouth.recording.rows import Rows
from bellmouth.recording.seal import LOADS_OFF
from bellmouth.recording.series import Floats

__all__ = ["rows_of_mdf"]


@dataclass(frozen=True)
class _Channel:
    """Where a channel stands in the file, and how many samples it has."""

    title: str
    group: int
    index: int
    samples: int


def rows_of_mdf(raw: bytes, mapping: Mapping[str, str], source: str) -> Rows:
    """Rows of an MDF file already in memory; every channel keeps its own times.

    A channel's header is its name and unit, ``name [unit]``; a mapping may name it by either the
    name alone or both. Where several channels have one name, the one with the most samples is
    read.

    Raises
    ------
    RecordingError
        Where the file is damaged, a unit is unknown or missing, or no channel is a parameter.
    """
    with _unheard():
        file = _opened(raw)
        if file is None:
            raise RecordingError(
                f"{source}: an MDF file that is damaged or cut short. Copy it again, or write it "
                "anew with the program that made it."
            )
        with file:
            channels, notes = _channels(file, mapping)
            titles = ["time [s]", *(channel.title for channel in channels)]
            header = read_header(titles, mapping, source, None)
            rows = _gathered(file, header, channels, notes, source)
            # The library hands the comment over as the XML that it is in.
            comment = html.unescape(str(file.header.comment))
            return replace(
                rows, of_car=OfCar.found_in(comment), loads_off=LOADS_OFF in comment,
                steps=steps_in(comment),
            )  # fmt: skip


@contextmanager
def _unheard() -> Iterator[None]:
    """Keep off the user's screen what asammdf says of a damaged file before it raises."""
    logger = logging.getLogger("asammdf")
    was, logger.disabled = logger.disabled, True
    try:
        yield
    finally:
        logger.disabled = was


def _opened(raw: bytes) -> Any:
    """The file; None where it is damaged beyond reading."""
    from asammdf import MDF  # noqa: PLC0415 - heavy

    complain = sys.unraisablehook
    # A file object of asammdf 8.8 that was never whole complains again when it is thrown away.
    sys.unraisablehook = lambda _: None
    try:
        return MDF(io.BytesIO(raw))
    except Exception:  # noqa: BLE001, S110 - see _samples
        pass
    finally:
        gc.collect()
        sys.unraisablehook = complain
    return None


def _channels(file: Any, mapping: Mapping[str, str]) -> tuple[list[_Channel], list[str]]:
    """One channel a title, clocks left out."""
    best: dict[str, _Channel] = {}
    doubled: set[str] = set()
    for number, group in enumerate(file.groups):
        samples = int(group.channel_group.cycles_nr)
        for index, channel in enumerate(group.channels):
            if file.masters_db.get(number) == index:
                continue
            title = _title(channel, mapping)
            here = _Channel(title, number, index, samples)
            doubled |= {title} & best.keys()
            if title not in best or samples > best[title].samples:
                best[title] = here
    notes = [
        f'Channel "{title}" stands more than once; the one with the most samples was read.'
        for title in best
        if title in doubled
    ]
    return list(best.values()), notes


def _title(channel: Any, mapping: Mapping[str, str]) -> str:
    name = str(channel.name).strip()
    unit = str(channel.unit or (channel.conversion.unit if channel.conversion else "") or "")
    unit = unit.strip().strip("\0")
    whole = f"{name} [{unit}]" if unit and not name.endswith("]") else name
    return name if name in mapping and whole not in mapping else whole


def _gathered(
    file: Any, header: Header, channels: list[_Channel], notes: list[str], source: str
) -> Rows:
    read: list[tuple[Column, Floats, Floats]] = []
    for column in header.columns:
        channel = channels[column.index - 1]
        try:
            time, value = _samples(file, channel)
        except Exception:  # noqa: BLE001 - see _samples
            notes.append(f'Channel "{column.title}" is damaged and was left out.')
            continue
        if value is None:
            notes.append(f'Channel "{column.title}" holds text, not numbers, and was left out.')
            continue
        sound = np.isfinite(time) & ~is_astray(time)
        if not sound.all():
            lost = int(np.count_nonzero(~sound))
            samples = "1 sample" if lost == 1 else f"{lost} samples"
            notes.append(f'Channel "{column.title}": {samples} with a damaged time left out.')
            time, value = time[sound], value[sound]
        odd = int(np.count_nonzero(~np.isfinite(value)))
        if odd:
            cells = "1 sample was" if odd == 1 else f"{odd} samples were"
            notes.append(f'Channel "{column.title}": {cells} NaN or infinite and left out.')
        read.append((column, time, np.where(np.isfinite(value), value, np.nan)))
    if not read:
        raise RecordingError(f"{source}: none of its channels can be read. Write the file anew.")
    return _table(header, read, notes)


def _samples(file: Any, channel: _Channel) -> tuple[Floats, Floats | None]:
    """Times and values of a channel, invalid samples left out; None where it is text.

    On a file that is not whole asammdf raises of everything: its own errors, Python's, and those of
    the libraries that unpack for it, of which it takes whichever is installed.
    """
    _refuse_outside(file, channel)
    signal = file.get(group=channel.group, index=channel.index)
    if signal.samples.dtype.kind not in "biuf" or signal.samples.ndim != 1:
        return np.zeros(0), None
    value = np.asarray(signal.samples, dtype=np.float64)
    return np.asarray(signal.timestamps, dtype=np.float64), value


def _refuse_outside(file: Any, channel: _Channel) -> None:
    """Refuse a channel, or a clock, that does not lie within its record: asammdf 8.8 reads what is
    behind it in memory, and ends the program where there is nothing."""
    group = file.groups[channel.group]
    room = 8 * int(group.channel_group.samples_byte_nr)
    for index in {channel.index, file.masters_db.get(channel.group, channel.index)}:
        one = group.channels[index]
        # Of version 4; older versions count in bits, and not far enough to matter.
        begin = 8 * getattr(one, "byte_offset", 0) + getattr(one, "bit_offset", 0)
        if begin + one.bit_count > room:
            raise ValueError(begin)


def _table(header: Header, read: list[tuple[Column, Floats, Floats]], notes: list[str]) -> Rows:
    """Channels with clocks of their own in one table: a row for every time that any has."""
    times = np.unique(np.concatenate([time for _, time, _ in read]))
    cells = {}
    for column, time, value in read:
        cells[column.name] = np.full(times.size, np.nan)
        cells[column.name][np.searchsorted(times, time)] = value
    columns = tuple(column for column, _, _ in read)
    # A clock may count from midnight or from a trigger; what counts is the recording's start.
    start = min(float(times[0]), 0.0) if times.size else 0.0
    held = Header(header.time, columns, header.unmapped, header.notes)
    return Rows(held, times - start, cells, lambda row: f"sample {row + 1}", tuple(notes))
