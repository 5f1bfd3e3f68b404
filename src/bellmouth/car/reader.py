"""Read a car's description, strictly: an unknown key is an error, not a shrug."""

import difflib
import re
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

from bellmouth.car.complaint import parse_complaint
from bellmouth.car.description import Car, Known
from bellmouth.errors import CarError, shown
from bellmouth.reading import NotTextError, text_of, toml_in

__all__ = ["CAR_KEYS", "VALUE_KEYS", "car_from_mapping", "limits_of", "read_car"]


@dataclass(frozen=True)
class _Limits:
    """What a value can be, ends included, and its unit for the error's sentence."""

    least: float
    most: float
    unit: str


# Wide enough for any road car; outside it is a slip of the unit or the pen.
_KNOWN = {
    "displacement_l": _Limits(0.1, 12.0, "L"),
    "throttle_bore_mm": _Limits(15.0, 120.0, "mm"),
    "idle_rpm": _Limits(300.0, 1800.0, "rpm"),
    "closed_throttle_position_pct": _Limits(0.0, 60.0, "%"),
    "ethanol_pct": _Limits(0.0, 100.0, "%"),
    "barometric_pressure_kpa": _Limits(40.0, 110.0, "kPa"),
    "altitude_m": _Limits(-500.0, 6000.0, "m"),
    "ambient_air_temperature_c": _Limits(-50.0, 60.0, "degC"),
}
_WHOLE = {"cylinders": (1, 16), "banks": (1, 2)}
_REQUIRED = {"displacement_l": "displacement_l = 2.0", "metering": 'metering = "airflow"'}
_METERING = ("airflow", "pressure")
_DECIMAL_COMMA = re.compile(r"\s*(\w+)\s*=\s*[-+]?\d+,\d+\s*(?:#.*)?$")
#: Keys of a car file, and those whose value may have a standard deviation.
CAR_KEYS = tuple(field.name for field in fields(Car) if field.name != "source")
VALUE_KEYS = tuple(_KNOWN)


def limits_of(key: str) -> tuple[float, float, str]:
    """What the value of a key can be, ends included, and its unit; a key of `VALUE_KEYS`."""
    limits = _KNOWN[key]
    return limits.least, limits.most, limits.unit


def read_car(path: str | Path) -> Car:
    """Read a car file: TOML with the keys of ``Car``; each value a number or {value, sd}.

    Parameters
    ----------
    path
        The file. ``displacement_l`` and ``metering`` must be there; what is not known is left out.

    Returns
    -------
    Car
        Each value in the unit of its key's name (``displacement_l`` [L], ``throttle_bore_mm``
        [mm], ``barometric_pressure_kpa`` [kPa]), with its standard deviation; None is unknown.

    Raises
    ------
    CarError
        Where the file cannot be read, is not TOML, lacks a required value, or holds an unknown
        key or an impossible value; one sentence with file, line and what to do.
    """
    if not isinstance(path, str | Path):
        raise CarError(
            f"read_car: {type(path).__name__} is no name of a file. Give a path as text, or a "
            "table of its keys to bellmouth.car.car_from_mapping."
        )
    path = Path(path)
    try:
        text = text_of(path)
    except NotTextError as error:
        raise CarError(f"{path.name}: not a text file in UTF-8. Write the car as TOML.") from error
    except OSError as error:
        raise CarError(f"{path.name or path}: cannot be read ({error.strerror}).") from error
    except ValueError as error:
        raise CarError(f"{path.name!r}: not a file name.") from error
    try:
        document = toml_in(text)
    except ValueError as error:
        for place, line in enumerate(text.splitlines(), 1):
            if comma := _DECIMAL_COMMA.match(line):
                raise CarError(
                    f"{path.name}, line {place}: {comma[1]} has a decimal comma. Write it with a "
                    "point, such as 2.0."
                ) from error
        raise CarError(f"{path.name}: not a TOML file ({error}).") from error
    lines = _lines(text)
    car = _car(document, path.name, lines)
    if car.family is None:
        return car
    return replace(car, family=_beside(path, car.family, f"{path.name}, line {lines['family']}"))


def _beside(path: Path, family: str, where: str) -> str:
    """A family file named in a car file: looked for from where that file lies."""
    try:
        found = path.parent / Path(family).expanduser()
        there = found.is_file()
    except (OSError, RuntimeError):  # a name too long for a disk, the home of nobody
        there = False
    if not there:
        raise CarError(
            f'{where}: family file "{family}" is not there. It is looked for from the folder of '
            f"{path.name}; learn one with bellmouth family learn, or take the line out."
        )
    return str(found)


