"""``bellmouth completion``: a script that lets the shell complete commands and options."""

import click
from click.shell_completion import get_completion_class

__all__ = ["command"]

# Of its own bash puts a word on the line as it is: "high idle" would be two.
_AS_IT_IS = "COMPREPLY+=($value)"
_QUOTED = """if [[ ${COMP_WORDS[COMP_CWORD]} == [\\"\\']* ]]; then
                COMPREPLY+=("$value")
            else
                COMPREPLY+=("$(printf '%q' "$value")")
            fi"""


@click.command("completion", short_help="Completion for bash, zsh or fish.")
@click.argument("shell", type=click.Choice(["bash", "zsh", "fish"]))
@click.pass_context
def command(ctx: click.Context, shell: str) -> None:
    """Print the completion script for SHELL: bash, zsh or fish.

    For bash: bellmouth completion bash >> ~/.bashrc
    """
    found = get_completion_class(shell)
    if found is None:
        raise click.UsageError(f"no completion for {shell} here")
    complete = found(ctx.find_root().command, {}, "bellmouth", "_BELLMOUTH_COMPLETE")
    script = complete.source()
    click.echo(script.replace(_AS_IT_IS, _QUOTED) if shell == "bash" else script)
