"""What an engine family's cars have in common, learnt from many recordings, and its file.

The file is TOML that a person can read; ``docs/family.schema.json`` describes its contents. It is
a prior like any other: it says where the unknowns of such a car usually lie and how far apart.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bellmouth.car.description import Car, Known, Metering
from bellmouth.errors import FindingError, shown, told_of
from bellmouth.finding.causes import SINGLE_CAUSES
from bellmouth.finding.habit import Habit
from bellmouth.finding.nuisance import LEARNED
from bellmouth.finding.priors import cause_weights
from bellmouth.reading import NotTextError, text_of, toml_in

__all__ = ["FORMAT", "Family", "Growth", "family_in", "family_of", "known_family", "read_family"]

Floats = NDArray[np.float64]

FORMAT = 1
_SHARES = ("healthy", *SINGLE_CAUSES, "pairs", "unexplained")
# How far the family's shares move a car's weights, as a share of the way in log odds: the cars it
# was learnt from are not those that come to a workshop, and a fault that nothing shows counts as
# healthy. Chosen on practice cars of variants A and B.
_MOVED_BY = 1.0 / 3.0
_LITRES_OFF = 0.05  # a car whose displacement is further off is of another engine
_KEYS = {
    "format", "name", "made", "software", "cars", "recordings", "like_the_rest", "engine", "idle",
    "shares", "coordinates", "correlations", "growth",
}  # fmt: skip


@dataclass(frozen=True)
class Growth:
    """How fast deposit grows on these cars: the distances after which a plate is worth a look on
    a quarter and on three quarters of them [km], which part of that variance is still unknown of
    the family rather than between its cars, and from how many cars this is known."""

    km_to_level: tuple[float, float]
    kind_share: float
    cars: int


@dataclass(frozen=True)
class Family:
    """An engine family as a prior.

    ``mean``, ``sd`` (coordinates,) and ``correlation`` (coordinates, coordinates) are of the
    unknowns named in ``coordinates``, as `nuisance` has them, for a car of the family that was
    not seen before. ``shares`` are the family's shares of causes; ``like_the_rest`` the share of
    the recordings learnt from that were like the others. ``habit`` is how
    they idle, as far as that was learnt.
    """

    name: str
    made: str
    software: str
    cars: int
    recordings: int
    like_the_rest: float
    displacement_l: float
    metering: Metering
    coordinates: tuple[str, ...]
    mean: Floats
    sd: Floats
    correlation: Floats
    shares: Mapping[str, float]
    habit: Habit = field(default_factory=lambda: Habit(None, None, None))
    growth: Growth | None = None
    source: str = ""

    @property
    def told(self) -> str:
        """The family in a few words."""
        return f"{self.name} ({self.cars} cars)"

    def fits(self, car: Car) -> None:
        """Refuse a car that cannot be of this family.

        Raises
        ------
        FindingError
            If it meters its air otherwise, or has another displacement.
        """
        if car.metering != self.metering:
            raise FindingError(
                f'family "{self.name}" meters its air by {self.metering}, this car by '
                f"{car.metering}: it is of another family. Leave the family out or give its own."
            )
        litres = car.displacement_l.value
        if abs(math.log(litres / self.displacement_l)) > _LITRES_OFF:
            raise FindingError(
                f'family "{self.name}" has {self.displacement_l:g} L, this car {litres:g} L: it is '
                "of another family. Leave the family out or give its own."
            )

    def weights(self, weights: Mapping[str, float]) -> dict[str, float]:
        """Weights of the causes for such a car: a complaint's, moved some of the way by the odds
        that the family has against cars in general; a cause that its shares leave out keeps its
        weight. [sum 1]"""
        usual = cause_weights("unknown")
        moved = {
            cause: (
                weight * (self.shares.get(cause, usual[cause]) / usual[cause]) ** _MOVED_BY
                if cause in usual
                else weight
            )
            for cause, weight in weights.items()
        }
        total = sum(moved.values())
        return {cause: weight / total for cause, weight in moved.items()}

    def document(self) -> dict[str, Any]:
        """The family as the file has it, key by key."""
        lower = [
            [round(float(r), 4) for r in row[: place + 1]]
            for place, row in enumerate(self.correlation)
        ]
        told: dict[str, Any] = {
            "format": FORMAT,
            "name": self.name,
            "made": self.made,
            "software": self.software,
            "cars": self.cars,
            "recordings": self.recordings,
            "like_the_rest": round(self.like_the_rest, 4),
            "correlations": lower,
            "engine": {"displacement_l": self.displacement_l, "metering": self.metering},
            "shares": {cause: round(share, 5) for cause, share in self.shares.items()},
            "coordinates": {
                name: {"mean": float(f"{mean:.6g}"), "sd": float(f"{sd:.6g}")}
                for name, mean, sd in zip(self.coordinates, self.mean, self.sd, strict=True)
            },
        }
        told["idle"] = {
            name: {"mean": float(f"{one.value:.6g}"), "sd": float(f"{one.sd:.6g}")}
            for name, one in vars(self.habit).items()
            if one is not None
        }
        if self.growth is not None:
            low, high = (round(km) for km in self.growth.km_to_level)
            told["growth"] = {
                "km_to_level": [low, high],
                "kind_share": round(self.growth.kind_share, 4),
                "cars": self.growth.cars,
            }
        return told

    def text(self) -> str:
        """The family file's text; the order of its coordinates is that of its correlations."""
        return _toml(self.document())

    def write(self, path: str | Path) -> None:
        """Write the family file, whole or not at all."""
        path = Path(path)
        fresh = path.with_name(path.name + ".new")
        with told_of(path):
            try:
                fresh.write_text(self.text(), "utf-8")
                fresh.replace(path)
            finally:
                fresh.unlink(missing_ok=True)


