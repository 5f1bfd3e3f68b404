"""The procedures that come with Bellmouth, and how one is found by name, number or file."""

import difflib
import functools
from importlib import resources
from pathlib import Path

from bellmouth.errors import ProcedureError
from bellmouth.learning.procedure import Procedure
from bellmouth.learning.procedure_reader import procedure_from_text, read_procedure

__all__ = ["find_procedure", "packs", "refuse_unchecked"]


@functools.cache
def packs() -> tuple[Procedure, ...]:
    """Every procedure of the packs, in the order in which a job would do them."""
    folder = resources.files(__package__).joinpath("packs")
    texts = sorted(
        (entry.name, entry.read_text("utf-8"))
        for entry in folder.iterdir()
        if entry.name.endswith(".toml")
    )
    found = [procedure_from_text(text, name) for name, text in texts]
    return tuple(sorted(found, key=lambda procedure: procedure.order))


def find_procedure(name: str | Path) -> Procedure:
    """A procedure by its name, its short number (``P4``) or a file that ends in ``.toml``.

    Raises
    ------
    ProcedureError
        Where there is none of that name, with the nearest; or as ``read_procedure``.
    """
    path = Path(name)
    if path.suffix.lower() == ".toml":
        return read_procedure(path)
    wanted = str(name).strip().lower().replace("_", "-").replace(" ", "-")
    for procedure in packs():
        if wanted in (procedure.name, procedure.catalogue.lower()):
            return procedure
    names = [procedure.name for procedure in packs()]
    close = difflib.get_close_matches(wanted, names, n=1, cutoff=0.4)
    hint = f"Did you mean {close[0]}?" if close else "bellmouth procedures lists them."
    raise ProcedureError(f'No procedure is called "{name}". {hint} A file of yours ends in .toml.')


def refuse_unchecked(procedure: Procedure, *, manual_checked: bool) -> None:
    """Raise an error for a procedure without a source unless the car's manual was checked.

    Coaching asks this; judging does not, since it only reads.

    Raises
    ------
    ProcedureError
        Where nobody confirmed.
    """
    if not procedure.sourced and not manual_checked:
        raise ProcedureError(
            f'"{procedure.title}" is {procedure.source}, and off until you confirm that the car\'s '
            "own manual was checked: --manual-checked. Where the manual says otherwise, it wins."
        )
