"""Units a column may be written in, and how they become the parameter's own."""

import functools
import tomllib
from collections.abc import Mapping
from importlib import resources

__all__ = ["conversion", "spellings"]


def conversion(unit: str, own: str) -> tuple[float, float] | None:
    """Factor and offset from ``unit`` to the parameter's ``own``: own = factor * value + offset.

    None where ``unit`` is not known for that quantity. Factors are those of NIST SP 811,
    appendix B.
    """
    if unit == own:
        return 1.0, 0.0
    known = _table().get(own, {})
    pair = known.get(unit)
    if pair is None or unit == "use":
        return None
    return float(pair[0]), float(pair[1])


def spellings(own: str) -> str:
    """The units to offer for a quantity, as the end of a sentence: ``g/s, kg/h or lb/min``."""
    names = [str(name) for name in _table().get(own, {}).get("use", [own])]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} or {names[-1]}"


@functools.cache
def _table() -> Mapping[str, Mapping[str, list[float | str]]]:
    return tomllib.loads(resources.files(__package__).joinpath("units.toml").read_text("utf-8"))
