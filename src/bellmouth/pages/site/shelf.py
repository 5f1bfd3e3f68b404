"""A small file of the server's own, written whole or not at all."""

import os
import secrets
from pathlib import Path

__all__ = ["put"]


def put(path: Path, content: bytes) -> None:
    """Write a file beside and put it in its place: killed at any moment, there is never half of it.

    Raises
    ------
    OSError
        If the disk refuses; what was there before is then still there.
    """
    # With a dot before and an ending of its own: nothing that lists a folder takes it for a file.
    part = path.with_name(f".{path.name}.{secrets.token_hex(4)}.part")
    try:
        with part.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)
