"""``bellmouth serve``: the whole job on a page."""

from pathlib import Path

import click

from bellmouth.errors import BellmouthError

__all__ = ["command"]

_HOST = "127.0.0.1"


@click.command("serve", short_help="The whole job on a page, on this machine.")
@click.option(
    "--port",
    type=click.IntRange(0, 65_535),
    default=8642,
    show_default=True,
    help="TCP port on loopback; 0 takes a free one.",
)
@click.option("--book", "where", metavar="FOLDER|URL", help="The book to open (as `book` does).")
@click.option("--open", "show", is_flag=True, help="Open it in the browser of this machine.")
def command(port: int, where: str | None, show: bool) -> None:
    """Serve the page at the car until ctrl-C. Nothing leaves this machine."""
    import socket  # noqa: PLC0415 - --help stays quick
    import webbrowser  # noqa: PLC0415

    import uvicorn  # noqa: PLC0415

    from bellmouth.book.book import Book  # noqa: PLC0415
    from bellmouth.pages.site.app import create_app  # noqa: PLC0415
    from bellmouth.pages.site.garage import Garage  # noqa: PLC0415
    from bellmouth.pages.site.guard import Settings  # noqa: PLC0415

    with socket.socket() as listening:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listening.bind((_HOST, port))
        except OSError as error:
            reason = (error.strerror or "").lower()
            raise BellmouthError(
                f"port {port}: is taken ({reason}). Give another --port, or 0 for a free one."
            ) from error
        port = listening.getsockname()[1]
        hosts = frozenset({f"{_HOST}:{port}", f"localhost:{port}"})
        garage = Garage(Book(Path(where) if where and "://" not in where else where))
        address = f"http://{_HOST}:{port}/"
        click.echo(f"The page is at {address} (ctrl-C ends it)")
        if show:
            webbrowser.open(address)
        config = uvicorn.Config(
            create_app(garage, Settings(hosts)), log_level="warning", timeout_graceful_shutdown=2
        )
        uvicorn.Server(config).run(sockets=[listening])
