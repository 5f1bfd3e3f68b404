"""Which software, which model and which inputs a finding came from."""

import hashlib
from collections.abc import Iterable, Mapping
from functools import cache
from importlib.resources import files
from typing import Any

from bellmouth import __version__
from bellmouth.book.entries import canonical

__all__ = ["input_hash", "model_version", "software_version"]


def software_version() -> str:
    """Name and version of the software."""
    return f"bellmouth {__version__}"


@cache
def model_version() -> str:
    """Hash of everything that a finding is reasoned with: code and priors of the finding room."""
    digest = hashlib.sha256()
    room = files("bellmouth.finding")
    for part in sorted(room.iterdir(), key=lambda part: part.name):
        if part.name.endswith((".py", ".toml")):
            digest.update(part.name.encode() + b"\0" + part.read_bytes() + b"\0")
    return digest.hexdigest()[:16]


def input_hash(names: Iterable[str], inputs: Mapping[str, Any]) -> str:
    """Hash of what went in: the recordings' names, which are hashes, and everything else said."""
    text = canonical([sorted(inputs.items()), list(names)])
    return hashlib.sha256(text.encode()).hexdigest()
