"""The option that takes what the owner says, shared by every command that is told it."""

from collections.abc import Callable
from typing import Any, TypeVar

import click

__all__ = ["complaint_option"]

F = TypeVar("F", bound=Callable[..., Any])


def complaint_option(words: str) -> Callable[[F], F]:
    """Give a command ``--complaint``, explained by ``words``; an empty one is a mistake of typing,
    not silence."""
    return click.option(
        "--complaint", callback=_said, shell_complete=_begun, metavar="TEXT", help=words
    )


def _begun(_: click.Context, __: click.Parameter, begun: str) -> list[str]:
    from bellmouth.car import COMPLAINTS  # noqa: PLC0415 - only the shell's tab key pays for it

    return [complaint for complaint in COMPLAINTS if complaint.startswith(begun)]


def _said(_: click.Context, __: click.Parameter, text: str | None) -> str | None:
    if text is not None and not text.strip():
        raise click.UsageError("--complaint is empty: say what the owner says, or leave it out.")
    return text
