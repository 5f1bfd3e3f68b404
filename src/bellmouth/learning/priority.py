"""Being woken in time though every core is busy: ask the system, and do without if it refuses."""

import os
from collections.abc import Iterator
from contextlib import contextmanager

from bellmouth.learning.ringer import short_slice

__all__ = ["preferred"]

#: The lowest of the real-time priorities is above everything ordinary.
_PRIORITY = 1


@contextmanager
def preferred() -> Iterator[bool]:
    """While entered, this thread runs as soon as it is ready; gives whether the system allows it.

    For threads that mostly wait. On Linux an ordinary user needs ``rtprio`` in
    ``/etc/security/limits.conf``; without it the thread asks for short turns at least.
    """
    set_to = getattr(os, "sched_setscheduler", None)
    if set_to is None:
        yield False
        return
    before, how = os.sched_getscheduler(0), os.sched_getparam(0)
    try:
        # Threads that this one starts are ordinary again.
        set_to(0, os.SCHED_RR | os.SCHED_RESET_ON_FORK, os.sched_param(_PRIORITY))
    except OSError:
        # It keeps them: nobody who runs a coach is harmed by short turns.
        short_slice()
        yield False
        return
    try:
        yield True
    finally:
        # The flag stays: an ordinary user may set it and not take it back.
        set_to(0, before | os.SCHED_RESET_ON_FORK, how)
