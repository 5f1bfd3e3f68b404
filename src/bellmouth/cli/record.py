"""``bellmouth record``: capture a car, guided, and say what is wrong with it."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from bellmouth.cli.adapter_options import adapter_options, controller_option
from bellmouth.cli.bounded import Within
from bellmouth.cli.complaint_option import complaint_option
from bellmouth.cli.speaking import speaking
from bellmouth.cli.writing import refuse_nowhere

if TYPE_CHECKING:
    from bellmouth.bus.capture import Captured
    from bellmouth.car.description import Car
    from bellmouth.pages.card_words import Words

__all__ = ["capture", "command"]

_FILE = click.Path(path_type=Path)


@click.command("record", short_help="Capture a car, guided, and find what is wrong.")
@adapter_options
@click.option(
    "--car",
    "car_file",
    type=_FILE,
    metavar="FILE",
    help="What you know about the car (TOML). Without it there is neither guidance nor finding.",
)
@click.option(
    "-o",
    "--out",
    type=_FILE,
    required=True,
    metavar="REC",
    help="Where to: .parquet or .csv. Never overwrites.",
)
@click.option(
    "--seconds",
    type=Within(min=0.0, min_open=True),
    metavar="N",
    help="Capture for so long, without guidance.",
)
@controller_option
@complaint_option('What the owner says, such as "high idle".')
@click.option("--show-vin", is_flag=True, help="Show the VIN in full, not masked.")
@speaking
@click.option("--json", "as_json", is_flag=True, help="Print the finding as one JSON document.")
def command(
    interface: str,
    channel: str | None,
    bitrate: int | None,
    car_file: Path | None,
    out: Path,
    seconds: float | None,
    controller: int | None,
    complaint: str | None,
    show_vin: bool,
    as_json: bool,
    speak: "Words",
) -> None:
    """Read a car while somebody works through what is asked, and end with the finding.

    Everything read is on disk at once: whatever happens, it is there. With --car you are told
    what to do next, and the capture ends by itself when more would tell hardly more.
    """
    if car_file is None and seconds is None:
        raise click.UsageError("Give --car FILE for a guided capture, or --seconds N.")
    from bellmouth import read_car  # noqa: PLC0415 - --help stays quick

    car = None if car_file is None else read_car(car_file)
    result = capture(
        (interface, channel, bitrate),
        out,
        car,
        seconds,
        controller,
        complaint,
        speak=speak,
        show_vin=show_vin,
    )
    if result.finding is not None and car is not None and car_file is not None:
        from bellmouth.cli.find import command_again, show  # noqa: PLC0415

        params = {
            **click.get_current_context().params,
            "loads_off": True if seconds is None else None,
        }
        again = command_again(out, car_file, params)
        show(
            result.finding, result.recording, car, speak, as_json=as_json, report=None, again=again
        )


def capture(
    adapter: tuple[str, str | None, int | None],
    out: Path,
    car: "Car | None",
    seconds: float | None,
    controller: int | None,
    complaint: str | None,
    *,
    speak: "Words",
    show_vin: bool = False,
) -> "Captured":
    """Open the car that ``adapter`` (interface, channel, bit rate) names and capture it."""
    from bellmouth.bus.capture import record  # noqa: PLC0415 - --help stays quick
    from bellmouth.bus.journal import refuse_existing  # noqa: PLC0415
    from bellmouth.car.complaint import parse_complaint  # noqa: PLC0415
    from bellmouth.cli.adapter_options import open_car  # noqa: PLC0415
    from bellmouth.cli.capturing import CapturingScreen  # noqa: PLC0415

    # Mistakes of typing are said before the car is asked anything.
    refuse_existing(out)
    refuse_nowhere(out)
    if complaint:
        parse_complaint(complaint)
    with open_car(*adapter, speak) as client, CapturingScreen(speak) as screen:
        result = record(
            client,
            out,
            car=car,
            complaint=complaint,
            seconds=seconds,
            controller=controller,
            show_vin=show_vin,
            opened=screen.opened,
            progress=screen.progress,
        )
        screen.captured(result)
    return result
