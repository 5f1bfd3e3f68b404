"""``bellmouth causes``: every cause that a finding can name."""

from typing import TYPE_CHECKING

import click

from bellmouth.cli.speaking import speaking

if TYPE_CHECKING:
    from bellmouth.pages.card_words import Words

__all__ = ["command"]


@click.command("causes", short_help="The causes a finding can name.")
@speaking
def command(speak: "Words") -> None:
    """List the causes a finding can name, what each means and how its size is told."""
    from bellmouth.pages.known_screen import print_causes  # noqa: PLC0415
    from bellmouth.pages.lists import console  # noqa: PLC0415 - --help stays quick

    print_causes(console(), speak)
