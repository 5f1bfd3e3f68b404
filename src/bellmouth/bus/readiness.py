"""Is the car ready for inspection: go, wait or drive, by a table that the user may edit.

The table (``readiness.toml``) is no law and says so; local law has the last word. Nothing here
helps a car past a test that it would fail: a lit lamp or a stored code is to be repaired.
"""

import difflib
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Any, Literal

from bellmouth.bus.reports import Codes
from bellmouth.errors import BellmouthError
from bellmouth.j1979.codes import MonitorStatus
from bellmouth.reading import text_of, toml_in

__all__ = ["Advice", "Missing", "Rules", "advise", "read_rules"]

By = Literal["drive", "wait"]
Verdict = Literal["go", "wait", "drive"]

_KEYS = {
    "place": str,
    "most_incomplete": int,
    "must_be_complete": list,
    "permanent_codes_count": bool,
    "local_law": str,
    "completes": dict,
}


@dataclass(frozen=True)
class Rules:
    """What holds at a place.

    Attributes
    ----------
    place
        Whose rules these are.
    most_incomplete
        So many monitors may be incomplete.
    must_be_complete
        Monitors that may not be among them.
    permanent_codes_count
        Whether a permanent code alone speaks against going.
    local_law
        Said last.
    completes
        By monitor: whether driving completes it or the car must stand first, and how.
    """

    place: str
    most_incomplete: int
    must_be_complete: tuple[str, ...]
    permanent_codes_count: bool
    local_law: str
    completes: Mapping[str, tuple[By, str]]


@dataclass(frozen=True)
class Missing:
    """A monitor that is not complete, and what completes it."""

    monitor: str
    controller: int
    by: By
    how: str


@dataclass(frozen=True)
class Advice:
    """Go, wait or drive.

    Attributes
    ----------
    verdict
        ``go``: ready by these rules; ``wait``: something else comes first (a repair, a night's
        standing); ``drive``: driving completes what is missing.
    why
        One sentence each.
    missing
        Monitors not complete, by controller.
    allowed
        How many may be.
    last_word
        The law's.
    """

    verdict: Verdict
    why: tuple[str, ...]
    missing: tuple[Missing, ...]
    allowed: int
    last_word: str


def read_rules(path: Path | None = None) -> Rules:
    """Rules from a file; the packaged table without one. Keys left out are as packaged.

    Raises
    ------
    BellmouthError
        If the file is no TOML, or a key is unknown or of the wrong kind.
    """
    text = resources.files("bellmouth.bus").joinpath("readiness.toml").read_text("utf-8")
    packaged = tomllib.loads(text)
    if path is None:
        return _rules(packaged)
    try:
        given = toml_in(text_of(path))
    except OSError as error:
        raise BellmouthError(f"{path}: cannot be read ({error.strerror}).") from error
    except ValueError as error:
        raise BellmouthError(f"{path}: this is no TOML ({error}); correct that place.") from error
    _check(given, path, set(packaged["completes"]))
    completes = packaged["completes"] | given.get("completes", {})
    return _rules(packaged | given | {"completes": completes})


def _rules(table: Mapping[str, Any]) -> Rules:
    return Rules(
        place=table["place"],
        most_incomplete=table["most_incomplete"],
        must_be_complete=tuple(table["must_be_complete"]),
        permanent_codes_count=table["permanent_codes_count"],
        local_law=table["local_law"],
        completes={name: (row["by"], row["how"]) for name, row in table["completes"].items()},
    )


