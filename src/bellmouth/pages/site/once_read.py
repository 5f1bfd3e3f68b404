"""What was read for somebody and is shown on a page of its own: the back button asks nobody again.

A page that is the answer to a form cannot be gone back to without sending the form anew. So what a
form had read is kept here for a while, and shown at an address that holds its mark.
"""

import secrets
import threading
from collections import OrderedDict
from typing import Any

__all__ = ["OnceRead"]

_KEPT = 60


class OnceRead:
    """The last few things that were read, each under a mark. Safe to call from several threads."""

    def __init__(self) -> None:
        self._told: OrderedDict[str, tuple[tuple[str, str], dict[str, Any]]] = OrderedDict()
        self._lock = threading.Lock()

    def keep(self, kind: str, key: str, told: dict[str, Any]) -> str:
        """Keep what was read, of a kind and of a car or none; its mark."""
        mark = secrets.token_urlsafe(9)
        with self._lock:
            self._told[mark] = (kind, key), told
            while len(self._told) > _KEPT:
                self._told.popitem(last=False)
        return mark

    def drop(self, mark: str) -> None:
        """Show it no more: it was acted upon."""
        with self._lock:
            self._told.pop(mark, None)

    def get(self, kind: str, key: str, mark: str) -> dict[str, Any] | None:
        """What was read, None where it was too long ago or about something else."""
        with self._lock:
            found = self._told.get(mark)
        return found[1] if found is not None and found[0] == (kind, key) else None
