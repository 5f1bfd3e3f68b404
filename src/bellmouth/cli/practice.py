"""``bellmouth practice``: a car to talk to, with no car."""

import shlex
import signal
import time
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from bellmouth.cli.bounded import Within
from bellmouth.cli.speaking import in_language, say, words
from bellmouth.cli.waiting import waiting
from bellmouth.cli.writing import overwrite_option, refuse_existing

if TYPE_CHECKING:
    from collections.abc import Iterator

    from bellmouth.j1979.addressing import Identifiers
    from bellmouth.practice.live import PracticeCar
    from bellmouth.practice.wires import Served, WireChoice

__all__ = ["command"]

_FILE = click.Path(path_type=Path)
_MARK = "# A practice car, written by bellmouth practice.\n"
_LOOK_UP_S = 0.2
# Those that heal something (practice.mending.HEALS), told apart here so that --help stays quick.
_WORKS = ("clean_plate", "clean_meter", "reseal", "renew_gasket", "mend_fuel")


@in_language
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
    help="How big: a leak in mm, a deposit in mm², stale learning in g/s, all else as a ratio "
    "(0.9). Once for each cause of a pair.",
)
@click.option(
    "--done",
    "works",
    type=click.Choice(_WORKS),
    multiple=True,
    metavar="WORK",
    help="What was done to this very car since: clean_plate, clean_meter, reseal, "
    "renew_gasket or mend_fuel; the fault that it mends is gone. May be given more than once.",
)
@click.option(
    "--seed",
    type=click.IntRange(min=0),
    default=1,
    show_default=True,
    metavar="N",
    help="Which car of that kind.",
)
@click.option("--car", "car_file", type=_FILE, metavar="FILE", help="Make it like this car (TOML).")
@click.option(
    "--variant", default="A", show_default=True, metavar="LETTER", help="Kind of engine, A to E."
)
@click.option(
    "--latency",
    type=Within(0.0, 10_000.0),
    default=8.0,
    show_default=True,
    metavar="MS",
    help="What the controller takes to answer.",
)
@click.option(
    "--speed",
    type=Within(0.01, 1000.0),
    default=1.0,
    show_default=True,
    metavar="FACTOR",
    help="Car seconds a real second.",
)
@click.option("--seconds", type=Within(0.0), metavar="N", help="Stop after so many real seconds.")
@click.option(
    "--driver",
    default="mechanic",
    show_default=True,
    metavar="WHO",
    help="mechanic, keyboard, none, or a script (TOML).",
)
@click.option(
    "--human", is_flag=True, help="Whoever follows the script is early or late, as people are."
)
@click.option(
    "--bad-wire",
    type=Within(0.0, 100.0),
    default=0.0,
    metavar="PERCENT",
    help="So many frames are lost, late, doubled, out of order and damaged, each.",
)
@click.option(
    "--state",
    type=_FILE,
    metavar="FILE",
    help="Keep what it has learned, its codes and monitors here, from one run to the next.",
)
@click.option(
    "--write-car", type=_FILE, metavar="FILE", help="Write what its owner knows about it (TOML)."
)
@overwrite_option
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
    works: tuple[str, ...],
    seed: int,
    car_file: Path | None,
    variant: str,
    latency: float,
    speed: float,
    seconds: float | None,
    driver: str,
    human: bool,
    bad_wire: float,
    state: Path | None,
    write_car: Path | None,
    overwrite: bool,
    tell: bool,
) -> None:
    """Run a simulated car that answers diagnostic requests as a real one does.

    It listens on this machine alone. Another shell talks to it as to a car; what to type there is
    printed. Ctrl-C ends it.
    """
    from bellmouth.practice.seat import take_a_seat  # noqa: PLC0415 - --help stays quick

    told = words().told  # the keyboard is another thread, which knows no running command
    choice = _choice(
        port, pty, kline, interface, channel, bitrate, identifiers, bad_wire / 100.0, seed
    )
    seat = take_a_seat(driver, human=human, seed=seed)
    with _until_stopped():
        with waiting(words().text("Building the car")):
            car = _car(fault, sizes, seed, car_file, variant, latency, speed, state)
        _mend(car, works)
        car.driver = seat.mechanic
        if write_car is not None:
            _write(write_car, _MARK + car.toml(), overwrite=overwrite)
        with (
            _serving(car, choice) as served,
            seat.driving(car, lambda done: click.echo(told(done))),
        ):
            _introduce(served, choice, write_car or car_file, works)
            if seat.who == "keyboard":
                _show_keys()
            if tell:
                _tell(car)
            _wait(served, seconds)
    say("The practice car has stopped.")


