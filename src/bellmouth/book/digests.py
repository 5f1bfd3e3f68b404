"""The checksum of an entry, by which `book check` knows what something else than a book changed.

Written once with the entry. Like the tables it is history: another way to reckon it takes a
migration that reckons all of them anew.
"""

import hashlib
import json
from collections.abc import Mapping, Sequence
from typing import Any

__all__ = ["digest"]

_PARTS = (
    "number", "kind", "made_at", "job", "corrects", "on_date", "distance_km", "software", "model",
    "input_hash", "document",
)  # fmt: skip


def digest(row: Mapping[str, Any], files: Sequence[str]) -> str:
    """SHA-256 of an entry's row in the tables, its document as text, and its files' names in order.

    Whatever stands there has one, also what no book wrote.
    """
    distance = row["distance_km"]
    # 84000 and 84000.0 are one odometer, and one column.
    told = {**row, "distance_km": float(distance) if isinstance(distance, int) else distance}
    parts = [*(told[name] for name in _PARTS), list(files)]
    return hashlib.sha256(json.dumps(parts, default=repr).encode()).hexdigest()