def read_family(path: str | Path) -> Family:
    """Read a family file.

    Raises
    ------
    FindingError
        If it cannot be read, is not a family file of this version, or does not hold together.
    """
    path = Path(path)
    try:
        text = text_of(path)
    except OSError as error:
        raise FindingError(
            f"{path}: cannot be read ({error.strerror}). Give a family file."
        ) from error
    except NotTextError as error:
        raise FindingError(f"{path}: not a text file in UTF-8. Give a family file.") from error
    except ValueError as error:
        raise FindingError(f"{str(path)!r}: not a file name. Give a family file.") from error
    return family_in(text, str(path))


def family_in(text: str, source: str) -> Family:
    """A family from the text of its file; see `read_family`."""
    try:
        table = toml_in(text)
    except ValueError as error:
        raise FindingError(f"{source}: not valid TOML ({error}). Give a family file.") from error
    return family_of(table, source)


def known_family(given: Family | str | Path | None, car: Car) -> Family | None:
    """The family to judge a car by: the one given, read where it is a file, else the car's own.

    Raises
    ------
    FindingError
        As `read_family`.
    """
    chosen = car.family if given is None else given
    return read_family(chosen) if isinstance(chosen, str | Path) else chosen


def _no_family(table: Mapping[str, Any], source: str) -> FindingError:
    """Why a table is no family of this version."""
    if not table:
        return FindingError(f"{source}: is empty. Make a family file with bellmouth family learn.")
    if "format" not in table:
        return FindingError(f"{source}: no family file. Make one with bellmouth family learn.")
    told = shown(table["format"])
    return FindingError(
        f"{source}: a family file of format {told}, and this Bellmouth reads format {FORMAT}. "
        "Learn the family again."
    )


def family_of(table: Mapping[str, Any], source: str) -> Family:
    """A family from the contents of its file; see `read_family`."""
    if table.get("format") != FORMAT:
        raise _no_family(table, source)
    if strange := sorted(set(table) - _KEYS):
        raise FindingError(f"{source}: unknown key {strange[0]}. Learn the family again.")
    try:
        return _built(table, source)
    except (KeyError, TypeError, ValueError, AttributeError, OverflowError) as error:
        if isinstance(error, FindingError):
            raise
        raise FindingError(
            f"{source}: not a whole family file ({type(error).__name__}: {error}). Learn it again."
        ) from error


