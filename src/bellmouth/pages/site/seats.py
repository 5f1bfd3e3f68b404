"""Who drives a coached attempt: one page a car, whatever else looks on.

A page says again and again that it is there; one that has gone quiet has left its seat.
"""

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass

from bellmouth.errors import BellmouthError

__all__ = ["QUIET_S", "Seats"]

#: A page that has not been heard of for so long is gone. [s]
QUIET_S = 6.0


@dataclass
class _Seat:
    """Whose it is, for which procedure, and when the page was last heard of. [s]"""

    ident: str
    procedure: str
    heard_s: float


class Seats:
    """The driver's seat of each car. Safe to call from several threads."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._seats: dict[str, _Seat] = {}

    def sit(self, key: str, procedure: str, ident: str, *, take: bool = False) -> bool:
        """Sit down, or say that one is still there; whether the seat is this page's.

        ``take`` takes it from whoever has it.

        Raises
        ------
        BellmouthError
            If another procedure is being driven on this car.
        """
        with self._lock:
            seat = self._seats.get(key)
            taken = seat is not None and self._clock() - seat.heard_s <= QUIET_S
            if seat is not None and taken and seat.ident != ident:
                if seat.procedure != procedure:
                    raise BellmouthError(
                        "Another procedure is being coached on this car. Stop it first."
                    )
                if not take:
                    return False
            self._seats[key] = _Seat(ident, procedure, self._clock())
            return True

    def holds(self, key: str, ident: str) -> bool:
        """Whether a page has the seat."""
        with self._lock:
            seat = self._seats.get(key)
            return seat is not None and seat.ident == ident

    def attended(self, key: str) -> bool:
        """Whether the page in the seat was heard of lately."""
        with self._lock:
            seat = self._seats.get(key)
            return seat is not None and self._clock() - seat.heard_s <= QUIET_S

    def leave(self, key: str, ident: str) -> None:
        """Get up, where it is this page that sits there."""
        with self._lock:
            seat = self._seats.get(key)
            if seat is not None and seat.ident == ident:
                del self._seats[key]
