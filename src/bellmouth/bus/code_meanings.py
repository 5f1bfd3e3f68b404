"""What trouble codes mean, in our words; only codes near the air path are in the table.

The standard's wording (SAE J2012) is quoted from memory. Codes whose second character is 1, and
most above P2FFF, are each maker's own and are in no public table.
"""

import csv
import functools
from collections.abc import Mapping
from importlib import resources

__all__ = ["meaning"]


def meaning(code: str) -> str | None:
    """Meaning of a code such as P0171; None where the table has none."""
    return _table().get(code)


@functools.cache
def _table() -> Mapping[str, str]:
    text = resources.files("bellmouth.bus").joinpath("code_meanings.csv").read_text("utf-8")
    return {row["code"]: row["meaning"] for row in csv.DictReader(text.splitlines())}