def _built(table: Mapping[str, Any], source: str) -> Family:
    coordinates = tuple(table["coordinates"])
    if other := [name for name in coordinates if name not in LEARNED]:
        raise FindingError(f"{source}: {other[0]} is no coordinate. Use {', '.join(LEARNED)}.")
    pairs = [(float(c["mean"]), float(c["sd"])) for c in table["coordinates"].values()]
    mean, sd = np.array(pairs).reshape(-1, 2).T
    shares = {str(cause): float(share) for cause, share in table["shares"].items()}
    if set(shares) - set(_SHARES) or min(shares.values()) < 0 or not sum(shares.values()) > 0:
        raise FindingError(f"{source}: shares must be of {', '.join(_SHARES)}, from 0 up.")
    if not np.isfinite([*mean, *sd]).all() or (sd <= 0).any():
        raise FindingError(f"{source}: every mean must be a number and every sd above 0.")
    idle, growth = table.get("idle", {}), table.get("growth")
    metering = table["engine"]["metering"]
    if metering not in ("airflow", "pressure"):
        raise FindingError(f'{source}: metering "{metering}" is not airflow or pressure.')
    return Family(
        name=str(table["name"]),
        made=str(table["made"]),
        software=str(table["software"]),
        cars=int(table["cars"]),
        recordings=int(table["recordings"]),
        like_the_rest=float(table["like_the_rest"]),
        displacement_l=float(table["engine"]["displacement_l"]),
        metering=metering,
        coordinates=coordinates,
        mean=mean,
        sd=sd,
        correlation=_correlation(table["correlations"], len(coordinates), source),
        shares=shares,
        habit=Habit(*(_known(idle.get(name)) for name in ("rpm", "timing_deg", "log_air"))),
        growth=None if growth is None else _growth(growth),
        source=source,
    )


def _known(table: Mapping[str, Any] | None) -> Known | None:
    if table is None:
        return None
    if not float(table["sd"]) > 0:
        raise ValueError("idle: every sd must be above 0")
    return Known(float(table["mean"]), float(table["sd"]))


def _growth(table: Mapping[str, Any]) -> Growth:
    low, high = (float(km) for km in table["km_to_level"])
    share = float(table["kind_share"])
    if not (0.0 < low < high and 0.0 < share < 1.0):
        raise ValueError("growth: km_to_level must rise and kind_share lie between 0 and 1")
    return Growth((low, high), share, int(table["cars"]))


def _correlation(rows: Any, size: int, source: str) -> Floats:
    """The whole matrix from its lower triangle, made possible again where rounding broke it."""
    if [len(row) for row in rows] != list(range(1, size + 1)):
        raise FindingError(f"{source}: correlations must be a triangle of {size} rows.")
    lower = np.zeros((size, size))
    for place, row in enumerate(rows):
        lower[place, : place + 1] = row
    whole = lower + np.tril(lower, -1).T
    if not np.isfinite(whole).all() or np.abs(whole).max() > 1.0 + 1e-9:
        raise FindingError(f"{source}: correlations must lie between -1 and 1.")
    value, vector = np.linalg.eigh(whole)
    possible = (vector * np.maximum(value, 1e-6)) @ vector.T
    root = np.sqrt(np.diag(possible))
    return np.asarray(possible / np.outer(root, root))


def _toml(document: Mapping[str, Any]) -> str:
    lines = ["# What the cars of an engine family have in common, as Bellmouth learnt it."]
    for key, value in document.items():
        if not isinstance(value, dict):
            lines.append(f"{key} = {_value(value)}")
    for key, value in document.items():
        if isinstance(value, dict):
            lines += ["", f"[{key}]"]
            lines += [f"{name} = {_value(one)}" for name, one in value.items()]
    return "\n".join(lines) + "\n"


def _value(value: Any) -> str:
    if isinstance(value, str):
        told = value.replace("\\", "\\\\").replace('"', '\\"')
        return f'"{"".join(c if c.isprintable() else " " for c in told)}"'
    if isinstance(value, dict):
        return f"{{ {', '.join(f'{k} = {_value(v)}' for k, v in value.items())} }}"
    if isinstance(value, list):
        inner = [_value(one) for one in value]
        if value and isinstance(value[0], list):
            return "[\n" + "".join(f"  {one},\n" for one in inner) + "]"
        return f"[{', '.join(inner)}]"
    return repr(value)
