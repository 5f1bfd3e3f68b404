"""``bellmouth judge``: was every window of a learning procedure met?"""

from pathlib import Path

import click

from bellmouth.cli.completing import procedures
from bellmouth.cli.speaking import language_option
from bellmouth.cli.waiting import waiting

__all__ = ["command"]

_FILE = click.Path(path_type=Path)


@click.command("judge", short_help="Was a learning procedure met, step by step?")
@click.argument("recording", type=_FILE, metavar="[REC]", required=False)
@click.option(
    "--procedure",
    required=True,
    shell_complete=procedures,
    metavar="NAME",
    help="A procedure of the packs (bellmouth procedures lists them) or a file of yours that ends "
    "in .toml.",
)
@click.option(
    "--marks",
    type=_FILE,
    metavar="FILE",
    help="What a person saw, heard or tapped, on the recording's clock (JSON, such as "
    '{"lamp_blinks": 45.9, "lamp_steady": 53.9}). Without REC, judge by these alone.',
)
@click.option(
    "--mapping",
    type=_FILE,
    metavar="FILE",
    help="Which column of the recording is which parameter (TOML).",
)
@click.option(
    "--manual-checked",
    is_flag=True,
    help="You have checked the car's own manual; leaves out the reminder to do so.",
)
@language_option("the judgement", " JSON is English.")
@click.option("--json", "as_json", is_flag=True, help="Print the judgement as one JSON document.")
def command(
    recording: Path | None,
    procedure: str,
    marks: Path | None,
    mapping: Path | None,
    manual_checked: bool,
    language: str | None,
    as_json: bool,
) -> int:
    """Judge the attempt at a learning procedure in the recording REC, step by step.

    Exit code 0: met. Exit code 1: missed, or it cannot be told; the answer is not yes.
    """
    from bellmouth import read_recording  # noqa: PLC0415 - --help stays quick
    from bellmouth.learning import find_procedure, judge  # noqa: PLC0415
    from bellmouth.learning.judgement import MET  # noqa: PLC0415
    from bellmouth.pages.card_catalogue import default_language  # noqa: PLC0415
    from bellmouth.pages.card_words import Words  # noqa: PLC0415
    from bellmouth.pages.judgement import judgement_document, print_judgement  # noqa: PLC0415

    if recording is None and marks is None:
        raise click.UsageError("Give a recording REC, --marks FILE, or both.")
    chosen, words = find_procedure(procedure), Words(language or default_language())
    with waiting(words.text("Reading the recording")):
        read = None if recording is None else read_recording(recording, mapping=mapping)
    judgement = judge(read, chosen, marks)
    if as_json:
        from bellmouth.pages.document import to_json  # noqa: PLC0415

        click.echo(to_json(judgement_document(judgement)))
    else:
        from bellmouth.pages.coach_paper import say  # noqa: PLC0415
        from bellmouth.pages.lists import console  # noqa: PLC0415

        print_judgement(judgement, console(), words, chosen)
        if not chosen.sourced and not manual_checked:
            click.echo(f"\n{say(words, 'unsourced', source=words.text(chosen.source))}")
    return 0 if judgement.judgement == MET else 1
