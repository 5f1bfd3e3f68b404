"""The stated priors, read once from ``priors.toml``."""

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from bellmouth.car.description import Car, Complaint
from bellmouth.errors import FindingError
from bellmouth.finding.causes import SINGLE_CAUSES, pairs
from bellmouth.reading import NotTextError, text_of, toml_in

__all__ = ["Priors", "cause_weights", "load_priors", "read_weights", "weights_from"]

_HEAVIEST = 1e100  # their sum must be a number too
_KEYS = ("healthy", *SINGLE_CAUSES, "pairs", "unexplained")
_PAIRS = frozenset(pairs(SINGLE_CAUSES))


@dataclass(frozen=True)
class Priors:
    """The tables of ``priors.toml`` by section; see the comments there for units and sources."""

    filling: Mapping[str, Any]
    plate: Mapping[str, Any]
    sensors: Mapping[str, Any]
    fuel: Mapping[str, Any]
    weather: Mapping[str, Any]
    model_error: Mapping[str, Any]
    idle_speed: Mapping[str, Any]
    idle_beside: Mapping[str, Any]
    plate_position: Mapping[str, Any]
    load_reading: Mapping[str, Any]
    load_level: Mapping[str, Any]
    proof: Mapping[str, Any]
    sizes: Mapping[str, tuple[float, float]]
    sizes_with_reference: Mapping[str, tuple[float, float]]
    complaint: Mapping[str, Mapping[str, float]]

    def of(self, car: Car) -> "Priors":
        """The priors of this very car: a stated bore tells what a degree of its plate opens."""
        bore = car.throttle_bore_mm
        if bore is None:
            return self
        mean, sd = self.plate["log_slope_per_bore2"]
        slope = (mean + 2.0 * math.log(bore.value), math.hypot(sd, 2.0 * bore.sd / bore.value))
        return replace(self, plate={**self.plate, "log_slope_mm2_per_pct": slope})


@cache
def load_priors() -> Priors:
    """The shipped priors."""
    text = files("bellmouth.finding").joinpath("priors.toml").read_text(encoding="utf-8")
    table = tomllib.loads(text)
    return Priors(**table)


def cause_weights(complaint: Complaint) -> dict[str, float]:
    """The stated weight of each cause for a complaint; sums to 1."""
    return _normalised(dict(load_priors().complaint[complaint]))


def read_weights(path: str | Path) -> dict[str, float]:
    """A user's own weights from a TOML file of ``cause = weight``.

    Causes left out get no weight; weights are scaled to sum to 1. A table ``[prior]`` may hold
    them.

    Raises
    ------
    FindingError
        If the file cannot be read, names an unknown cause, or holds no positive weight.
    """
    path = Path(path)
    try:
        table = toml_in(text_of(path))
    except OSError as error:
        raise FindingError(
            f"{path}: cannot be read ({error.strerror}). Give a TOML file."
        ) from error
    except NotTextError as error:
        raise FindingError(f"{path}: not a text file in UTF-8. Give a TOML file.") from error
    except ValueError as error:
        raise FindingError(f"{path}: not valid TOML ({error}).") from error
    found = table.get("prior", table)
    if not isinstance(found, Mapping):
        raise FindingError(
            f"{path}: prior is {found!r}. Make it a table: [prior], then lines of cause = weight."
        )
    return weights_from(found, str(path))


def weights_from(table: Mapping[str, Any], source: str) -> dict[str, float]:
    """Check and scale weights given as a mapping; see `read_weights`."""
    weights: dict[str, float] = {}
    for key, value in table.items():
        name = _hypothesis(key, source)
        if name in weights:
            raise FindingError(f"{source}: {name} has two weights. Give one.")
        if isinstance(value, bool) or not isinstance(value, int | float) or not value >= 0:
            raise FindingError(f"{source}: weight of {key} is {value!r}. Use a number from 0 up.")
        if value > _HEAVIEST:
            raise FindingError(
                f"{source}: weight of {key} is too large. Use a finite number, such as 0.3."
            )
        weights[name] = float(value)
    if not sum(weights.values()) > 0:
        raise FindingError(f"{source}: no cause has a weight. Give at least one above 0.")
    return _normalised(weights)


def _hypothesis(key: str, source: str) -> str:
    """What a key of a table of weights means, a pair in its own order."""
    causes = key.split("+")
    if key in _KEYS:
        return key
    if len(causes) != 2 or not all(cause in SINGLE_CAUSES for cause in causes):
        raise FindingError(f'{source}: unknown cause "{key}": use one of {", ".join(_KEYS)}.')
    first, second = sorted(causes, key=SINGLE_CAUSES.index)
    if (first, second) not in _PAIRS:
        raise FindingError(
            f"{source}: {key} cannot be a pair, as its two act on the same thing. Give each a "
            "weight of its own."
        )
    return f"{first}+{second}"


def _normalised(weights: dict[str, float]) -> dict[str, float]:
    total = sum(weights.values())
    return {cause: weight / total for cause, weight in weights.items()}
