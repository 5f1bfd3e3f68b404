"""Pairing a browser of the local network: a code that works once, shown as a picture."""

import io
import os
import re
import secrets
import socket
from pathlib import Path

import segno

from bellmouth.errors import BellmouthError
from bellmouth.pages.site.guard import Settings

__all__ = [
    "kept_token",
    "local_address",
    "new_code",
    "pair_address",
    "picture",
    "spend",
    "terminal_picture",
]

_CODES = 8
_TOKEN = re.compile(r"[\w-]{43}")
#: An address for documentation only (RFC 5737): nothing is sent there, the system merely says from
#: which of its own addresses it would be reached.
_NOWHERE = ("192.0.2.1", 9)


def local_address() -> str:
    """This machine's own address on the local network.

    Raises
    ------
    BellmouthError
        If it has none.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
        try:
            asked.connect(_NOWHERE)
        except OSError as error:
            raise BellmouthError(
                "This machine is on no network. Join one, or serve without --network."
            ) from error
        return str(asked.getsockname()[0])


def kept_token(folder: Path, *, anew: bool = False) -> str:
    """The secret that paired browsers hold; a server that was killed knows them again.

    ``anew`` makes another: every browser has to be paired again.

    Raises
    ------
    BellmouthError
        If it cannot be kept.
    """
    file = folder / "pairing"
    try:
        kept = "" if anew or not file.is_file() else file.read_text("ascii", errors="replace")
        if _TOKEN.fullmatch(kept):
            return kept
        folder.mkdir(parents=True, exist_ok=True)
        made = secrets.token_urlsafe(32)
        file.unlink(missing_ok=True)
        # Nobody else on this machine may read it, from its first byte on.
        with os.fdopen(os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as there:
            there.write(made)
    except OSError as error:
        raise BellmouthError(f"{file}: cannot be kept ({error.strerror}).") from error
    return made


def new_code(settings: Settings) -> str:
    """Another code; the oldest goes where there are many."""
    while len(settings.codes) >= _CODES:
        settings.codes.pop(0)
    settings.codes.append(secrets.token_urlsafe(12))
    return settings.codes[-1]


def spend(settings: Settings, code: str) -> bool:
    """Whether a code is good; it is not good again."""
    for one in settings.codes:
        if secrets.compare_digest(one.encode(), code.encode()):
            settings.codes.remove(one)
            return True
    return False


def pair_address(settings: Settings, code: str) -> str:
    """What the picture says."""
    return f"{settings.address}/pair?code={code}"


def picture(address: str) -> str:
    """An address as a QR picture: SVG, dark on light whatever the page's light."""
    made = io.BytesIO()
    segno.make(address, micro=False).save(
        made, kind="svg", scale=8, border=4, dark="#000", light="#fff", xmldecl=False, svgns=True
    )
    return made.getvalue().decode()


def terminal_picture(address: str) -> str:
    """The same for a terminal."""
    made = io.StringIO()
    segno.make(address, micro=False).terminal(made, compact=True)
    return made.getvalue()
