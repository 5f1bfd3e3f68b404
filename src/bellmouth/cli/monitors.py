"""``bellmouth monitors``: ready for inspection? What is missing, and what completes it?"""

from pathlib import Path

import click

from bellmouth.cli.adapter_options import adapter_options, open_car
from bellmouth.cli.waiting import waiting

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
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")
@click.pass_context
def command(
    context: click.Context,
    interface: str,
    channel: str | None,
    bitrate: int | None,
    *,
    rules_file: Path | None,
    as_json: bool,
) -> None:
    """Say whether the car is ready for inspection: go, wait or drive.

    Ends with 1 when it is not ready.
    """
    from bellmouth.bus.readiness import advise, read_rules  # noqa: PLC0415 - --help stays quick

    rules = read_rules(rules_file)
    with open_car(interface, channel, bitrate) as car, waiting("Reading the monitors"):
        monitors, codes = car.monitors(), car.codes()
        losses, notes = car.losses, car.notes
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
        print_monitors(monitors, advice, out)
        print_losses(losses, notes, out)
        print_last_word(advice, rules.place, out)
    if advice.verdict != "go":
        context.exit(_NOT_READY)
