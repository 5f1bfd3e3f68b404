"""``bellmouth clear``: clear the codes, having shown what is lost and asked."""

from typing import TYPE_CHECKING

import click

from bellmouth.cli.adapter_options import adapter_options, open_car
from bellmouth.cli.waiting import waiting

if TYPE_CHECKING:
    from bellmouth.bus.reports import Cleared, Clearing

__all__ = ["command"]

_NOT_CLEARED = 1
_WORD = "clear"


@click.command("clear", short_help="Clear the codes: shows what is lost, and asks.")
@adapter_options
@click.option(
    "--yes",
    "given_up",
    metavar="CODES",
    help="The question answered beforehand: the confirmed and pending codes that you have seen "
    "and give up, with commas between them, or none. Anything else clears nothing.",
)
@click.pass_context
def command(
    context: click.Context,
    interface: str,
    channel: str | None,
    bitrate: int | None,
    *,
    given_up: str | None,
) -> None:
    """Clear codes, freeze frame, readiness and learned trims (service 04).

    It is the only command that changes anything in the car. It shows first what would be lost,
    refuses while the engine runs or the car moves, and asks. Read and keep the codes first. Do
    not clear to pass an inspection: the fault stays, and monitors show that it was done.

    Ends with 1 when nothing was cleared.
    """
    from bellmouth.pages.car_screen import print_clearing  # noqa: PLC0415 - --help stays quick
    from bellmouth.pages.lists import console  # noqa: PLC0415

    with open_car(interface, channel, bitrate) as car:
        with waiting("Reading what would be lost"):
            clearing = car.would_clear()
        print_clearing(clearing, console())
        if clearing.against or not _is_confirmed(clearing, given_up):
            click.echo("\nNothing was cleared.")
            context.exit(_NOT_CLEARED)
        cleared = car.clear(clearing)
    _tell(cleared)
    if not cleared.cleared:
        context.exit(_NOT_CLEARED)


def _is_confirmed(clearing: "Clearing", given_up: str | None) -> bool:
    """Whether somebody who has seen what is lost says so, now or beforehand."""
    stored = {
        code
        for kind in (clearing.codes.confirmed, clearing.codes.pending)
        for codes in kind.values()
        for code in codes
    }
    if given_up is not None:
        named = {word.strip().upper() for word in given_up.split(",") if word.strip()} - {"NONE"}
        if named == stored:
            return True
        told = ",".join(sorted(stored)) or "none"
        click.echo(f"\nThe car holds other codes than --yes names: {told}.")
        return False
    try:
        answer: str = click.prompt(
            f'\nType "{_WORD}" to lose all this, anything else to keep it',
            default="",
            show_default=False,
        )
    except click.Abort:  # nobody there to ask, or ctrl-C: nothing is lost either way
        click.echo()
        return False
    return answer.strip().lower() == _WORD


def _tell(cleared: "Cleared") -> None:
    for address in cleared.cleared:
        click.echo(f"Controller {address:02X} has cleared its codes.")
    for address, why in cleared.refused.items():
        click.echo(f"Controller {address:02X} refused: {why}.")
