"""Frames of a CAN bus, as the practice wires hand them on."""

from dataclasses import dataclass

__all__ = ["Frame"]


@dataclass(frozen=True)
class Frame:
    """One frame of classic CAN.

    ``length`` counts for a remote frame alone, which asks for so many bytes and holds none.
    """

    identifier: int
    data: bytes = b""
    extended: bool = False
    remote: bool = False
    length: int = 0
