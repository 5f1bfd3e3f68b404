"""``bellmouth monitors``: ready for inspection? What is missing, and what completes it?"""

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import click

from bellmouth.cli.adapter_options import adapter_options, open_car
from bellmouth.cli.speaking import speaking
from bellmouth.cli.waiting import waiting

if TYPE_CHECKING:
    from bellmouth.bus.link import Losses
    from bellmouth.bus.reports import Codes
    from bellmouth.j1979.codes import MonitorStatus
    from bellmouth.pages.card_words import Words

__all__ = ["command"]

_NOT_READY = 1


@click.command("monitors", short_help="Ready for inspection? What is missing?")
@adapter_options
@click.option(
    "--rules",
    "rules_file",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="What holds where you are (TOML); local law has the last word all the same.",
)
@click.option(
    "--recording",
    type=click.Path(path_type=Path),
    metavar="REC",
    help="Take the monitors from a recording instead of the car (its codes are not in it).",
)
@speaking
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")
@click.pass_context
def command(
    context: click.Context,
    interface: str,
    channel: str | None,
    bitrate: int | None,
    *,
    rules_file: Path | None,
    recording: Path | None,
    as_json: bool,
    speak: "Words",
) -> None:
    """Say whether the car is ready for inspection: go, wait or drive.

    Ends with 1 when it is not ready.
    """
    from bellmouth.bus.readiness import advise, read_rules  # noqa: PLC0415 - --help stays quick

    rules = read_rules(rules_file)
    monitors, codes, losses, notes = (
        _recorded(recording) if recording else _read(interface, channel, bitrate, speak)
    )
    advice = advise(monitors, codes, rules)
    if as_json:
        from bellmouth.pages.car_document import losses_document, monitors_document  # noqa: PLC0415
        from bellmouth.pages.document import to_json  # noqa: PLC0415

        document = monitors_document(monitors, advice)
        click.echo(to_json({**document, "losses": losses_document(losses), "notes": list(notes)}))
    else:
        from bellmouth.pages.car_screen import (  # noqa: PLC0415
            print_last_word,
            print_losses,
            print_monitors,
        )
        from bellmouth.pages.lists import console  # noqa: PLC0415

        out = console()
        print_monitors(monitors, advice, out, speak)
        print_losses(losses, notes, out, speak)
        print_last_word(advice, rules.place, out, speak)
    if advice.verdict != "go":
        context.exit(_NOT_READY)


def _read(
    interface: str, channel: str | None, bitrate: int | None, speak: "Words"
) -> "tuple[Mapping[int, MonitorStatus], Codes, Losses, tuple[str, ...]]":
    """From the car itself."""
    with (
        open_car(interface, channel, bitrate, speak) as car,
        waiting(speak.text("Reading the monitors")),
    ):
        return car.monitors(), car.codes(), car.losses, tuple(car.notes)


def _recorded(
    path: Path,
) -> "tuple[Mapping[int, MonitorStatus], Codes | None, Losses, tuple[str, ...]]":
    """From a recording; codes are not in it."""
    from bellmouth import read_recording  # noqa: PLC0415
    from bellmouth.bus.link import Losses  # noqa: PLC0415
    from bellmouth.bus.recorded_monitors import recorded_monitors  # noqa: PLC0415

    return recorded_monitors(read_recording(path)), None, Losses(), ()
