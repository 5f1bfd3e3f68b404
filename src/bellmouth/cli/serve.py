"""``bellmouth serve``: the whole job on a page."""

import socket
from pathlib import Path
from typing import TYPE_CHECKING

import click

from bellmouth.cli.speaking import in_language, say
from bellmouth.errors import BellmouthError

if TYPE_CHECKING:
    from bellmouth.pages.site.guard import Settings

__all__ = ["command"]

_LOOPBACK = "127.0.0.1"
#: What a browser leaves out of an address.
_HTTP_PORT = 80


@in_language
@click.command("serve", short_help="The whole job on a page, on this machine.")
@click.option(
    "--port",
    type=click.IntRange(0, 65_535),
    default=8642,
    show_default=True,
    help="TCP port; 0 takes a free one.",
)
@click.option("--book", "where", metavar="FOLDER|URL", help="The book to open (as `book` does).")
@click.option("--open", "show", is_flag=True, help="Open it in the browser of this machine.")
@click.option(
    "--network",
    is_flag=True,
    help="Also for other devices on the local network, each paired by a picture to scan.",
)
@click.option(
    "--pair-anew", is_flag=True, help="With --network: browsers paired before are strangers again."
)
def command(port: int, where: str | None, show: bool, network: bool, pair_anew: bool) -> None:
    """Serve the page at the car until ctrl-C. Without --network nothing leaves this machine."""
    import webbrowser  # noqa: PLC0415 - --help stays quick

    import uvicorn  # noqa: PLC0415

    from bellmouth.book.book import Book  # noqa: PLC0415
    from bellmouth.book.places import default_folder, place_of  # noqa: PLC0415
    from bellmouth.pages.site.app import create_app  # noqa: PLC0415
    from bellmouth.pages.site.garage import Garage  # noqa: PLC0415

    place = Path(where) if where and "://" not in where else where
    with socket.socket() as listening:
        port = _listen(listening, port, network=network)
        folder = place_of(place).files / "captures"
        settings, address = _settings(port, folder if network else None, anew=pair_anew)
        # The same file as the terminal's coach: a person is the same on either.
        garage = Garage(Book(place), folder, people=default_folder() / "attempts")
        say("The page is at {0} (ctrl-C ends it)", address)
        if show:
            webbrowser.open(address)
        config = uvicorn.Config(
            create_app(garage, settings), log_level="warning", timeout_graceful_shutdown=2
        )
        uvicorn.Server(config).run(sockets=[listening])


def _listen(listening: socket.socket, port: int, *, network: bool) -> int:
    """Take the port; gives its number."""
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind(("" if network else _LOOPBACK, port))
    except OSError as error:
        reason = (error.strerror or "").lower()
        raise BellmouthError(
            f"port {port}: is taken ({reason}). Give another --port, or 0 for a free one."
        ) from error
    return int(listening.getsockname()[1])


def _settings(port: int, network: Path | None, *, anew: bool) -> "tuple[Settings, str]":
    """Who may use the page, and the address to open on this machine.

    ``network`` is the folder that keeps who is paired; None for this machine alone.
    """
    from bellmouth.pages.site.guard import Settings  # noqa: PLC0415
    from bellmouth.pages.site.pairing import (  # noqa: PLC0415
        kept_token,
        local_address,
        new_code,
        pair_address,
        terminal_picture,
    )

    hosts = {name for host in (_LOOPBACK, "localhost") for name in _names(host, port)}
    if network is None:
        return Settings(frozenset(hosts)), f"http://{_LOOPBACK}:{port}/"
    outside = local_address()
    settings = Settings(
        frozenset({*hosts, *_names(outside, port)}),
        token=kept_token(network, anew=anew),
        address=f"http://{outside}:{port}",
    )
    address = pair_address(settings, new_code(settings))
    click.echo(terminal_picture(address))
    say("Scan it with the device that is to use the page, or open {0}", address)
    say("It works once; a paired browser shows another at /pair.")
    return settings, f"http://{_LOOPBACK}:{port}/pair?code={new_code(settings)}"


def _names(host: str, port: int) -> set[str]:
    """What a browser calls a host: at the port that is everybody's, without it."""
    return {f"{host}:{port}", host} if port == _HTTP_PORT else {f"{host}:{port}"}
