"""Whether a document made again says what the kept one said, and where not."""

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

__all__ = ["differences", "lacking"]

# Another processor may round the last digits of a linear solution otherwise.
_RELATIVE, _ABSOLUTE = 1e-6, 1e-9
_MOST = 20


def differences(kept: Any, made: Any) -> list[str]:
    """Sentences on what differs, the first twenty; empty where nothing does.

    Compared is what both have: a later version may say more, and a document leaves some of a
    result out. Numbers are alike within a millionth.
    """
    found = []
    for sentence in _compare(kept, made, ""):
        found.append(sentence)
        if len(found) == _MOST:
            break
    return found


def _compare(kept: Any, made: Any, where: str) -> Iterator[str]:
    if isinstance(kept, Mapping) and isinstance(made, Mapping):
        shared = [key for key in kept if key in made]
        if kept and not shared:
            yield f"{where or 'document'}: has nothing in common with what was kept"
        for key in shared:
            yield from _compare(kept[key], made[key], f"{where}.{key}".lstrip("."))
    elif _listed(kept) and _listed(made):
        if len(kept) != len(made):
            yield f"{where}: {len(kept)} were kept, {len(made)} made"
        for place, (one, other) in enumerate(zip(kept, made, strict=False), 1):
            yield from _compare(one, other, f"{where}[{place}]")
    elif not _equal(kept, made):
        yield f"{where}: {_shown(kept)} was kept, {_shown(made)} made"


def lacking(whole: Any, given: Any, where: str = "") -> str | None:
    """The first name of a whole document that the given one has not; None where it has them all."""
    if isinstance(whole, Mapping):
        if not isinstance(given, Mapping):
            return where or "document"
        inner = ((f"{where}.{key}".lstrip("."), whole[key], given.get(key)) for key in whole)
        missing = next((f"{where}.{key}".lstrip(".") for key in whole if key not in given), None)
        return missing or next(filter(None, (lacking(a, b, at) for at, a, b in inner)), None)
    if _listed(whole) and _listed(given):
        pairs = enumerate(zip(whole, given, strict=False), 1)
        return next(filter(None, (lacking(a, b, f"{where}[{at}]") for at, (a, b) in pairs)), None)
    return None


def _listed(value: Any) -> bool:
    return isinstance(value, Sequence) and not isinstance(value, str)


def _equal(kept: Any, made: Any) -> bool:
    if _number(made) and not math.isfinite(made):
        return kept is None or kept == made
    if _number(kept) and _number(made):
        return math.isclose(kept, made, rel_tol=_RELATIVE, abs_tol=_ABSOLUTE)
    return bool(kept == made)


def _number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _shown(value: Any) -> str:
    return f"{value:.6g}" if _number(value) else repr(value)[:60]
