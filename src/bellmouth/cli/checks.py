"""``bellmouth checks``: every check that ``--result`` can be told of."""

import click

__all__ = ["command"]


@click.command("checks", short_help="The checks it can suggest.")
def command() -> None:
    """List the checks a finding can suggest: how each is made, how again, what --result takes."""
    from bellmouth.pages.lists import console  # noqa: PLC0415 - --help stays quick
    from bellmouth.pages.screen import print_known_checks  # noqa: PLC0415

    print_known_checks(console())
