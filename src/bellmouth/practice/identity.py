"""Who a practice car says it is: an invented number with a valid check digit, and its software."""

import zlib
from dataclasses import dataclass

__all__ = ["Identity", "check_digit", "identity_of"]

# Values of letters and weights of places: 49 CFR 565.15, quoted from memory.
_LETTERS = dict(zip("ABCDEFGH", range(1, 9), strict=True))
_LETTERS |= {"J": 1, "K": 2, "L": 3, "M": 4, "N": 5, "P": 7, "R": 9}
_LETTERS |= dict(zip("STUVWXYZ", range(2, 10), strict=True))
_WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)


@dataclass(frozen=True)
class Identity:
    """What service 09 tells of one controller.

    ``vehicle_number`` is None for a controller that leaves it to the engine's;
    ``verification`` is the four bytes that stand for the software as it is.
    """

    vehicle_number: str | None
    calibration: str
    verification: bytes
    name: str


def check_digit(number: str) -> str:
    """The ninth character that a vehicle number of seventeen ought to have: 0 to 9 or X."""
    total = sum(
        weight * (int(c) if c.isdigit() else _LETTERS[c])
        for weight, c in zip(_WEIGHTS, number, strict=True)
    )
    rest = total % 11
    return "X" if rest == 10 else str(rest)


def identity_of(kind: str, variant: str, seed: int) -> Identity:
    """Identity of a practice car's ``engine`` or ``gearbox`` controller.

    The number begins with 00P: no region of the world has the zero, so no real car does either.
    """
    number = f"00PBELLM0{variant}P{seed % 1_000_000:06d}"
    number = number[:8] + check_digit(number) + number[9:]
    calibration = f"PRACTICE-{variant}{'E' if kind == 'engine' else 'G'}{seed % 10_000:04d}"
    verification = zlib.crc32(calibration.encode()).to_bytes(4, "big")
    if kind == "engine":
        return Identity(number, calibration, verification, "ECM-EngineControl")
    return Identity(None, calibration, verification, "TCM-TransmisCtrl")
