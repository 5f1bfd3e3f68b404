"""Recorded traffic: requests and replies of SAE J1979 in a raw bus log become a table's rows.

Identifiers and addresses are those of ISO 15765-4, 11 and 29 bit. One controller is picked;
values of several are never mixed in one column.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np

from bellmouth.errors import BellmouthError, RecordingError
from bellmouth.j1979 import messages, parameters
from bellmouth.j1979.addressing import ENGINE
from bellmouth.j1979.messages import Data, Negative, Service
from bellmouth.recording.assembly import Assembled, Assembly, assemble
from bellmouth.recording.frames import LogReading, log_format, read_frames
from bellmouth.recording.header import Column, Header
from bellmouth.recording.identifiers import EVERYBODY, responder, target
from bellmouth.recording.names import table
from bellmouth.recording.rows import Rows
from bellmouth.recording.series import Floats

__all__ = ["is_traffic", "rows_of_traffic"]

# A reply comes within the standard's longest promise (P2*, ISO 15765-4) of its request. [s]
LATEST_REPLY_S = 5.0
# Masks, monitors and codes are not quantities; the rest of the table is.
_QUANTITIES = ("number", "flags", "choice")


@dataclass
class _Controller:
    """What one controller on one channel said, and what of it could not be read."""

    samples: list[tuple[float, Data]] = field(default_factory=list)
    unread: int = 0
    stray: int = 0
    refused: int = 0
    pending: set[int] = field(default_factory=set)
    unanswered: list[frozenset[int]] = field(default_factory=list)


Talk = dict[tuple[str, int], _Controller]


def is_traffic(raw: bytes) -> bool:
    """Whether the bytes are a bus log of a kind that is read here."""
    return log_format(raw) is not None


def rows_of_traffic(raw: bytes, source: str, controller: int | None = None) -> Rows:
    """Rows of a candump, ASC, BLF or TRC log that holds current data (service 01).

    Parameters
    ----------
    raw
        The file's bytes.
    controller
        Diagnostic address to read (0x10 is usually the engine's; on 11-bit identifiers 7E8 counts
        as 0x10, 7E9 as 0x11); None for the engine's, or whichever answered most.

    Raises
    ------
    RecordingError
        If the log holds no reply, or none of the controller asked for.
    """
    reading = LogReading(log_format(raw) or "candump")
    assembly = assemble(read_frames(raw, reading, source))
    talk = _listen(assembly.messages)
    channel, address = _chosen(talk, controller, source, _damage(reading)[1:])
    one = talk[channel, address]
    notes = [*_damage(reading), *_losses(one, _cut(assembly, channel, address))]
    return _rows(one, (*notes, *_others(talk, channel, address)))


def _listen(found: Iterable[Assembled]) -> Talk:
    """Sort the messages by channel and controller, replies against what was asked before."""
    talk: Talk = {}
    asked: dict[str, dict[int, float]] = {}
    for message in found:
        if target(message.identifier, message.extended) is not None:
            _ask(message, talk, asked.setdefault(message.channel, {}))
            continue
        address = responder(message.identifier, message.extended)
        if address is not None:
            one = talk.setdefault((message.channel, address), _Controller())
            _hear(message, one, asked.get(message.channel))
    return talk


def _ask(message: Assembled, talk: Talk, asked: dict[int, float]) -> None:
    try:
        request = messages.decode_request(message.payload)
    except BellmouthError:
        return  # other services are other people's business
    if request.service != Service.CURRENT_DATA:
        return
    to = target(message.identifier, message.extended)
    for (channel, address), one in talk.items():
        if channel == message.channel and to in (EVERYBODY, address):
            if one.pending:
                one.unanswered.append(frozenset(one.pending))
            one.pending = set(request.identifiers)
    asked |= dict.fromkeys(request.identifiers, message.time_s)


def _hear(message: Assembled, one: _Controller, asked: Mapping[int, float] | None) -> None:
    try:
        reply = messages.decode_response(message.payload)
    except BellmouthError:
        one.unread += message.payload[0] == Service.CURRENT_DATA + messages.POSITIVE
        return
    if isinstance(reply, Negative):
        one.refused += reply.service == Service.CURRENT_DATA and not reply.is_pending
    if not isinstance(reply, Data) or reply.service != Service.CURRENT_DATA:
        return
    said = {identifier for identifier, _ in reply.replies}
    never = message.time_s - LATEST_REPLY_S - 1.0
    if asked is not None and any(
        message.time_s - asked.get(identifier, never) > LATEST_REPLY_S for identifier in said
    ):
        # A log that holds the questions shows that nobody asked this one.
        one.stray += 1
        return
    one.pending -= said
    one.samples.append((message.time_s, reply))


def _chosen(talk: Talk, controller: int | None, source: str, damage: list[str]) -> tuple[str, int]:
    answering = {key: len(one.samples) for key, one in talk.items() if one.samples}
    if not answering:
        nothing = (
            f"{source}: a bus log without a reply to a request for current data (SAE J1979 "
            "service 01 on ISO 15765-4). Log the bus while values are being read."
        )
        raise RecordingError(" ".join((nothing, *damage)))
    wanted = {address for _, address in answering}
    if controller is not None and controller not in wanted:
        raise RecordingError(
            f"{source}: controller {controller:02X} did not answer; "
            f"{_and(f'{address:02X}' for address in sorted(wanted))} did. Choose one of these."
        )
    pick = controller if controller is not None else ENGINE if ENGINE in wanted else None
    # A gateway repeats a controller on another channel: only the fullest is read.
    mine = {key: count for key, count in answering.items() if pick in (None, key[1])}
    return max(mine, key=lambda key: mine[key])


def _rows(one: _Controller, notes: tuple[str, ...]) -> Rows:
    maxima: dict[str, float | None] = {}
    for _, reply in one.samples:
        for identifier, data in reply.replies:
            if identifier in (0x4F, 0x50):
                maxima |= parameters.decode(identifier, data)
    decoded = [(time, reply.values(maxima)) for time, reply in one.samples]
    start = min(time for time, _ in decoded)
    names = [name for name in table() if any(name in values for _, values in decoded)]
    names = [n for n in names if parameters.by_name(n).kind in _QUANTITIES]
    columns = tuple(
        Column(index, f"{name} [{table()[name].unit}]", name, table()[name].unit)
        for index, name in enumerate(names, start=1)
    )
    # Six digits: a log's own resolution, without the rounding of large clock readings.
    times: Floats = np.round(np.array([time - start for time, _ in decoded]), 6)
    cells = {name: np.full(times.size, np.nan) for name in names}
    for row, (_, values) in enumerate(decoded):
        for name, value in values.items():
            if value is not None and name in cells:
                cells[name][row] = value
    header = Header(Column(0, "time [s]", "time", "s"), columns, (), ())
    return Rows(header, times, cells, lambda row: f"reply {row + 1}", notes)


def _cut(assembly: Assembly, channel: str, address: int) -> int:
    """Messages of one controller that lost frames."""
    return sum(
        count
        for (where, identifier, extended), count in assembly.cut.items()
        if where == channel and responder(identifier, extended) == address
    )


def _damage(reading: LogReading) -> list[str]:
    notes = [f"Read from recorded bus traffic ({reading.format} log)."]
    if reading.damaged:
        lines = "1 damaged entry" if reading.damaged == 1 else f"{reading.damaged} damaged entries"
        notes.append(f"{lines} of the log left out.")
    if reading.cut:
        notes.append("The log is cut short at its end; what was there before is read.")
    return notes


def _losses(one: _Controller, cut: int) -> list[str]:
    said = {identifier for _, reply in one.samples for identifier, _ in reply.replies}
    # Who never answers to a parameter has not got it; nothing was lost. A reply that lost frames
    # is told as one, and its request was answered.
    unanswered = max(sum(not said.isdisjoint(asked) for asked in one.unanswered) - cut, 0)
    counted = (
        (cut, "reply lost frames", "replies lost frames", "left out"),
        (one.unread, "reply is", "replies are", "not as the standard has them and left out"),
        (one.stray, "reply answers", "replies answer", "no request and left out"),
        (unanswered, "request was", "requests were", "not answered"),
        (one.refused, "request was", "requests were", "refused by the car"),
    )
    return [
        f"{count} {single if count == 1 else several} {rest}."
        for count, single, several, rest in counted
        if count
    ]


def _others(talk: Talk, channel: str, address: int) -> list[str]:
    """Who else answered: their values stay out of these columns."""
    notes = [f"Values are those of controller {address:02X}."] if len(talk) > 1 else []
    for (where, other), one in sorted(talk.items()):
        if (where, other) != (channel, address) and one.samples:
            on = "" if where == channel else f" on channel {where}"
            notes.append(f"Controller {other:02X}{on} answered too ({len(one.samples)} replies).")
    return notes


def _and(words: Iterable[str]) -> str:
    listed = list(words)
    return " and ".join([", ".join(listed[:-1]), listed[-1]] if len(listed) > 1 else listed)
