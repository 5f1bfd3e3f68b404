"""``bellmouth clear``: clear the codes, having shown what is lost and asked."""

from typing import TYPE_CHECKING

import click

from bellmouth.cli.adapter_options import adapter_options, open_car
from bellmouth.cli.speaking import speaking
from bellmouth.cli.waiting import waiting

if TYPE_CHECKING:
    from bellmouth.bus.reports import Clearing
    from bellmouth.pages.card_words import Words

__all__ = ["command"]

_NOT_CLEARED = 1


@click.command("clear", short_help="Clear the codes: shows what is lost, and asks.")
@adapter_options
@click.option(
    "--yes",
    "given_up",
    metavar="CODES",
    help="The question answered beforehand: the confirmed and pending codes that you have seen "
    "and give up, with commas between them, or none. Anything else clears nothing.",
)
@speaking
@click.pass_context
def command(
    context: click.Context,
    interface: str,
    channel: str | None,
    bitrate: int | None,
    *,
    given_up: str | None,
    speak: "Words",
) -> None:
    """Clear codes, freeze frame, readiness and learned trims (service 04).

    It is the only command that changes anything in the car. It shows first what would be lost,
    refuses while the engine runs or the car moves, and asks. Read and keep the codes first. Do
    not clear to pass an inspection: the fault stays, and monitors show that it was done.

    Ends with 1 when nothing was cleared.
    """
    from bellmouth.pages.car_screen import print_clearing  # noqa: PLC0415 - --help stays quick
    from bellmouth.pages.clearing_words import cleared_words  # noqa: PLC0415
    from bellmouth.pages.lists import console  # noqa: PLC0415

    with open_car(interface, channel, bitrate, speak) as car:
        with waiting(speak.text("Reading what would be lost")):
            clearing = car.would_clear()
        print_clearing(clearing, console(), speak)
        if clearing.against or not _is_confirmed(clearing, given_up, speak):
            click.echo(f"\n{speak.text('Nothing was cleared.')}")
            context.exit(_NOT_CLEARED)
        cleared = car.clear(clearing)
    for line in cleared_words(cleared, speak):
        click.echo(line)
    if not cleared.cleared:
        context.exit(_NOT_CLEARED)


def _is_confirmed(clearing: "Clearing", given_up: str | None, speak: "Words") -> bool:
    """Whether somebody who has seen what is lost says so, now or beforehand."""
    from bellmouth.pages.clearing_words import (  # noqa: PLC0415
        is_the_word,
        other_codes_words,
        question,
        stored_codes,
    )

    stored = set(stored_codes(clearing.codes))
    if given_up is not None:
        named = {word.strip().upper() for word in given_up.split(",") if word.strip()} - {"NONE"}
        if named == stored:
            return True
        click.echo(f"\n{other_codes_words(stored, speak)}")
        return False
    try:
        answer: str = click.prompt(f"\n{question(speak)}", default="", show_default=False)
    except click.Abort:  # nobody there to ask, or ctrl-C: nothing is lost either way
        click.echo()
        return False
    return is_the_word(answer, speak)
