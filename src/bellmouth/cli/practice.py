"""``bellmouth practice``: a car to talk to, with no car."""

import shlex
import signal
import sys
import time
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from bellmouth.cli.waiting import waiting
from bellmouth.errors import BusError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from types import FrameType

    from bellmouth.practice.live import PracticeCar
    from bellmouth.practice.wires import Served, WireChoice

__all__ = ["command"]

_FILE = click.Path(path_type=Path)
_MARK = "# A practice car, written by bellmouth practice.\n"
_LOOK_UP_S = 0.2


@click.command("practice", short_help="A simulated car that answers on a real bus.")
@click.option(
    "--port", type=click.IntRange(1, 65_535), help="TCP port on loopback (default: a free one)."
)
@click.option("--pty", is_flag=True, help="A pseudo-terminal instead of TCP.")
@click.option("--kline", is_flag=True, help="An older car: K line on a pseudo-terminal.")
@click.option("--interface", metavar="NAME", help="A bus of python-can's, such as socketcan.")
@click.option("--channel", metavar="NAME", help="Channel of that bus, such as vcan0.")
@click.option("--bitrate", type=int, metavar="BIT/S", help="Of the car's bus (default: 500000).")
@click.option(
    "--identifiers",
    type=click.Choice(["11", "29"]),
    default="11",
    show_default=True,
    help="Bits of the identifiers it listens on.",
)
@click.option("--fault", default="healthy", metavar="CAUSE", help="What is wrong with the car.")
@click.option(
    "--size",
    "sizes",
    type=float,
    multiple=True,
    metavar="X",
    help="How big, in the finding's unit (leak: mm). Once for each cause of a pair.",
)
@click.option("--seed", type=int, default=1, show_default=True, help="Which car of that kind.")
@click.option("--car", "car_file", type=_FILE, metavar="FILE", help="Make it like this car (TOML).")
@click.option(
    "--variant", default="A", show_default=True, metavar="LETTER", help="Kind of engine, A to E."
)
@click.option(
    "--latency",
    type=click.FloatRange(0.0, 10_000.0),
    default=8.0,
    show_default=True,
    metavar="MS",
    help="What the controller takes to answer.",
)
@click.option(
    "--speed",
    type=click.FloatRange(0.01, 1000.0),
    default=1.0,
    show_default=True,
    metavar="FACTOR",
    help="Car seconds a real second.",
)
@click.option(
    "--seconds", type=click.FloatRange(0.0), metavar="N", help="Stop after so many real seconds."
)
@click.option(
    "--driver",
    default="mechanic",
    show_default=True,
    metavar="WHO",
    help="mechanic, keyboard, none, or a script (TOML).",
)
@click.option(
    "--bad-wire",
    type=click.FloatRange(0.0, 100.0),
    default=0.0,
    metavar="PERCENT",
    help="So many frames are lost, late, doubled, out of order and damaged, each.",
)
@click.option(
    "--write-car", type=_FILE, metavar="FILE", help="Write what its owner knows about it (TOML)."
)
@click.option("--tell", is_flag=True, help="Say what is wrong with it.")
def command(
    port: int | None,
    pty: bool,
    kline: bool,
    interface: str | None,
    channel: str | None,
    bitrate: int | None,
    identifiers: str,
    fault: str,
    sizes: tuple[float, ...],
    seed: int,
    car_file: Path | None,
    variant: str,
    latency: float,
    speed: float,
    seconds: float | None,
    driver: str,
    bad_wire: float,
    write_car: Path | None,
    tell: bool,
) -> None:
    """Run a simulated car that answers diagnostic requests as a real one does.

    It listens on this machine alone. Another shell talks to it as to a car; what to type there is
    printed. Ctrl-C ends it.
    """
    from bellmouth.practice.faulty import Disturbance  # noqa: PLC0415 - --help stays quick
    from bellmouth.practice.seat import drive, sitter  # noqa: PLC0415
    from bellmouth.practice.wires import WireChoice  # noqa: PLC0415

    part = bad_wire / 100.0
    disturbance = Disturbance(
        drop=part, delay=part, duplicate=part, reorder=part, corrupt=part, seed=seed
    )
    choice = WireChoice(
        port, pty, kline, interface, channel, bitrate, 29 if identifiers == "29" else 11,
        disturbance if part else None,
    )  # fmt: skip
    with waiting("Building the car"):
        car = _car(fault, sizes, seed, car_file, variant, latency, speed)
    car.driver = sitter(driver)
    with _serving(car, choice) as served:
        if write_car is not None:
            _write(write_car, car)
        _introduce(car, served, choice, write_car)
        if tell:
            _tell(car)
        _until_the_end(served, drive(car, driver), seconds)
    click.echo("The practice car has stopped.")


def _car(
    fault: str,
    sizes: tuple[float, ...],
    seed: int,
    car_file: Path | None,
    variant: str,
    latency_ms: float,
    speed: float,
) -> "PracticeCar":
    from bellmouth.practice.live import PracticeCar  # noqa: PLC0415
    from bellmouth.practice.services import Manners  # noqa: PLC0415

    size = sizes[0] if len(sizes) == 1 else sizes or None
    manners = Manners(latency_s=latency_ms / 1000.0)
    return PracticeCar(
        fault, size, seed=seed, car=car_file, variant=variant, speed=speed, manners=manners
    )
