"""What of coaching outlives the server: how a car is reached, which manuals were checked for which
job, and the attempt that is under way, so that one whose server was killed is told as void.
"""

import json
import secrets
import threading
import time
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import asdict
from pathlib import Path
from typing import Any

from bellmouth.book.files import write_whole
from bellmouth.pages.site.live import Adapter

__all__ = ["CoachNotes"]

#: A server that coaches touches its note so often; an older note is of one that is gone. [s]
_TOUCH_S, _OLD_S = 1.0, 3.0


class CoachNotes:
    """Notes in a folder, one file a car. Safe to call from several threads.

    Keys are names of files here; see ``garage.file_name``.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._lock = threading.RLock()
        self._server = secrets.token_hex(8)
        self._touched: dict[str, float] = {}

    def _file(self, name: str) -> Path:
        return self._folder / f"{name}.coach"

    def _read(self, name: str) -> dict[str, Any]:
        try:
            found = json.loads(self._file(name).read_text("utf-8"))
        except (OSError, ValueError, RecursionError):
            return {}
        return found if isinstance(found, dict) else {}

    def _write(self, name: str, changed: Mapping[str, Any]) -> None:
        with self._lock:
            self._folder.mkdir(parents=True, exist_ok=True)
            write_whole(self._file(name), json.dumps({**self._read(name), **changed}).encode())

    def adapter(self, name: str) -> Adapter | None:
        """How a car was last reached."""
        told = self._read(name).get("adapter")
        return Adapter(**told) if told else None

    def reach(self, name: str, adapter: Adapter) -> None:
        """Keep how a car is reached."""
        self._write(name, {"adapter": asdict(adapter)})

    def check(self, name: str, procedure: str, job: int | None) -> None:
        """Somebody says that a procedure was checked in the car's own manual, for this job."""
        with self._lock:
            checked = [*self._read(name).get("checked", []), [procedure, job]]
            self._write(name, {"checked": checked})

    def is_checked(self, name: str, procedure: str, job: int | None) -> bool:
        """Whether somebody said so for this job."""
        return [procedure, job] in self._read(name).get("checked", [])

    def begin(self, name: str, procedure: str, ident: str) -> None:
        """An attempt is under way on this server."""
        told = {"procedure": procedure, "id": ident, "server": self._server}
        self._write(name, {"open": told})

    def touch(self, name: str) -> None:
        """It still is."""
        if time.monotonic() - self._touched.get(name, -_TOUCH_S) >= _TOUCH_S:
            self._touched[name] = time.monotonic()
            # A disk that refuses must not end an attempt that goes well.
            with suppress(OSError):
                self._file(name).touch()

    def end(self, name: str) -> None:
        """It is over and in the book."""
        self._write(name, {"open": None})

    def interrupted(self, name: str) -> tuple[str, str] | None:
        """Procedure and mark of an attempt whose server is gone; None where there is none."""
        told = self._read(name).get("open")
        if not told or told["server"] == self._server:
            return None
        if time.time() - self._file(name).stat().st_mtime < _OLD_S:
            return None  # perhaps of another server on the same book, which runs
        return str(told["procedure"]), str(told["id"])
