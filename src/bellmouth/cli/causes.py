"""``bellmouth causes``: every cause that a finding can name."""

import click

__all__ = ["command"]


@click.command("causes", short_help="The causes a finding can name.")
def command() -> None:
    """List the causes a finding can name, what each means and how its size is told."""
    from bellmouth.pages.lists import console  # noqa: PLC0415 - --help stays quick
    from bellmouth.pages.screen import print_causes  # noqa: PLC0415

    print_causes(console())
