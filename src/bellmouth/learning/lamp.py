"""The lamp, where the car reports it: when it starts blinking, when it stays on, when it is out."""

import numpy as np

from bellmouth.learning.evidence import Moment
from bellmouth.recording.series import Floats, Recording

__all__ = ["LAMP_BIT", "LAMP_EVENTS", "read_lamp"]

#: Events that the lamp's state shows; who watches for one watches for all.
LAMP_EVENTS = ("lamp_blinks", "lamp_steady", "lamp_on", "lamp_off")

LAMP_BIT = 31  # monitor status, first byte, highest bit: the lamp is commanded on
#: Samples further apart than this do not show a lamp that blinks once a second. [s]
_COARSEST_S = 0.4
#: Changes closer than this belong to one spell of blinking. [s]
_SPELL_S = 2.0
#: So many changes are blinking.
_CHANGES = 3


def read_lamp(recording: Recording) -> dict[str, tuple[Moment, ...]] | None:
    """When the lamp began each state, on the file's clock; None where it is not reported often
    enough to tell.
    """
    found = recording.get("monitor_status")
    if found is None or found.time_s.size < 3:
        return None
    time = found.time_s + recording.begins_s
    if float(np.median(np.diff(time))) > _COARSEST_S:
        return None
    lit = (found.value.astype(np.int64) >> LAMP_BIT & 1).astype(bool)
    changes = np.flatnonzero(np.diff(lit)) + 1
    events: dict[str, list[Moment]] = {name: [] for name in LAMP_EVENTS}
    for spell in _spells(time, changes):
        first, last = int(spell[0]), int(spell[-1])
        if spell.size >= _CHANGES:
            events["lamp_blinks"].append(_moment(time, first))
        end = "lamp_on" if lit[last] else "lamp_off"
        if spell.size >= _CHANGES and lit[last]:
            end = "lamp_steady"
        if time[-1] - time[last] > _SPELL_S:
            events[end].append(_moment(time, last))
    return {name: tuple(moments) for name, moments in events.items()}


def _spells(
    time: Floats, changes: np.ndarray[tuple[int], np.dtype[np.intp]]
) -> list[np.ndarray[tuple[int], np.dtype[np.intp]]]:
    """Changes that follow each other closely, together."""
    if not changes.size:
        return []
    return np.split(changes, np.flatnonzero(np.diff(time[changes]) > _SPELL_S) + 1)


def _moment(time: Floats, index: int) -> Moment:
    return Moment(float(time[index - 1]), float(time[index]))
