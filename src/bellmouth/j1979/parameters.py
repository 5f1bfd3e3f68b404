"""The standard's parameters: one table of names, scalings, units and ranges, read both ways.

The table is ``parameters.csv``; nothing in it is code. A number is coded as
``value = (raw - zero) × multiplier / divisor``, ``raw`` being ``width`` bytes from ``first`` on,
most significant first, two's complement where ``signed``. Three things can make a number
unavailable: its ``absent`` code, a cleared validity bit, and a reply too short to hold it.
"""

import csv
import difflib
import functools
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources

import numpy as np
from numpy.typing import ArrayLike, NDArray

from bellmouth.errors import BellmouthError

__all__ = [
    "Parameter",
    "by_identifier",
    "by_name",
    "byte_count",
    "decode",
    "encode",
    "encode_supported",
    "further_banks",
    "identifiers",
    "meanings",
    "names",
    "quantise",
    "supported",
    "unit_of",
]

Values = dict[str, float | None]

# Bits of parameter 1D for a sensor of bank 3 or 4, and the trims that then hold two banks.
_FURTHER_BANKS = {0x30: {0x06, 0x07, 0x55, 0x56}, 0xC0: {0x08, 0x09, 0x57, 0x58}}


@dataclass(frozen=True, slots=True)
class Parameter:
    """One row of the table.

    Attributes
    ----------
    identifier
        Number under services 01 and 02, 0x00 to 0xFF.
    name, unit
        The standard's name in snake_case; its unit (``code``, ``bits`` or ``mask`` for whole
        numbers that are not quantities).
    bytes
        Length of the whole reply that this parameter is a part of.
    first, width, signed, zero, multiplier, divisor
        Where the number stands in the reply and how it is scaled.
    kind
        ``number``, ``flags`` (each bit has a meaning), ``choice`` (each code has one), ``mask``
        (supported parameters), ``monitors`` or ``trouble_code`` (see ``codes``).
    absent
        The raw code that means "not available", if there is one.
    valid
        Byte and bit that must be set for the number to be available, if there are such.
    rescaled_by
        Name of the parameter that, unless zero, replaces this one's full scale.
    evidence
        How the row is known.
    """

    identifier: int
    name: str
    bytes: int
    first: int
    width: int
    signed: bool
    zero: int
    multiplier: int
    divisor: int
    unit: str
    kind: str
    absent: int | None
    valid: tuple[int, int] | None
    rescaled_by: str | None
    evidence: str

    @property
    def raw_range(self) -> tuple[int, int]:
        """Smallest and largest raw number that stands for a value."""
        top = 256**self.width
        low, high = (-top // 2, top // 2 - 1) if self.signed else (0, top - 1)
        return low, high - 1 if self.absent == high else high

    @property
    def least(self) -> float:
        """Smallest value that can be expressed. [unit]"""
        return self.from_raw(self.raw_range[0])

    @property
    def most(self) -> float:
        """Largest value that can be expressed. [unit]"""
        return self.from_raw(self.raw_range[1])

    @property
    def resolution(self) -> float:
        """Smallest step between two values. [unit]"""
        return self.multiplier / self.divisor

    @property
    def full_scale(self) -> float:
        """What a maximum reported by the car replaces: the largest size of value. [unit]"""
        return self.zero * self.multiplier / self.divisor if self.zero else self.most

    def from_raw(self, raw: int) -> float:
        """Value of a raw number. [unit]"""
        return (raw - self.zero) * self.multiplier / self.divisor

    def to_raw(self, value: float) -> int:
        """Raw number nearest to a value; raises :class:`BellmouthError` outside the range."""
        low, high = self.raw_range
        exact = value * self.divisor / self.multiplier + self.zero
        if not low - 0.5 <= exact <= high + 0.5:  # a NaN fails too
            raise BellmouthError(
                f"Parameter {self.identifier:02X}, {self.name}: {value:g} {self.unit} is outside "
                f"{self.least:g} to {self.most:g} {self.unit}; give a value in that range."
            )
        return min(max(round(exact), low), high)


def names() -> tuple[str, ...]:
    """Every parameter's name, in order of identifier."""
    return tuple(_by_name())


def identifiers() -> tuple[int, ...]:
    """Every identifier of the table, ascending."""
    return tuple(_by_identifier())


def unit_of(name: str) -> str:
    """Unit of a parameter; raises :class:`BellmouthError` for an unknown name."""
    return by_name(name).unit


def by_name(name: str) -> Parameter:
    """Row of a parameter; raises :class:`BellmouthError`, with the nearest name, if unknown."""
    table = _by_name()
    if name not in table:
        near = difflib.get_close_matches(name, table, n=1)
        hint = f'did you mean "{near[0]}"?' if near else "parameters.names() lists them."
        raise BellmouthError(f'No parameter is called "{name}"; {hint}')
    return table[name]


def by_identifier(identifier: int) -> tuple[Parameter, ...]:
    """Rows that one identifier reports; raises :class:`BellmouthError` if unknown."""
    table = _by_identifier()
    if identifier not in table:
        raise BellmouthError(
            f"Parameter {identifier:02X} is not in the table; add its row to parameters.csv."
        )
    return table[identifier]


def byte_count(identifier: int) -> int:
    """Number of data bytes in a reply; raises :class:`BellmouthError` if unknown."""
    return by_identifier(identifier)[0].bytes


def decode(
    identifier: int, data: bytes, maxima: Mapping[str, float | None] | None = None
) -> Values:
    """Values in the data bytes of one parameter's reply; None where one is not available.

    Parameters
    ----------
    identifier
        Number under service 01 or 02.
    data
        The data bytes alone, without service and identifier.
    maxima
        What the car answered to 4F and 50, decoded: non-zero maxima replace the full scale.

    Raises
    ------
    BellmouthError
        If the identifier is unknown or the length is wrong.
    """
    rows = by_identifier(identifier)
    if len(data) != rows[0].bytes:
        raise BellmouthError(
            f"Parameter {identifier:02X}: {len(data)} data bytes where the standard has "
            f"{rows[0].bytes}; read the reply again."
        )
    return {row.name: _decode_one(row, data, maxima or {}) for row in rows}


def _decode_one(row: Parameter, data: bytes, maxima: Mapping[str, float | None]) -> float | None:
    raw = int.from_bytes(data[row.first : row.first + row.width], "big", signed=row.signed)
    if raw == row.absent or (row.valid and not data[row.valid[0]] >> row.valid[1] & 1):
        return None
    if row.kind != "number":
        return raw
    maximum = maxima.get(row.rescaled_by) if row.rescaled_by else None
    return row.from_raw(raw) * (maximum / row.full_scale if maximum else 1.0)


def encode(identifier: int, values: Mapping[str, float | None]) -> bytes:
    """Data bytes of one parameter's reply: the inverse of :func:`decode`.

    Values are rounded to the nearest step. A value that is None or left out is coded as not
    available where the standard can say so, else as raw zero.

    Parameters
    ----------
    identifier
        Number under service 01 or 02.
    values
        Values by name, of this identifier only. [each parameter's unit]

    Raises
    ------
    BellmouthError
        If the identifier or a name is unknown, or a value is outside its range.
    """
    rows = by_identifier(identifier)
    strange = set(values) - {row.name for row in rows}
    if strange:
        raise BellmouthError(
            f"Parameter {identifier:02X} does not report {', '.join(sorted(strange))}; "
            f"it reports {', '.join(row.name for row in rows)}."
        )
    data = bytearray(rows[0].bytes)
    for row in rows:
        value = values.get(row.name)
        raw = row.absent or 0 if value is None else row.to_raw(value)
        data[row.first : row.first + row.width] = raw.to_bytes(row.width, "big", signed=row.signed)
        if row.valid and value is not None:
            data[row.valid[0]] |= 1 << row.valid[1]
    return bytes(data)


def quantise(name: str, values: ArrayLike) -> NDArray[np.float64]:
    """Values as the standard would report them: to the nearest step, held within the range.

    Parameters
    ----------
    name
        The parameter's name.
    values
        Values of any shape; NaN stays NaN. [the parameter's unit]
    """
    row = by_name(name)
    raw = np.asarray(values, dtype=np.float64) * row.divisor / row.multiplier + row.zero
    whole = np.clip(np.rint(raw), *row.raw_range)
    quantised: NDArray[np.float64] = (whole - row.zero) * row.multiplier / row.divisor
    return quantised


def meanings(name: str, code: float) -> tuple[str, ...]:
    """What a code says, in words: one meaning for a choice, one for each set bit for flags.

    A bit or code without a meaning is given by its number, not dropped.
    """
    row, whole, known = by_name(name), int(code), _meanings().get(name, {})
    if row.kind == "flags":
        bits = [bit for bit in range(8 * row.width) if whole >> bit & 1]
        return tuple(known.get(bit, f"bit {bit}") for bit in bits)
    return (known.get(whole, f"code {whole}"),)


def supported(identifier: int, mask: bytes) -> tuple[int, ...]:
    """Identifiers that a supported-parameters reply (00, 20, 40 …) lists as supported."""
    whole = int.from_bytes(mask, "big")
    size = 8 * len(mask)
    return tuple(identifier + 1 + n for n in range(size) if whole >> (size - 1 - n) & 1)


def encode_supported(identifier: int, wanted: tuple[int, ...]) -> bytes:
    """Data bytes of a supported-parameters reply: the inverse of :func:`supported`.

    Identifiers outside ``identifier + 1`` to ``identifier + 32`` are another reply's to list; the
    last bit is set where any lies beyond, so that a reader knows to ask on.
    """
    mask = 0
    for one in wanted:
        if one > identifier:
            mask |= 1 << max(32 - (one - identifier), 0)
    return mask.to_bytes(4, "big")


def further_banks(sensors: int) -> frozenset[int]:
    """Parameters whose replies hold a second byte, for bank 3 or 4, on an engine that has those.

    ``sensors`` is parameter 1D; the trims of banks 1 and 2 stand first. From memory of SAE J1979.
    """
    found: set[int] = set()
    for bits, identifiers in _FURTHER_BANKS.items():
        found |= identifiers if sensors & bits else set()
    return frozenset(found)


def _rows(name: str) -> list[dict[str, str]]:
    text = resources.files(__package__ or "").joinpath(name).read_text("utf-8")
    return list(csv.DictReader(text.splitlines()))


@functools.cache
def _by_name() -> dict[str, Parameter]:
    return {row["name"]: _parameter(row) for row in _rows("parameters.csv")}


@functools.cache
def _by_identifier() -> dict[int, tuple[Parameter, ...]]:
    grouped: dict[int, tuple[Parameter, ...]] = {}
    for row in _by_name().values():
        grouped[row.identifier] = (*grouped.get(row.identifier, ()), row)
    return grouped


@functools.cache
def _meanings() -> dict[str, dict[int, str]]:
    found: dict[str, dict[int, str]] = {}
    for row in _rows("meanings.csv"):
        found.setdefault(row["parameter"], {})[int(row["code"])] = row["meaning"]
    return found


def _parameter(row: Mapping[str, str]) -> Parameter:
    return Parameter(
        identifier=int(row["identifier"], 16),
        name=row["name"],
        bytes=int(row["bytes"]),
        first=int(row["first"]),
        width=int(row["width"]),
        signed=row["signed"] == "1",
        zero=int(row["zero"]),
        multiplier=int(row["multiplier"]),
        divisor=int(row["divisor"]),
        unit=row["unit"],
        kind=row["kind"],
        absent=int(row["absent"]) if row["absent"] else None,
        valid=(int(row["valid_byte"]), int(row["valid_bit"])) if row["valid_byte"] else None,
        rescaled_by=row["rescaled_by"] or None,
        evidence=row["evidence"],
    )