def _choice(
    port: int | None,
    pty: bool,
    kline: bool,
    interface: str | None,
    channel: str | None,
    bit_rate: int | None,
    identifiers: str,
    trouble: float,
    seed: int,
) -> "WireChoice":
    from bellmouth.practice.faulty import Disturbance  # noqa: PLC0415
    from bellmouth.practice.wires import WireChoice  # noqa: PLC0415

    bad = Disturbance(
        drop=trouble, delay=trouble, duplicate=trouble, reorder=trouble, corrupt=trouble, seed=seed
    )
    size: Identifiers = 29 if identifiers == "29" else 11
    return WireChoice(
        port, pty, kline, interface, channel, bit_rate, size, bad if trouble else None
    )


def _car(
    fault: str,
    sizes: tuple[float, ...],
    seed: int,
    car_file: Path | None,
    variant: str,
    latency_ms: float,
    speed: float,
    state: Path | None,
) -> "PracticeCar":
    from bellmouth.practice.live import PracticeCar  # noqa: PLC0415
    from bellmouth.practice.services import Manners  # noqa: PLC0415

    size = sizes[0] if len(sizes) == 1 else sizes or None
    manners = Manners(latency_s=latency_ms / 1000.0)
    return PracticeCar(
        fault, size, seed=seed, car=car_file, variant=variant, speed=speed, manners=manners,
        state_file=state,
    )  # fmt: skip


def _mend(car: "PracticeCar", works: tuple[str, ...]) -> None:
    """Do the works; whoever did one that was not called for hears so, and not what would be."""
    from bellmouth.practice.mending import idle_works  # noqa: PLC0415

    for work in idle_works(car.truth.cause, works, metered=car.metered):
        say("{0} mends nothing that is wrong with this car.", work)
    car.mend(works)


@contextmanager
def _serving(car: "PracticeCar", choice: "WireChoice") -> "Iterator[Served]":
    from bellmouth.practice.wires import serve  # noqa: PLC0415

    served = serve(car, choice)
    try:
        with car.keep_up():
            yield served
    finally:
        served.close()
        car.close()


@contextmanager
def _until_stopped() -> "Iterator[None]":
    """Ctrl-C and a polite request to end are how this command ends well.

    Shells start commands in the background deaf to Ctrl-C; this one hears it there as well.
    """
    heard = (signal.SIGINT, signal.SIGTERM)
    before = [signal.signal(number, signal.default_int_handler) for number in heard]
    try:
        yield
    except KeyboardInterrupt:
        click.echo()
    finally:
        for number, handler in zip(heard, before, strict=True):
            signal.signal(number, handler)


def _write(path: Path, text: str, *, overwrite: bool) -> None:
    """Write the car's description; the same car may be started again and again."""
    if path.is_file() and path.read_text("utf-8", errors="replace") == text:
        return
    refuse_existing(path, overwrite=overwrite)
    path.write_text(text, "utf-8")


def _introduce(
    served: "Served", choice: "WireChoice", car_file: Path | None, works: tuple[str, ...]
) -> None:
    speed = "10.4 kbit/s" if choice.kline else f"{(choice.bit_rate or 500_000) / 1000:g} kbit/s"
    typed = ["bellmouth", "record", "--interface", served.interface, "--channel", served.channel]
    described, out = str(car_file or "car.toml"), "after.parquet" if works else "rec.parquet"
    typed += ["--car", described, "-o", out]
    say("A practice car is waiting on {0} ({1}, {2}).", served.channel, served.interface, speed)
    say("To talk to it, type in another shell:")
    click.echo(f"  {shlex.join(typed)}")
    if works:
        done = [word for work in dict.fromkeys(works) for word in ("--done", work)]
        proof = ["bellmouth", "prove", "rec.parquet", out, "--car", described, *done]
        say("And then, beside the recording from before the work:")
        click.echo(f"  {shlex.join(proof)}")
    if car_file is None:
        say("Its description for --car is written by --write-car car.toml.")
    say("Ctrl-C ends it.")


def _show_keys() -> None:
    from bellmouth.practice.keyboard import KEYS  # noqa: PLC0415

    for key, meaning in KEYS.items():
        click.echo(f"  {key}  {words().told(meaning)}")


def _tell(car: "PracticeCar") -> None:
    truth = car.truth
    sizes = [f"{name} {size:.3g} {truth.units[name]}" for name, size in truth.sizes.items()]
    say(f"What is wrong with it: {', '.join(sizes) or truth.cause}.")


def _wait(served: "Served", seconds: float | None) -> None:
    until = None if seconds is None else time.monotonic() + seconds
    while until is None or time.monotonic() < until:
        if served.failure is not None:
            raise served.failure
        left = _LOOK_UP_S if until is None else until - time.monotonic()
        time.sleep(min(max(left, 0.0), _LOOK_UP_S))
