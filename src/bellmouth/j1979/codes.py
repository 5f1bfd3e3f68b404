"""Trouble codes, monitor status and fuel-system status: what the standard packs into bits."""

import csv
import functools
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from importlib import resources
from typing import Literal, get_args

from bellmouth.errors import BellmouthError
from bellmouth.j1979.parameters import meanings

__all__ = [
    "CLOSED_LOOP",
    "Ignition",
    "MonitorState",
    "MonitorStatus",
    "decode_code",
    "decode_codes",
    "decode_monitor_status",
    "encode_code",
    "encode_codes",
    "encode_monitor_status",
    "fuel_system_status",
]

Ignition = Literal["spark", "compression"]
MonitorState = Literal["not supported", "supported complete", "supported incomplete"]

#: Codes of fuel-system status (parameter 03) at which the trims follow an oxygen sensor: with a
#: fault in one of the sensors the loop is still closed, on another one. From memory.
CLOSED_LOOP = (2.0, 16.0)

_LETTERS = "PCBU"
_SHAPE = re.compile(r"([PCBU])([0-3])([0-9A-F]{3})", re.IGNORECASE)
_LAMP = 0x80
_COMPRESSION = 0x08


def decode_code(data: bytes) -> str:
    """Trouble code in two bytes: ``01 71`` is P0171.

    Bits 15 and 14 give the letter (P, C, B, U), bits 13 and 12 the first digit, the rest three
    hexadecimal digits: SAE J2012 / ISO 15031-6, quoted from memory.

    Raises
    ------
    BellmouthError
        If there are not exactly two bytes.
    """
    if len(data) != 2:
        raise BellmouthError(f"A trouble code has two bytes, not {len(data)}; read it again.")
    number = int.from_bytes(data, "big")
    return f"{_LETTERS[number >> 14]}{number >> 12 & 3}{number & 0xFFF:03X}"


def encode_code(code: str) -> bytes:
    """Two bytes of a trouble code: the inverse of :func:`decode_code`.

    Raises
    ------
    BellmouthError
        If the text is not one of P, C, B, U, a digit 0 to 3 and three hexadecimal digits.
    """
    found = _SHAPE.fullmatch(code)
    if not found:
        raise BellmouthError(
            f'"{code}" is not a trouble code; write one of P, C, B, U, a digit 0 to 3 and three '
            "hexadecimal digits, such as P0171."
        )
    letter, digit, rest = found.groups()
    number = _LETTERS.index(letter.upper()) << 14 | int(digit) << 12 | int(rest, 16)
    return number.to_bytes(2, "big")


def decode_codes(data: bytes) -> tuple[str, ...]:
    """Trouble codes in a row of byte pairs; pairs of zeros are padding and left out.

    Raises
    ------
    BellmouthError
        If the number of bytes is odd.
    """
    pairs = [data[n : n + 2] for n in range(0, len(data), 2)]
    return tuple(decode_code(pair) for pair in pairs if any(pair) or len(pair) != 2)


def encode_codes(codes: Iterable[str]) -> bytes:
    """Byte pairs of trouble codes in a row; raises :class:`BellmouthError` for a bad one."""
    return b"".join(encode_code(code) for code in codes)


@dataclass(frozen=True)
class MonitorStatus:
    """Parameter 01 (since codes were cleared) or 41 (this trip), decoded.

    Attributes
    ----------
    lamp_on
        Whether the malfunction lamp is commanded on; 41 leaves it reserved.
    code_count
        Number of confirmed codes, 0 to 127; 41 leaves it reserved.
    ignition
        ``spark`` or ``compression``.
    monitors
        State by monitor's name.
    """

    lamp_on: bool
    code_count: int
    ignition: Ignition
    monitors: Mapping[str, MonitorState]

    @property
    def ready(self) -> bool:
        """Whether no supported monitor is still incomplete."""
        return "supported incomplete" not in self.monitors.values()


def decode_monitor_status(data: bytes) -> MonitorStatus:
    """Monitor status from the four data bytes of parameter 01 or 41.

    Raises
    ------
    BellmouthError
        If there are not exactly four bytes.
    """
    if len(data) != 4:
        raise BellmouthError(f"Monitor status has four bytes, not {len(data)}; read it again.")
    ignition: Ignition = "compression" if data[1] & _COMPRESSION else "spark"
    monitors = {name: _state(data, bits) for name, bits in _monitors(ignition).items()}
    return MonitorStatus(bool(data[0] & _LAMP), data[0] & ~_LAMP, ignition, monitors)


def encode_monitor_status(status: MonitorStatus) -> bytes:
    """Four data bytes of parameter 01 or 41: the inverse of :func:`decode_monitor_status`.

    Monitors left out are coded as not supported.

    Raises
    ------
    BellmouthError
        If the count of codes, a monitor's name or its state is not the standard's.
    """
    if not 0 <= status.code_count < _LAMP:
        raise BellmouthError(
            f"{status.code_count} trouble codes cannot be reported; give a count of 0 to 127."
        )
    data = bytearray(4)
    data[0] = status.code_count | (_LAMP if status.lamp_on else 0)
    data[1] = _COMPRESSION if status.ignition == "compression" else 0
    known = _monitors(status.ignition)
    for name, state in status.monitors.items():
        if name not in known or state not in get_args(MonitorState):
            raise BellmouthError(
                f'Monitor "{name}" cannot be "{state}" with {status.ignition} ignition; the '
                f"monitors are {', '.join(known)}, each {', '.join(get_args(MonitorState))}."
            )
        _set_state(data, known[name], state)
    return bytes(data)


@dataclass(frozen=True)
class _Bits:
    supported: tuple[int, int]  # byte, bit
    incomplete: tuple[int, int]


def _state(data: bytes, bits: _Bits) -> MonitorState:
    if not data[bits.supported[0]] >> bits.supported[1] & 1:
        return "not supported"
    waiting = data[bits.incomplete[0]] >> bits.incomplete[1] & 1
    return "supported incomplete" if waiting else "supported complete"


def _set_state(data: bytearray, bits: _Bits, state: MonitorState) -> None:
    if state != "not supported":
        data[bits.supported[0]] |= 1 << bits.supported[1]
    if state == "supported incomplete":
        data[bits.incomplete[0]] |= 1 << bits.incomplete[1]


@functools.cache
def _monitors(ignition: Ignition) -> Mapping[str, _Bits]:
    text = resources.files("bellmouth.j1979").joinpath("monitors.csv").read_text("utf-8")
    return {
        row["monitor"]: _Bits(
            (int(row["supported_byte"]), int(row["supported_bit"])),
            (int(row["incomplete_byte"]), int(row["incomplete_bit"])),
        )
        for row in csv.DictReader(text.splitlines())
        if row["ignition"] in {"any", ignition}
    }


def fuel_system_status(code: float) -> str:
    """What one byte of parameter 03 says of a fuel system, in words; ``absent`` for zero.

    Raises
    ------
    BellmouthError
        If more than one bit is set: the standard allows one state at a time.
    """
    said = meanings("fuel_system_status", code)
    if len(said) > 1:
        raise BellmouthError(
            f"Fuel-system status {int(code):02X} sets {len(said)} bits where the standard allows "
            "one; read it again."
        )
    return said[0] if said else "absent"
