"""Who a practice car says it is: an invented number with a valid check digit, and its software."""

import zlib
from dataclasses import dataclass

from bellmouth.practice.cars import Cars

__all__ = ["Identity", "check_digit", "identity_of", "number_of"]

# Values of letters and weights of places: 49 CFR 565.15, quoted from memory.
_LETTERS = dict(zip("ABCDEFGH", range(1, 9), strict=True))
_LETTERS |= {"J": 1, "K": 2, "L": 3, "M": 4, "N": 5, "P": 7, "R": 9}
_LETTERS |= dict(zip("STUVWXYZ", range(2, 10), strict=True))
# Of a drawn car, what no car file changes.
_OWN = ("filling_idle", "filling_load", "wave_phase", "efficiency", "discharge", "roughness")
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


def identity_of(kind: str, variant: str, number: int) -> Identity:
    """Identity of a practice car's ``engine`` or ``gearbox`` controller; ``number`` is the car's.

    The vehicle number begins with 00P: no region of the world has the zero (ISO 3780, from memory),
    so no maker has that code and no real car such a number.
    """
    vin = f"00PBELLM0{variant}P{number % 1_000_000:06d}"
    vin = vin[:8] + check_digit(vin) + vin[9:]
    calibration = f"PRACTICE-{variant}{'E' if kind == 'engine' else 'G'}{number % 10_000:04d}"
    verification = zlib.crc32(calibration.encode()).to_bytes(4, "big")
    if kind == "engine":
        return Identity(vin, calibration, verification, "ECM-EngineControl")
    return Identity(None, calibration, verification, "TCM-TransmisCtrl")


def number_of(variant: str, car: Cars) -> int:
    """A number that a practice car keeps whatever is wrong with it, and that another car has not.

    A seed alone will not do: which car is drawn for it depends on the fault and on a car file. Of
    what a car file says no more counts than such a file is written to.
    """
    drawn = [round(float(getattr(car, name)[0]), 6) for name in _OWN]
    row = [round(float(car.displacement_l[0]), 2), round(float(car.specified_rpm[0]))]
    return zlib.crc32(repr((variant, drawn, row)).encode())
