"""The options that say where the car is, shared by every command that talks to one."""

import logging
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from bellmouth.bus.client import Client
    from bellmouth.pages.card_words import Words

__all__ = ["adapter_options", "controller_option", "open_car", "parse_controller"]

F = TypeVar("F", bound=Callable[..., Any])


def adapter_options(command: F) -> F:
    """Give a command ``--interface``, ``--channel`` and ``--bitrate``, in this order."""
    for option in (
        click.option(
            "--bitrate",
            type=click.IntRange(min=1),
            metavar="N",
            help="Of the CAN bus in bit/s; found by itself when left out.",
        ),
        click.option(
            "--channel",
            metavar="NAME",
            help="Port or device of the adapter: /dev/ttyACM0, can0, socket://127.0.0.1:PORT.",
        ),
        click.option(
            "--interface",
            default="slcan",
            show_default=True,
            metavar="NAME",
            help="Kind of adapter, as python-can names it (slcan, socketcan ...), or kline for an "
            "older car on a serial K line.",
        ),
    ):
        command = option(command)
    return command


def controller_option(command: F) -> F:
    """Give a command ``--controller``, an address such as 10 or 0x10, as a number."""
    return click.option(
        "--controller",
        callback=lambda _, __, text: parse_controller(text),
        metavar="ADDRESS",
        help="Address of the controller to ask, in hexadecimal (10); the engine's when left out.",
    )(command)


def parse_controller(text: str | None) -> int | None:
    """Address from hexadecimal text; raises :class:`click.UsageError` where it is none."""
    if text is None:
        return None
    try:
        address = int(text, 16)
    except ValueError:
        address = -1
    if not 0 <= address <= 0xFF:
        raise click.UsageError(
            f'--controller "{text}" is no address; give two hexadecimal digits, such as 10.'
        )
    return address


def open_car(interface: str, channel: str | None, bitrate: int | None, speak: "Words") -> "Client":
    """A conversation with the car that the options name."""
    from bellmouth.bus.opening import open_client  # noqa: PLC0415 - loads the CAN libraries
    from bellmouth.cli.waiting import waiting  # noqa: PLC0415

    # What its back ends miss is told as our own sentence, not in theirs between the lines.
    logging.getLogger("can").addHandler(logging.NullHandler())
    with waiting(speak.text("Looking for the car")):
        return open_client(interface, channel, bitrate)
