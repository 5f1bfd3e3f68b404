"""A finding read back from the JSON document that ``bellmouth find --json`` prints."""

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any, NoReturn, get_args

from bellmouth.errors import FindingError, shown
from bellmouth.finding.causes import SINGLE_CAUSES
from bellmouth.finding.result import CauseProbability, Finding, NextCheck, Picture, Size, With
from bellmouth.reading import json_in, text_of

__all__ = ["finding_in", "read_finding"]

_SUM_TOLERANCE = 0.02
# No size of a cause comes near it.
_LARGEST = 1e6
_NO_CAUSE = ("healthy", "unexplained")


def read_finding(path: str | Path) -> Finding:
    """Read a finding's document; what a job card does not need is left empty.

    Raises
    ------
    FindingError
        Where the file cannot be read, is not JSON, or is not a finding: one sentence.
    """
    path = Path(path)
    try:
        document = json_in(text_of(path))
    except OSError as error:
        raise FindingError(f"{path.name}: cannot be read ({error.strerror}).") from error
    except ValueError as error:
        raise FindingError(
            f"{path.name}: not a JSON document. bellmouth find REC --car FILE --json prints one."
        ) from error
    return finding_in(document, path.name)


def _refuse(source: str, what: str) -> NoReturn:
    raise FindingError(f"{source}: {what} Give the document that bellmouth find --json prints.")


def finding_in(document: Any, source: str) -> Finding:
    """The finding that a document read before tells of, with what a job card needs; ``source`` says
    in an error where the document is from.

    Raises
    ------
    FindingError
        Where it is not a finding: one sentence.
    """
    if not isinstance(document, dict) or not isinstance(document.get("causes"), list):
        _refuse(source, "not a finding: it has no list of causes.")
    causes = [_cause(entry, source) for entry in document["causes"]]
    total = sum(entry.probability for entry in causes)
    if abs(total - 1.0) > _SUM_TOLERANCE:
        _refuse(source, f"the causes' probabilities sum to {total:.2f}, not to 1.")
    return Finding(
        causes=tuple(sorted(causes, key=lambda entry: -entry.probability)),
        prior={},
        present=_present(document.get("present", {}), source),
        next_checks=_next_checks(document.get("next_checks", []), source),
        evidence=(),
        excluded=(),
        warnings=(),
        misfit=math.nan,
        complaint=str(document.get("complaint", "")),
        picture=Picture((), {}),
        disagreeing=_disagreeing(document.get("disagreeing", {}), source),
    )


def _next_checks(rows: Any, source: str) -> tuple[NextCheck, ...]:
    """The checks with what a card says of them, the best one first."""
    if not isinstance(rows, list):
        _refuse(source, "next_checks is not a list.")
    return tuple(_next_check(row, source) for row in rows)


def _next_check(row: Any, source: str) -> NextCheck:
    texts = ("check", "how", "caution")
    if not isinstance(row, Mapping) or not all(isinstance(row.get(key, ""), str) for key in texts):
        _refuse(source, "a check in next_checks is not told in words.")
    name, how, caution = (row.get(key, "") for key in texts)
    if not name:
        _refuse(source, "a check in next_checks has no name.")
    minutes = math.nan if row.get("minutes") is None else row["minutes"]
    if isinstance(minutes, bool) or not isinstance(minutes, int | float) or minutes < 0:
        _refuse(source, f"minutes of {shown(name)} is not a number of minutes.")
    return NextCheck(name, math.nan, float(minutes), "", how, (), caution)


def _disagreeing(table: Any, source: str) -> dict[str, With]:
    if not isinstance(table, Mapping) or not set(map(str, table.values())) <= set(get_args(With)):
        _refuse(source, "disagreeing is not a table of checks and what they disagree with.")
    return dict(table)


def _present(table: Any, source: str) -> dict[str, float]:
    if not isinstance(table, Mapping):
        _refuse(source, "present is not a table of causes and probabilities.")
    return {
        cause: _probability(value, f"present.{cause}", source) for cause, value in table.items()
    }


def _cause(entry: Any, source: str) -> CauseProbability:
    if not isinstance(entry, Mapping) or not isinstance(entry.get("cause"), str):
        _refuse(source, "a cause has no name.")
    name = entry["cause"]
    if not set(name.split("+")) <= {*SINGLE_CAUSES, *_NO_CAUSE}:
        _refuse(source, f"{shown(name)} is no cause that this Bellmouth knows.")
    sizes = entry.get("sizes", {})
    if not isinstance(sizes, Mapping):
        _refuse(source, f"the sizes of {name} are not a table.")
    return CauseProbability(
        name,
        _probability(entry.get("probability"), name, source),
        # An end that is not finite is null in the document: then there is no size to tell.
        {
            cause: _size(size, cause, source)
            for cause, size in sizes.items()
            if not (isinstance(size, Mapping) and None in size.values())
        },
    )


def _probability(value: Any, of: str, source: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value <= 1:
        _refuse(source, f"the probability of {of} is not a number from 0 to 1.")
    return float(value)


def _size(size: Any, cause: str, source: str) -> Size:
    if not isinstance(size, Mapping) or not isinstance(size.get("unit"), str):
        _refuse(source, f"the size of {cause} has no unit.")
    value, low, high = (_number(size, key, cause, source) for key in ("value", "low", "high"))
    return Size(value, low, high, size["unit"])


def _number(size: Mapping[str, Any], key: str, cause: str, source: str) -> float:
    value = size.get(key)
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        _refuse(source, f"the size of {cause} has no {key}.")
    if abs(value) > _LARGEST:
        _refuse(source, f"the size of {cause} is impossible: its {key} is {shown(value)}.")
    return float(value)
