"""Files that a command writes: what is there already is never replaced unasked."""

import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, TypeVar

import click

from bellmouth.errors import BellmouthError

__all__ = ["overwrite_option", "refuse_existing", "refuse_nowhere"]

F = TypeVar("F", bound=Callable[..., Any])


def overwrite_option(command: F) -> F:
    """Give a command ``--overwrite``."""
    return click.option(
        "--overwrite", is_flag=True, help="Replace a file of that name that is there already."
    )(command)


def refuse_existing(*paths: Path | None, overwrite: bool) -> None:
    """Refuse to write where something is, or nothing can be, before any work is done; None is not
    written.

    Raises
    ------
    BellmouthError
        Where one of them is a folder, or is there and may not be replaced, or its folder is not
        there or not writable; or it is a file that the command reads, whatever may be replaced.
    """
    for path in paths:
        if path is None:
            continue
        if path.is_dir():
            raise BellmouthError(f"{path}: is a folder. Give the name of a file to write.")
        if path.exists() and not overwrite:
            raise BellmouthError(
                f"{path}: is there already. Choose another name, or add --overwrite."
            )
        if any(_one_file(path, other) for other in _given() if other is not path):
            raise BellmouthError(
                f"{path}: is given for something else in this command, too, and would be lost. "
                "Choose another name to write to."
            )
        refuse_nowhere(path)


def _given() -> Iterator[Path | str]:
    """What the running command was given that may name a file."""
    context = click.get_current_context(silent=True)
    for value in () if context is None else context.params.values():
        for one in value if isinstance(value, tuple) else (value,):
            if isinstance(one, (Path, str)):
                yield one


def _one_file(path: Path, other: Path | str) -> bool:
    if isinstance(other, str) and not Path(other).is_file():
        return False  # a word, not a file
    if path.exists() and Path(other).exists():
        return path.samefile(other)
    return path.absolute() == Path(other).absolute()


def refuse_nowhere(*paths: Path) -> None:
    """Refuse, before any work is done, to write into a folder that is not there or not writable.

    Raises
    ------
    BellmouthError
        For the first such path.
    """
    for path in paths:
        folder = path.absolute().parent
        if not folder.is_dir():
            raise BellmouthError(
                f"{path}: there is no folder {folder}. Make it, or choose another."
            )
        if not os.access(folder, os.W_OK):
            raise BellmouthError(f"{path}: nothing may be written in {folder}. Choose another.")
