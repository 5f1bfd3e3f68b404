"""Recordings and their table of cars as what a family is learnt from."""

import hashlib
import re
from collections.abc import Sequence
from pathlib import Path

from bellmouth.errors import CarError
from bellmouth.fleet.addresses import near
from bellmouth.fleet.family import Example
from bellmouth.fleet.inputs import CarTable, explain, find_recordings, owner_of
from bellmouth.recording import read_recording
from bellmouth.recording.series import Recording
from bellmouth.recording.steady import stretches

__all__ = ["MOST_RECORDINGS", "examples_of", "family_name", "family_paths"]

#: More recordings than these tell next to nothing more of a family, and cost as much each.
MOST_RECORDINGS = 500
_NAMED = "{family}"


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


def family_paths(table: CarTable, given: Path) -> dict[str, Path]:
    """Where the file of each family in the table goes: ``given``, which names the family by
    ``{family}`` where there are several.

    Raises
    ------
    CarError
        If there are several and ``given`` would be the same for two.
    """
    families = sorted({family for family in table.family.values() if family}) or ["unnamed"]
    if _NAMED not in str(given) and len(families) == 1:
        return {families[0]: given}
    paths = {name: Path(str(given).replace(_NAMED, _plain(name))) for name in families}
    if len(set(paths.values())) < len(paths):
        raise CarError(
            f"{given}: would be the file of {len(families)} families "
            f"({', '.join(families[:4])}{', …' if len(families) > 4 else ''}). Put {_NAMED} where "
            f"the name of each shall stand, such as {_NAMED}.toml."
        )
    return paths


def _plain(name: str) -> str:
    """A family's name as part of a file's."""
    return re.sub(r"\W+", "-", name).strip("-") or "unnamed"


def examples_of(
    given: Sequence[str],
    table: CarTable,
    name: str,
    *,
    most: int | None = None,
    leaving_out: Sequence[str | Path] = (),
) -> tuple[list[Example], list[str]]:
    """Recordings of the family's cars that can be read, ``most`` of them evenly chosen, and why
    others cannot.

    A table without families is taken as one family. ``leaving_out`` is what lies among the
    recordings and is none, such as the table itself.
    """
    told = any(table.family.values())
    mine = {car for car, family in table.family.items() if family == name or not told}
    owned, refused = _owned(given, table, mine, leaving_out)
    if most is not None and len(owned) > most:
        places = [place * len(owned) // most for place in range(most)]
        owned = [owned[place] for place in places]
    found, seen = [], dict[str, str]()
    for path, identity in owned:
        try:
            recording, content = _read(path)
            if (same := seen.setdefault(content, path)) != path:
                refused.append(f"{path}: is the same recording as {same}, which counts once")
                continue
            found.append(Example(identity, stretches(recording), table.cars[identity], path))
        except Exception as error:  # noqa: BLE001 - a damaged recording is told, never a stop
            refused.append(f"{path}: {explain(error)}")
    return found, refused


def _owned(
    given: Sequence[str], table: CarTable, mine: set[str], leaving_out: Sequence[str | Path]
) -> tuple[list[tuple[str, str]], list[str]]:
    """Recordings and whose each is; those of nobody, and cars without any, with the reason."""
    owned, refused = [], []
    identities = frozenset(table.identities)
    for file in find_recordings(given, leaving_out=leaving_out):
        identity = owner_of(file.path, identities)
        if identity is None:
            refused.append(f"{file.path}: no car in the table claims this recording")
        elif identity in mine and identity in table.refused:
            refused.append(f"{file.path}: {table.refused[identity]}")
        elif identity in mine:
            owned.append((file.path, identity))
    idle = sorted(mine & table.cars.keys() - {identity for _, identity in owned})
    refused += [f"{identity}: no recording of this car was given" for identity in idle]
    return owned, refused


def _read(path: str) -> tuple[Recording, str]:
    """A recording from its file, or from a copy of it where it lies at an address; and a hash of
    what is in it."""
    with near(path) as here:
        recording = read_recording(here)
        with here.open("rb") as file:
            return recording, hashlib.file_digest(file, "sha256").hexdigest()
