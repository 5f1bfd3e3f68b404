"""``bellmouth codes``: trouble codes, freeze frame and identity of a car."""

from typing import TYPE_CHECKING

import click

from bellmouth.cli.adapter_options import adapter_options, open_car
from bellmouth.cli.speaking import speaking
from bellmouth.cli.waiting import waiting

if TYPE_CHECKING:
    from bellmouth.pages.card_words import Words

__all__ = ["command"]


@click.command("codes", short_help="Trouble codes, freeze frame and identity of a car.")
@adapter_options
@click.option("--show-vin", is_flag=True, help="Show the VIN in full, not masked.")
@speaking
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")
def command(
    interface: str,
    channel: str | None,
    bitrate: int | None,
    *,
    show_vin: bool,
    as_json: bool,
    speak: "Words",
) -> None:
    """Read confirmed, pending and permanent codes, the freeze frame and the identity.

    Nothing is changed in the car. The ignition must be on.
    """
    with (
        open_car(interface, channel, bitrate, speak) as car,
        waiting(speak.text("Reading the codes")),
    ):
        controllers, description = car.controllers, car.description
        codes = car.codes()
        frames = car.freeze_frames()
        identities = car.identity(mask_vin=not show_vin)
        losses, notes = car.losses, car.notes
    if as_json:
        from bellmouth.pages.car_document import codes_document, losses_document  # noqa: PLC0415
        from bellmouth.pages.document import to_json  # noqa: PLC0415

        document = {
            "standard": description,
            **codes_document(controllers, codes, frames, identities),
            "losses": losses_document(losses),
            "notes": list(notes),
        }
        click.echo(to_json(document))
        return
    from bellmouth.pages.car_screen import print_codes, print_losses  # noqa: PLC0415
    from bellmouth.pages.lists import console  # noqa: PLC0415

    out = console()
    print_codes(controllers, codes, frames, identities, out, speak)
    print_losses(losses, notes, out, speak)