def car_from_mapping(values: Mapping[str, Any], source: str = "car") -> Car:
    """A car from a table of plain values, as strict as a file; ``source`` names it in errors.

    Raises
    ------
    CarError
        As ``read_car``, without lines.
    """
    return _car(values, source, {})


def _lines(text: str) -> dict[str, int]:
    """The line on which each key of the top table stands."""
    lines: dict[str, int] = {}
    for number, line in enumerate(text.splitlines(), 1):
        key = line.partition("=")[0].strip().strip("[]\"' ").split(".")[0]
        lines.setdefault(key, number)
    return lines


def _car(values: Mapping[str, Any], source: str, lines: Mapping[str, int]) -> Car:
    def where(key: str) -> str:
        return f"{source}, line {lines[key]}" if key in lines else source

    for key, value in values.items():
        if key not in CAR_KEYS:
            if isinstance(value, Mapping) and set(value) & set(CAR_KEYS):
                raise CarError(
                    f"{where(key)}: the car stands in a table of its own. Take the line [{key}] "
                    "out."
                )
            close = difflib.get_close_matches(str(key), CAR_KEYS, n=1, cutoff=0.6)
            hint = f"Did you mean {close[0]}?" if close else f"Keys are {', '.join(CAR_KEYS)}."
            raise CarError(f"{where(key)}: unknown key {key}. {hint}")
    for key, example in _REQUIRED.items():
        if key not in values:
            raise CarError(f"{source}: {key} is missing. Add a line such as {example}.")
    found: dict[str, Any] = {
        key: _READERS[key](key, value, where(key)) for key, value in values.items()
    }
    return Car(**found, source=source)


def _number(key: str, value: object, where: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise CarError(f"{where}: {key} is {shown(value)}, not a number.")
    try:
        return float(value)
    except OverflowError:
        raise CarError(f"{where}: {key} is far too large a number.") from None


def _known(key: str, value: object, where: str) -> Known:
    if isinstance(value, Known):
        value = {"value": value.value, "sd": value.sd}
    if not isinstance(value, Mapping):
        value = {"value": value}
    for inner in value:
        if inner not in ("value", "sd"):
            raise CarError(f"{where}: unknown key {key}.{inner}. Write {{value = 60, sd = 1}}.")
    if "value" not in value:
        raise CarError(f"{where}: {key} has no value. Write {{value = 60, sd = 1}}.")
    known = Known(
        _number(key, value["value"], where), _number(f"{key}.sd", value.get("sd", 0), where)
    )
    limits = _KNOWN[key]
    if not limits.least <= known.value <= limits.most:
        raise CarError(
            f"{where}: {key} = {known.value:g} is impossible. "
            f"It lies between {limits.least:g} and {limits.most:g} {limits.unit}."
        )
    if not 0 <= known.sd <= limits.most - limits.least:
        raise CarError(
            f"{where}: {key}.sd = {known.sd:g} is impossible. It is 0 or more, and at most "
            f"{limits.most - limits.least:g} {limits.unit}; leave a value out that is not known."
        )
    return known


def _whole(key: str, value: object, where: str) -> int:
    number = _number(key, value, where)
    least, most = _WHOLE[key]
    if not least <= number <= most or number != int(number):
        raise CarError(
            f"{where}: {key} = {number:g} is impossible. "
            f"It is a whole number from {least} to {most}."
        )
    return int(number)


def _metering(key: str, value: object, where: str) -> str:
    if value not in _METERING:
        raise CarError(
            f'{where}: {key} = {shown(value)} is not known. Write "airflow" (an airflow meter) or '
            '"pressure" (manifold pressure).'
        )
    return str(value)


def _flag(key: str, value: object, where: str) -> bool:
    if not isinstance(value, bool):
        raise CarError(f"{where}: {key} is {shown(value)}. Write true or false.")
    return value


def _text(key: str, value: object, where: str) -> str:
    if not isinstance(value, str):
        raise CarError(f"{where}: {key} is {shown(value)}, not text. Put it in quotes.")
    return value


def _file(key: str, value: object, where: str) -> str:
    text = _text(key, value, where)
    if not text.strip() or "\0" in text:
        raise CarError(
            f'{where}: {key} = {shown(value)} names no file. Write {key} = "two.family.toml".'
        )
    return text


def _complaint(key: str, value: object, where: str) -> str:
    try:
        return parse_complaint(_text(key, value, where))
    except CarError as error:
        text = str(error)
        raise CarError(text if text.startswith(where) else f"{where}: {text}") from None


_READERS = {
    **dict.fromkeys(_KNOWN, _known),
    **dict.fromkeys(_WHOLE, _whole),
    "metering": _metering,
    "turbocharged": _flag,
    "complaint": _complaint,
    "name": _text,
    "family": _file,
}
