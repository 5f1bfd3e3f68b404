"""``bellmouth check``: is this recording good enough?"""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from bellmouth.cli.speaking import speaking
from bellmouth.cli.waiting import waiting

if TYPE_CHECKING:
    from bellmouth.pages.card_words import Words

__all__ = ["command"]


@click.command("check", short_help="Is a recording good enough to judge by?")
@click.argument("recording", type=click.Path(path_type=Path), metavar="REC")
@click.option(
    "--mapping",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Which column of the recording is which parameter (TOML).",
)
@speaking
@click.option("--json", "as_json", is_flag=True, help="Print the result as one JSON document.")
def command(recording: Path, mapping: Path | None, as_json: bool, speak: "Words") -> int:
    """Say whether the recording REC is good enough to judge an engine by.

    Exit code 1 means it is not.
    """
    from bellmouth import read_recording  # noqa: PLC0415 - --help stays quick
    from bellmouth.pages.quality import print_quality, quality_document  # noqa: PLC0415
    from bellmouth.recording.quality import assess  # noqa: PLC0415

    with waiting(speak.text("Reading the recording")):
        quality = assess(read_recording(recording, mapping=mapping))
    if as_json:
        from bellmouth.pages.document import to_json  # noqa: PLC0415

        click.echo(to_json(quality_document(quality)))
    else:
        from bellmouth.pages.lists import console  # noqa: PLC0415

        print_quality(quality, console(), speak)
    return 0 if quality.usable else 1
