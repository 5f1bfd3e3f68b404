"""How large a file becomes when it is unpacked, told before anything unpacks it into memory.

Readers go by a file's content and not by its name, and so does this: gzip, Parquet, the packed
containers of a BLF log, the packed blocks of an MDF file, and a car's archive.
"""

import gzip
import struct
import zipfile
import zlib
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from bellmouth.errors import BellmouthError

__all__ = ["MOST_BYTES", "MOST_VALUES", "refuse_growth"]

#: What a compressed file may grow to: some hours of a quick car. [byte], [value]
MOST_BYTES = 512 << 20
MOST_VALUES = 100_000_000
_BLOCK = 1 << 20
_PACKED = (b"\x1f\x8b", b"PAR1", b"LOGG", b"MDF", b"UnFinMF")
# Of a BLF log's object: signature, header's size and version, object's size, its kind.
_OBJECT = struct.Struct("<4sHHLL")
_CONTAINER, _DEFLATE, _CONTAINER_HEAD = 10, 2, 16
# Of an MDF block: identifier, length, number of links; then of a packed one: what, how, parameter,
# size before and after; of a channel group, after its links: record's identifier, cycles.
_MDF_BLOCK, _MDF_PACKED, _MDF_CYCLES = "<4s4xQQ", "<2sBxLQQ", "<QQ"
_MDF_HEAD = struct.calcsize(_MDF_BLOCK)


def refuse_growth(path: Path, most: int = MOST_BYTES) -> None:
    """Refuse a file that unpacks to more than ``most``. [byte]

    What is damaged otherwise is left to the reader, who says what is wrong with it.

    Raises
    ------
    BellmouthError
        If it grows beyond that, or is gzip that is cut short or holds another packed file.
    """
    with path.open("rb") as file:
        head = file.read(8)
    kinds: tuple[tuple[bytes, Callable[[Path, int], None]], ...] = (
        (b"\x1f\x8b", _gzip), (b"PAR1", _parquet), (b"LOGG", _blf), (b"MDF", _mdf),
        (b"UnFinMF", _mdf), (b"PK", _zip),
    )  # fmt: skip
    for magic, check in kinds:
        if head.startswith(magic):
            check(path, most)


def _too_much(most: int) -> BellmouthError:
    return BellmouthError(
        f"Unpacked, that file is more than {most >> 20} MB. Give a shorter recording."
    )


def _gzip(path: Path, most: int) -> None:
    size = 0
    try:
        with gzip.open(path) as inside:
            while block := inside.read(_BLOCK):
                if not size and block.startswith(_PACKED):
                    raise BellmouthError("That file is packed twice. Unpack it once and send that.")
                size += len(block)
                if size > most:
                    raise _too_much(most)
    except (OSError, EOFError, zlib.error) as error:
        raise BellmouthError("That file is not gzip, or is cut short. Send it again.") from error


def _zip(path: Path, most: int) -> None:
    # Nothing reads more of a member than its directory says, so what that says is enough.
    with suppress(zipfile.BadZipFile, NotImplementedError), zipfile.ZipFile(path) as archive:
        if sum(one.file_size for one in archive.infolist()) > most:
            raise _too_much(most)


def _parquet(path: Path, _: int) -> None:
    import polars as pl  # noqa: PLC0415 - loaded by whoever reads it anyway

    from bellmouth.recording.parquet_pages import pages_fit  # noqa: PLC0415

    if not pages_fit(path.read_bytes()):
        return
    try:
        lazy = pl.scan_parquet(path)
        columns = len(lazy.collect_schema())
        rows = int(lazy.select(pl.len()).collect().item())
    except (pl.exceptions.PolarsError, pl.exceptions.PanicException, OSError):
        return
    if rows * columns > MOST_VALUES:
        raise BellmouthError(
            f"That file holds {rows} rows of {columns} columns. Give a shorter recording."
        )


def _inflated(packed: bytes, most: int) -> int:
    """How much comes out of it, counted no further than ``most``. [byte]"""
    engine, size = zlib.decompressobj(), 0
    rest = packed
    try:
        while rest and size <= most:
            size += len(engine.decompress(rest, _BLOCK))
            rest = engine.unconsumed_tail
    except zlib.error:
        pass  # damaged: what came before the damage was counted
    return size


def _blf(path: Path, most: int) -> None:
    raw, size, at = path.read_bytes(), 0, 0
    while (at := raw.find(b"LOBJ", at)) >= 0 and at + _OBJECT.size + _CONTAINER_HEAD <= len(raw):
        _, _, _, length, kind = _OBJECT.unpack_from(raw, at)
        body = at + _OBJECT.size
        at += 4
        if kind != _CONTAINER or int.from_bytes(raw[body : body + 2], "little") != _DEFLATE:
            continue
        packed = raw[body + _CONTAINER_HEAD : body - _OBJECT.size + length]
        size += _inflated(packed, most - size)
        if size > most:
            raise _too_much(most)


def _mdf(path: Path, most: int) -> None:
    raw = path.read_bytes()
    _refuse_cycles(raw)
    sizes: dict[int, int] = {}
    at = 0
    while (at := raw.find(b"##DZ", at)) >= 0 and at + 48 <= len(raw):
        *_, packed = struct.unpack_from(_MDF_PACKED, raw, at + _MDF_HEAD)
        sizes[at] = _inflated(raw[at + 48 : at + 48 + packed], most)
        at += 4
    if max(sum(sizes.values()), _listed(raw, sizes)) > most:
        raise _too_much(most)


def _listed(raw: bytes, sizes: dict[int, int]) -> int:
    """What lists of blocks come to in all: one block may stand in them many times. [byte]"""
    size, at = 0, 0
    while (at := raw.find(b"##DL", at)) >= 0 and at + _MDF_HEAD <= len(raw):
        _, _, links = struct.unpack_from(_MDF_BLOCK, raw, at)
        links = min(links, (len(raw) - at - _MDF_HEAD) // 8)
        for to in struct.unpack_from(f"<{links}Q", raw, at + _MDF_HEAD)[1:]:
            plain = raw[to : to + 4] in {b"##DT", b"##SD", b"##DV"}
            length = int.from_bytes(raw[to + 8 : to + 16], "little") if plain else 0
            size += sizes.get(to, min(length, len(raw)))
        at += 4
    return size


def _refuse_cycles(raw: bytes) -> None:
    """A group says how many samples it has, and room is made for as many."""
    cycles, at = 0, 0
    while (at := raw.find(b"##CG", at)) >= 0 and at + _MDF_HEAD <= len(raw):
        _, _, links = struct.unpack_from(_MDF_BLOCK, raw, at)
        inside = at + _MDF_HEAD + 8 * links
        if inside + 16 <= len(raw):
            cycles += struct.unpack_from(_MDF_CYCLES, raw, inside)[1]
        at += 4
    if cycles > MOST_VALUES:
        raise BellmouthError(f"That file holds {cycles} samples. Give a shorter recording.")