def _check(given: Mapping[str, Any], path: Path, monitors: set[str]) -> None:
    for key, value in given.items():
        wanted = _KEYS.get(key)
        if wanted is None:
            raise _unknown(path, "key", key, set(_KEYS))
        if type(value) is not wanted:
            raise BellmouthError(
                f"{path}: {key} = {value!r} is not the right kind; give {_kind(wanted)}."
            )
    if given.get("most_incomplete", 0) < 0:
        raise BellmouthError(f"{path}: most_incomplete is less than none; give 0 or more.")
    for name in (*given.get("must_be_complete", ()), *given.get("completes", ())):
        if not isinstance(name, str) or name not in monitors:
            raise _unknown(path, "monitor", str(name), monitors)
    for name, row in given.get("completes", {}).items():
        whole = isinstance(row, dict) and set(row) == {"by", "how"}
        if not whole or row["by"] not in ("drive", "wait") or not isinstance(row["how"], str):
            raise BellmouthError(
                f'{path}: [completes.{name}] wants by = "drive" or "wait" and how = "...", no more.'
            )


def _kind(wanted: type) -> str:
    words = {str: "text", int: "a whole number", list: "a list", bool: "true or false"}
    return words.get(wanted, "a table")


def _unknown(path: Path, what: str, name: str, known: set[str]) -> BellmouthError:
    near = difflib.get_close_matches(name, sorted(known), n=1)
    hint = f'did you mean "{near[0]}"?' if near else f"there are: {', '.join(sorted(known))}."
    return BellmouthError(f'{path}: no {what} is called "{name}"; {hint}')


def advise(monitors: Mapping[int, MonitorStatus], codes: Codes | None, rules: Rules) -> Advice:
    """What to do, from what the car reports and the rules of a place.

    ``codes`` is None where a recording told of the monitors, which holds none.
    """
    missing = tuple(
        Missing(name, address, *rules.completes.get(name, ("drive", "The car's manual says how.")))
        for address, status in monitors.items()
        for name, state in status.monitors.items()
        if state == "supported incomplete"
    )
    names = list(dict.fromkeys(one.monitor for one in missing))
    first = _repair_first(monitors, codes, rules)
    needed = [name for name in names if name in rules.must_be_complete]
    too_many = len(names) > rules.most_incomplete
    why = list(first)
    if too_many or needed:
        why.append(_too_many(len(names), rules, needed))
    verdict: Verdict = "go"
    if first:
        verdict = "wait"
    elif too_many or needed:
        verdict = "drive" if any(one.by == "drive" for one in missing) else "wait"
    elif not why:
        allowed = f"{rules.most_incomplete} may be"
        why.append(f"{_counted(len(names))}, {allowed}; no lamp and no confirmed code.")
    return Advice(verdict, tuple(why), missing, rules.most_incomplete, rules.local_law)


def _repair_first(
    monitors: Mapping[int, MonitorStatus], codes: Codes | None, rules: Rules
) -> tuple[str, ...]:
    reasons = []
    if not monitors:
        reasons.append("No controller reports its monitors; ask again with the ignition on.")
    if codes is None:
        reasons.append(
            "A recording holds no trouble codes: read them with bellmouth codes before you go."
        )
        codes = Codes()
    elif not codes.confirmed:
        reasons.append("No controller reports its codes; ask again with the ignition on.")
    if any(status.lamp_on for status in monitors.values()):
        reasons.append("The lamp is commanded on: find the fault and repair it first.")
    confirmed = _once(codes.confirmed)
    if confirmed:
        reasons.append(f"Confirmed codes ({', '.join(confirmed)}): repair these first.")
    permanent = _once(codes.permanent)
    if permanent and rules.permanent_codes_count and not confirmed:
        reasons.append(
            f"Permanent codes ({', '.join(permanent)}) remain although the lamp may be out: only "
            "driving with the fault gone removes them."
        )
    return tuple(reasons)


def _once(codes: Mapping[int, tuple[str, ...]]) -> list[str]:
    return sorted({code for found in codes.values() for code in found})


def _too_many(number: int, rules: Rules, needed: list[str]) -> str:
    if needed:
        return f"Not complete, and here it must be: {', '.join(needed)}."
    most = rules.most_incomplete
    return f"{_counted(number)} where {most} may be ({rules.place})."


def _counted(number: int) -> str:
    return f"{number} monitor incomplete" if number == 1 else f"{number} monitors incomplete"
