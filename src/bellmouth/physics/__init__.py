"""How air and fuel behave: pure functions on arrays, in SI units, with no files and no state."""

from bellmouth.physics import air, cylinder, fuel, orifice, throttle

__all__ = ["air", "cylinder", "fuel", "orifice", "throttle"]
