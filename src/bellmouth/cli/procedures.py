"""``bellmouth procedures``: list them, show one, check a file of yours, plan a job."""

from pathlib import Path
from typing import Any

import click

from bellmouth.cli.completing import procedures
from bellmouth.cli.speaking import Speaking, say, teller, words

__all__ = ["command"]

_JSON = click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")


def _print_json(document: dict[str, Any]) -> None:
    from bellmouth.pages.document import to_json  # noqa: PLC0415

    click.echo(to_json(document))


@click.group(
    "procedures",
    cls=Speaking,
    invoke_without_command=True,
    short_help="The learning procedures; show one, check yours, plan a job.",
)
@_JSON
@click.pass_context
def command(context: click.Context, as_json: bool) -> None:
    """List the learning procedures; or show one, check a file of yours, plan a job."""
    if context.invoked_subcommand is not None:
        return
    from bellmouth.learning import packs  # noqa: PLC0415
    from bellmouth.pages.procedures import print_procedures, procedure_document  # noqa: PLC0415

    if as_json:
        _print_json({"procedures": [procedure_document(one) for one in packs()]})
    else:
        print_procedures(packs(), teller())


@command.command("show")
@click.argument("name", metavar="NAME", shell_complete=procedures)
@_JSON
def show(name: str, as_json: bool) -> None:
    """Show the procedure NAME in full; NAME may be a file that ends in .toml."""
    from bellmouth.learning import find_procedure  # noqa: PLC0415
    from bellmouth.pages.procedures import print_procedure, procedure_document  # noqa: PLC0415

    procedure = find_procedure(name)
    if as_json:
        _print_json(procedure_document(procedure))
    else:
        print_procedure(procedure, teller())


@command.command("check")
@click.argument("file", type=click.Path(path_type=Path), metavar="FILE")
def check(file: Path) -> None:
    """Check the procedure in FILE: keys, signals, and whether anybody could meet it."""
    from bellmouth.learning import read_procedure  # noqa: PLC0415

    procedure = read_procedure(file)
    title = words().told(procedure.title)
    say("{0}: {1}, {2} steps, can be met.", file.name, title, len(procedure.steps))
    if not procedure.sourced:
        say(f"Its source is: {procedure.source}. Write your manual's section there.")


@command.command("plan")
@click.argument("work", nargs=-1, required=True, metavar="WORK...")
@click.option(
    "--done", multiple=True, metavar="NAME", help="Already met since. May be given more than once."
)
@click.option(
    "--skip",
    "skipped",
    multiple=True,
    metavar="NAME=REASON",
    help="Left out, and why. May be given more than once.",
)
@_JSON
def plan_job(
    work: tuple[str, ...], done: tuple[str, ...], skipped: tuple[str, ...], as_json: bool
) -> None:
    """Say which procedures a job needs, in order.

    WORK is what was done to the car: a work of the job card, such as clean_plate, or one of
    the reasons that procedures name, such as battery_disconnected.
    """
    from bellmouth.learning import plan  # noqa: PLC0415
    from bellmouth.pages.procedures import plan_document, print_plan  # noqa: PLC0415
    from bellmouth.work.works import called_for  # noqa: PLC0415

    reasons = {}
    for given in skipped:
        name, sign, reason = given.partition("=")
        if not sign or not reason.strip():
            raise click.UsageError(
                f'--skip {given}: write NAME=REASON, such as "readiness-drive=later".'
            )
        reasons[name.strip()] = reason.strip()
    planned = plan(called_for(work), done=done, skipped=reasons)
    if as_json:
        _print_json(plan_document(planned))
    else:
        print_plan(planned, teller())
