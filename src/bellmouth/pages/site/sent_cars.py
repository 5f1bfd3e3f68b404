"""A table of cars and their recordings, as a browser sends them together."""

from collections.abc import Sequence
from pathlib import Path

from fastapi import UploadFile

from bellmouth.errors import BellmouthError
from bellmouth.pages.site.uploads import kept_upload

__all__ = ["kept_cars", "owner_of_upload"]

_TABLES = (".csv", ".parquet")
_RECORDINGS = (".csv", ".csv.gz", ".parquet")


async def kept_cars(
    cars: UploadFile, files: Sequence[UploadFile], folder: Path
) -> tuple[Path, list[tuple[str, Path]]]:
    """Where the table is put, and each recording with what the browser calls it.

    Raises
    ------
    BellmouthError
        As ``kept_upload``.
    """
    (there := folder / "table").mkdir()
    table = await kept_upload(cars, there, _TABLES)
    table = table.rename(there / f"cars{table.suffix}")
    kept = []
    for number, file in enumerate(files):
        (there := folder / str(number)).mkdir()
        kept.append((file.filename or "", await kept_upload(file, there, _RECORDINGS)))
    return table, kept


def owner_of_upload(name: str, cars: frozenset[str]) -> str:
    """The car whose name begins that of a file: what a browser calls it is never a path.

    Raises
    ------
    BellmouthError
        If it is no car's.
    """
    from bellmouth.fleet.inputs import owner_of  # noqa: PLC0415 - loads the reading of tables

    owner = owner_of(name.replace("\\", "/").rsplit("/", 1)[-1], cars)
    if owner is None:
        raise BellmouthError(
            f"{name}: belongs to no car of the table. Begin its name with the car's."
        )
    return owner
