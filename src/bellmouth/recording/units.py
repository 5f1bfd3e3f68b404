"""Units a column may be written in, and how they become the parameter's own."""

import functools
import tomllib
import unicodedata
from collections.abc import Mapping
from importlib import resources

__all__ = ["conversion", "spellings"]


@functools.lru_cache(maxsize=1000)
def conversion(unit: str, own: str) -> tuple[float, float] | None:
    """Factor and offset from ``unit`` to the parameter's ``own``: own = factor * value + offset.

    None where ``unit`` is not known for that quantity. Capitals do not matter (``MPH``), as long
    as they make no other unit: ``mPa`` is not ``MPa``. Factors are those of NIST SP 811,
    appendix B.
    """
    if unit == own:
        return 1.0, 0.0
    known = _table().get(own, {})
    pair = known.get(unit if unit in known else _as_listed(unit, own))
    if pair is None or unit == "use":
        return None
    return float(pair[0]), float(pair[1])


def spellings(own: str) -> str:
    """The units to offer for a quantity, as the end of a sentence: ``g/s, kg/h or lb/min``."""
    names = [str(name) for name in _table().get(own, {}).get("use", [own])]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} or {names[-1]}"


def _as_listed(unit: str, own: str) -> str:
    """How the table writes a unit that differs in capitals or raised letters."""
    wanted = _folded(unit)
    for listed in _table().get(own, {}):
        # "m" for "M" is a thousandth of a thousandth; the other way nobody measures.
        if _folded(listed) == wanted and not (listed[0] == "M" and unit[0] == "m"):
            return listed if listed != "use" else unit
    return unit


def _folded(unit: str) -> str:
    return unicodedata.normalize("NFKC", unit).replace("\u2212", "-").casefold()


@functools.cache
def _table() -> Mapping[str, Mapping[str, list[float | str]]]:
    return tomllib.loads(resources.files(__package__).joinpath("units.toml").read_text("utf-8"))
