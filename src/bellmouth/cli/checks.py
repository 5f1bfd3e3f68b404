"""``bellmouth checks``: every check that ``--result`` can be told of."""

from typing import TYPE_CHECKING

import click

from bellmouth.cli.speaking import speaking

if TYPE_CHECKING:
    from bellmouth.pages.card_words import Words

__all__ = ["command"]


@click.command("checks", short_help="The checks it can suggest.")
@speaking
def command(speak: "Words") -> None:
    """List the checks a finding can suggest: how each is made, how again, what --result takes."""
    from bellmouth.pages.known_screen import print_known_checks  # noqa: PLC0415
    from bellmouth.pages.lists import console  # noqa: PLC0415 - --help stays quick

    print_known_checks(console(), speak)
