"""A file from a browser, put where it can be read: its name is no path, its size has an end."""

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fastapi import UploadFile
from starlette.concurrency import run_in_threadpool

from bellmouth.errors import BellmouthError
from bellmouth.pages.site.growth import MOST_BYTES, refuse_growth

if TYPE_CHECKING:
    from bellmouth.recording.series import Recording

__all__ = ["ENDINGS", "kept_mapping", "kept_upload", "of_fit_length", "read_fit"]

ENDINGS = (".csv", ".csv.gz", ".parquet", ".mf4", ".log", ".asc", ".blf", ".trc")
_BLOCK = 1 << 20
#: Of one parameter: at ten a second, half a day. What is longer takes minutes to be judged, and
#: whoever waits for a page would hear nothing.
_MOST_READINGS = 500_000


async def kept_upload(
    file: UploadFile, folder: Path, endings: tuple[str, ...] = ENDINGS, most: int = MOST_BYTES
) -> Path:
    """Write an upload into a folder under a name of our own.

    Raises
    ------
    BellmouthError
        If it ends otherwise than allowed, or grows beyond all measure when it is unpacked.
    """
    name = (file.filename or "").lower()
    # The longest first, so that .csv.gz is not taken for another.
    ending = next((one for one in sorted(endings, key=len)[::-1] if name.endswith(one)), None)
    if ending is None:
        if ".csv.gz" in endings:
            raise BellmouthError(f"Choose a recording that ends in {', '.join(endings)}.")
        raise BellmouthError(f"Choose a file that ends in {', '.join(endings)}.")
    path = folder / f"recording{ending}"
    with path.open("wb") as there:
        while block := await file.read(_BLOCK):
            there.write(block)
    await run_in_threadpool(_refuse, path, ending, most)
    return path


async def kept_mapping(file: UploadFile | None, folder: Path) -> Path | None:
    """A mapping file from a field that may be left empty; None where it was."""
    if file is None or not file.filename:
        return None
    there = folder / "mapping"
    there.mkdir()
    return (await kept_upload(file, there, (".toml",))).rename(there / "mapping.toml")


def of_fit_length(recording: "Recording") -> "Recording":
    """The recording itself, where somebody can wait for it to be judged.

    Raises
    ------
    BellmouthError
        If it holds too many readings.
    """
    most = max((len(one.value) for one in recording.series.values()), default=0)
    if most > _MOST_READINGS:
        raise BellmouthError(
            f"That recording holds {most} readings of one parameter, and the page judges "
            f"{_MOST_READINGS} at most. Give a shorter one, or use bellmouth find."
        )
    return recording


def read_fit(path: Path, *, loads_off: bool = False, **reading: Any) -> "Recording":
    """A file's recording, of fit length; ``loads_off`` is whether the person says that loads were
    off at idle, ``reading`` goes to ``read_recording``."""
    from bellmouth.recording import read_recording  # noqa: PLC0415 - heavy

    recording = of_fit_length(read_recording(path, **reading))
    return replace(recording, loads_off=loads_off or recording.loads_off)


def _refuse(path: Path, ending: str, most: int) -> None:
    with path.open("rb") as there:
        head = there.read(2)
    if ending.endswith(".gz") and head and head != b"\x1f\x8b":
        raise BellmouthError("That file is not gzip, or is cut short. Send it again.")
    refuse_growth(path, most)
