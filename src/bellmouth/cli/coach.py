"""``bellmouth coach``: through a learning procedure, to the tenth of a second."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from bellmouth.cli.adapter_options import adapter_options
from bellmouth.cli.bounded import Within
from bellmouth.cli.completing import procedures
from bellmouth.cli.speaking import language_option
from bellmouth.cli.writing import overwrite_option, refuse_existing

if TYPE_CHECKING:
    from bellmouth.learning.procedure import Procedure

__all__ = ["command"]


@click.command("coach", short_help="Coach a learning procedure, second by second.")
@click.argument("procedure", metavar="PROCEDURE", required=False, shell_complete=procedures)
@click.option(
    "--manual-checked",
    is_flag=True,
    help="You have checked the car's own manual; nothing is coached on a car before.",
)
@click.option(
    "--practise",
    "--practice",
    "practise",
    is_flag=True,
    help="Without a car, on the keyboard: space is the pedal, k the key, s the starter.",
)
@click.option(
    "--live",
    is_flag=True,
    help="Follow the car's signals, and say at once what went wrong; needs --channel.",
)
@adapter_options
@click.option(
    "--lead",
    type=Within(-0.5, 1.0),
    metavar="SECONDS",
    help="Call every action so much earlier; left out, what suits --person.",
)
@click.option(
    "--person",
    default="",
    metavar="NAME",
    help="Whose timing to learn from and to suit; a number will do.",
)
@click.option(
    "--keep",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="FOLDER",
    help="Where attempts are kept; your data folder when left out.",
)
@language_option("all that is called and printed")
@click.option("--quiet", is_flag=True, help="No sound at all, to listen to the plate.")
@click.option("--two-person", is_flag=True, help="One calls, another acts: print the script first.")
@click.option("--card", is_flag=True, help="Print the procedure as a card on paper, and end.")
@click.option(
    "--html",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Write the card as a page to print on one sheet (HTML), and end.",
)
@overwrite_option
@click.option("--forecast", is_flag=True, help="Say how likely --person is to pass, and end.")
@click.option("--sound-check", is_flag=True, help="Sound every tone with its meaning, and end.")
@click.option(
    "--audio-offset",
    type=Within(0.0, 1000.0),
    default=0.0,
    metavar="MS",
    help="Give every cue so much sooner, for ear-pieces that sound late.",
)
def command(
    procedure: str | None,
    manual_checked: bool,
    practise: bool,
    live: bool,
    interface: str,
    channel: str | None,
    bitrate: int | None,
    lead: float | None,
    person: str,
    keep: Path | None,
    language: str | None,
    quiet: bool,
    two_person: bool,
    card: bool,
    html: Path | None,
    overwrite: bool,
    forecast: bool,
    sound_check: bool,
    audio_offset: float,
) -> int | None:
    """Coach the learning PROCEDURE: a name from bellmouth procedures, or a TOML file of yours.

    Any key marks what you are waiting for; q, Escape or Ctrl-C stops. Exit code 1: not met.
    """
    from bellmouth.cli import coach_intro, coaching  # noqa: PLC0415 - --help stays quick
    from bellmouth.pages.card_words import Words  # noqa: PLC0415

    words = Words(language or coaching.default_language())
    if sound_check:
        coaching.check_sound(words)
        return None
    if procedure is None:
        raise click.UsageError("Name a PROCEDURE; bellmouth procedures lists them.")
    if practise and live:
        raise click.UsageError("Choose --practise or --live: one is without a car.")
    chosen = _found(procedure)
    refuse_existing(html, overwrite=overwrite)
    script = two_person and not (practise or live or manual_checked)
    if card or html is not None or script:
        coaching.print_paper(chosen, words, card=card, two_person=two_person, html=html)
        return None
    folder = coaching.folder_of(keep)
    if forecast:
        coaching.print_forecast(chosen, folder, person, lead, words)
        return None
    wishes = coaching.Wishes(
        chosen, folder, person, lead, quiet, two_person, audio_offset / 1000.0,
        words.language,
    )  # fmt: skip
    if practise:
        return coaching.practise(wishes)
    coach_intro.introduce(chosen, words)
    coach_intro.confirm_manual(chosen, words, checked=manual_checked)
    if live:
        return coaching.coach_live(wishes, (interface, channel, bitrate))
    return coaching.coach_by_marks(wishes)


def _found(name: str) -> "Procedure":
    from bellmouth.learning.packs import find_procedure  # noqa: PLC0415

    return find_procedure(name)
