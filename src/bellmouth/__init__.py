"""Bellmouth reads a recording of a petrol engine and says what is wrong with its air path.

These functions are the public interface, and each is loaded when it is first used::

    import bellmouth

    recording = bellmouth.read_recording("idle.csv")
    car = bellmouth.read_car("car.toml")
    finding = bellmouth.find(recording, car)
    proof = bellmouth.prove(recording, bellmouth.read_recording("after.csv"), car)

Bad input raises a :class:`BellmouthError`, whose text is one sentence for the person at the car.
"""

from importlib import import_module
from typing import TYPE_CHECKING

from bellmouth.errors import BellmouthError

if TYPE_CHECKING:
    from bellmouth.car import read_car
    from bellmouth.finding import find
    from bellmouth.finding.prove import prove
    from bellmouth.recording import read_recording

__all__ = ["BellmouthError", "__version__", "find", "prove", "read_car", "read_recording"]

__version__ = "0.1.0"

_HOMES = {
    "find": "bellmouth.finding",
    "prove": "bellmouth.finding.prove",
    "read_car": "bellmouth.car",
    "read_recording": "bellmouth.recording",
}


if not TYPE_CHECKING:  # a checker would take any name for one of ours

    def __getattr__(name: str) -> object:
        """Load a public function from the room it lives in, the first time it is asked for."""
        if name not in _HOMES:
            raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
        found = getattr(import_module(_HOMES[name]), name)
        globals()[name] = found
        return found


def __dir__() -> list[str]:
    return sorted(set(globals()) | set(__all__))
