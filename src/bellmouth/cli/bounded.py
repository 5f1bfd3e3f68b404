"""Numbers on the command line."""

from typing import Any

import click

__all__ = ["Within"]


class Within(click.FloatRange):
    """A number between bounds; ``nan`` is none, though it lies beyond neither."""

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """As click's own, and no ``nan``."""
        number = float(super().convert(value, param, ctx))
        if number != number:  # noqa: PLR0124 - what nan alone is
            self.fail(f"{value!r} is not a number.", param, ctx)
        return number
