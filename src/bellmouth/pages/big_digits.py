"""Digits of block characters, to be read at a metre in sun or dark."""

from collections.abc import Sequence

__all__ = ["HEIGHT", "big"]

HEIGHT = 5
_SHAPES = {
    "0": ("█████", "█   █", "█   █", "█   █", "█████"),
    "1": ("  █  ", " ██  ", "  █  ", "  █  ", "█████"),
    "2": ("█████", "    █", "█████", "█    ", "█████"),
    "3": ("█████", "    █", " ████", "    █", "█████"),
    "4": ("█   █", "█   █", "█████", "    █", "    █"),
    "5": ("█████", "█    ", "█████", "    █", "█████"),
    "6": ("█████", "█    ", "█████", "█   █", "█████"),
    "7": ("█████", "    █", "   █ ", "  █  ", "  █  "),
    "8": ("█████", "█   █", "█████", "█   █", "█████"),
    "9": ("█████", "█   █", "█████", "    █", "█████"),
    ":": (" ", "█", " ", "█", " "),
    ".": (" ", " ", " ", " ", "█"),
    "-": ("    ", "    ", "████", "    ", "    "),
    " ": ("   ",) * HEIGHT,
    "N": ("█   █", "██  █", "█ █ █", "█  ██", "█   █"),
    "O": ("█████", "█   █", "█   █", "█   █", "█████"),
    "W": ("█   █", "█   █", "█ █ █", "██ ██", "█   █"),
    "S": ("█████", "█    ", "█████", "    █", "█████"),
    "T": ("█████", "  █  ", "  █  ", "  █  ", "  █  "),
    "P": ("█████", "█   █", "█████", "█    ", "█    "),
    "K": ("█   █", "█  █ ", "███  ", "█  █ ", "█   █"),
    "?": ("█████", "    █", "  ███", "     ", "  █  "),
}


def big(text: str, *, scale: int = 2) -> Sequence[str]:
    """Lines of a text in big digits, ``scale`` characters wide a block; unknown signs are blank."""
    shapes = [_SHAPES.get(sign, _SHAPES[" "]) for sign in text]
    lines = ["  ".join(shape[row] for shape in shapes) for row in range(HEIGHT)]
    return ["".join(sign * scale for sign in line) for line in lines]
