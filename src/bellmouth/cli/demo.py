"""``bellmouth demo``: the finding on a packaged recording, with no car and no file of one's own."""

from importlib.resources import as_file, files
from pathlib import Path
from shutil import get_terminal_size
from typing import TYPE_CHECKING

import click

from bellmouth.cli.find import show
from bellmouth.cli.speaking import speaking
from bellmouth.cli.waiting import waiting
from bellmouth.cli.writing import overwrite_option, refuse_existing

if TYPE_CHECKING:
    from bellmouth.pages.card_words import Words

__all__ = ["command"]

_WIDEST = 95


@click.command("demo", short_help="The finding on a packaged recording.")
@speaking
@click.option("--json", "as_json", is_flag=True, help="Print the finding as one JSON document.")
@click.option(
    "--report",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Also write a page with pictures (HTML).",
)
@overwrite_option
def command(as_json: bool, report: Path | None, overwrite: bool, speak: "Words") -> None:
    """Find what is wrong with a practice car whose recording comes with Bellmouth."""
    from bellmouth import find, read_car, read_recording  # noqa: PLC0415 - --help stays quick
    from bellmouth.pages.lists import console  # noqa: PLC0415

    refuse_existing(report, overwrite=overwrite)
    packaged = files("bellmouth") / "data" / "demo"
    with as_file(packaged) as folder:
        if not as_json:
            width = min(get_terminal_size().columns, _WIDEST)
            told = click.wrap_text(_story(folder, speak), width, preserve_paragraphs=True)
            console().print(told)
        car = read_car(folder / "car.toml")
        recording = read_recording(folder / "recording.csv")
    with waiting(speak.text("Weighing the causes")):
        finding = find(recording, car)
    show(finding, recording, car, speak, as_json=as_json, report=report)
    if not as_json:
        page = speak.text("The whole job on a page, practice car included: {command}")
        console().print(f"\n{page.format(command='bellmouth serve --open')}", soft_wrap=True)


def _story(folder: Path, speak: "Words") -> str:
    from bellmouth.pages.sentences import paragraphs  # noqa: PLC0415 - --help stays quick

    text = (folder / "story.txt").read_text(encoding="utf-8")
    return "\n\n".join(speak.told(one) for one in paragraphs(text))
