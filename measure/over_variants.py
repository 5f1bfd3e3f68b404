"""The arguments of a table over several variants of the simulated engine."""

import argparse

__all__ = ["asked"]


def asked(module: str, about: str | None, arguments: list[str] | None) -> argparse.Namespace:
    """``variants``, ``cases``, ``seed`` and ``processes`` of ``python -m measure.MODULE``.

    The variants kept for the end are refused without ``--final``.
    """
    parser = argparse.ArgumentParser(prog=f"python -m measure.{module}", description=about)
    parser.add_argument("--variants", default="ABC", help="letters of A to E")
    parser.add_argument("--final", action="store_true", help="allow the variants kept for the end")
    parser.add_argument("--cases", type=int, default=200)
    parser.add_argument("--seed", type=int, default=31)
    parser.add_argument("--processes", type=int, default=2)
    found = parser.parse_args(arguments)
    allowed = "ABCDE" if found.final else "ABC"
    if not found.variants or set(found.variants) - set(allowed):
        parser.error(
            f"--variants: letters of {allowed}"
            + ("" if found.final else "; the others are kept for the end (--final)")
        )
    return found
