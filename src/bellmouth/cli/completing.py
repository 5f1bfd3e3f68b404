"""What the shell's tab key offers where an argument is more than one of a few words."""

import click
from click.shell_completion import CompletionItem

__all__ = ["files", "procedures"]


def files(_: click.Context, __: click.Parameter, begun: str) -> list[CompletionItem]:
    """Files and folders, as the shell itself offers them; an address may be typed as well."""
    return [CompletionItem(begun, type="file")]


def procedures(context: click.Context, param: click.Parameter, begun: str) -> list[CompletionItem]:
    """The learning procedures of the packs; a file of one's own where none begins so."""
    from bellmouth.learning import packs  # noqa: PLC0415 - only the shell's tab key pays for it

    names = [CompletionItem(one.name) for one in packs() if one.name.startswith(begun)]
    return names or files(context, param, begun)
