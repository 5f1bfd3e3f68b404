"""Recordings and their table of cars as what a family is learnt from."""

from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

from bellmouth.errors import BellmouthError, CarError
from bellmouth.fleet.family import Example
from bellmouth.fleet.inputs import CarTable, explain, find_recordings, owner_of
from bellmouth.recording import read_recording
from bellmouth.recording.series import Recording
from bellmouth.recording.steady import stretches

__all__ = ["examples_of", "family_name"]


def family_name(table: CarTable, named: str | None) -> str:
    """The family to learn: the one named, or the only one in the table of cars.

    Raises
    ------
    CarError
        If none is named and the table has several, or the one named is not in it.
    """
    families = sorted({family for family in table.family.values() if family})
    if named is None:
        if len(families) > 1:
            raise CarError(
                f"the cars are of {len(families)} families ({', '.join(families[:4])}"
                f"{', …' if len(families) > 4 else ''}): say which with --name."
            )
        return families[0] if families else "unnamed"
    if families and named not in families:
        raise CarError(
            f'family "{named}" is not in the table of cars: it has {", ".join(families[:6])}.'
        )
    return named


def examples_of(
    given: Sequence[str], table: CarTable, name: str
) -> tuple[list[Example], list[str]]:
    """Every recording of the family's cars that can be read, and why others cannot.

    A table without families is taken as one family.
    """
    told = any(table.family.values())
    mine = {car for car, family in table.family.items() if family == name or not told}
    found, refused = [], []
    for file in find_recordings(given):
        identity = owner_of(file.path, frozenset(table.identities))
        if identity is None or identity not in mine or identity not in table.cars:
            continue
        try:
            recording = _read(file.path)
        except (BellmouthError, OSError, ValueError) as error:
            refused.append(f"{file.path}: {explain(error)}")
            continue
        car = table.cars[identity]
        found.append(Example(identity, stretches(recording), car, file.path))
    return found, refused


def _read(path: str) -> Recording:
    """A recording from its file, or from a copy of it where it lies at an address."""
    if "://" not in path:
        return read_recording(path)
    import fsspec  # noqa: PLC0415 - only addresses need it

    with TemporaryDirectory() as folder:
        copy = Path(folder) / path.rsplit("/", 1)[-1]
        with fsspec.open(path, "rb") as there:
            copy.write_bytes(there.read())
        return read_recording(copy)
