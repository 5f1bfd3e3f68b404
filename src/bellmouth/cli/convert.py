"""``bellmouth convert``: a recording of any kind to Parquet, CSV or MDF."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from bellmouth.cli.adapter_options import parse_controller
from bellmouth.cli.speaking import in_language, say, words
from bellmouth.cli.waiting import waiting
from bellmouth.cli.writing import overwrite_option, refuse_existing

if TYPE_CHECKING:
    from bellmouth.recording.series import Recording

__all__ = ["command"]

_FILE = click.Path(path_type=Path)


@in_language
@click.command("convert", short_help="A recording of any kind to Parquet, CSV or MDF.")
@click.argument("recording", type=_FILE, metavar="IN")
@click.argument("out", type=_FILE, metavar="OUT")
@click.option(
    "--mapping",
    type=_FILE,
    metavar="FILE",
    help="Which column or channel is which parameter (TOML, under [columns] lines such as "
    '"Drehzahl" = "engine_speed [rpm]").',
)
@click.option(
    "--controller",
    callback=lambda _, __, text: parse_controller(text),
    metavar="ADDRESS",
    help="Of recorded bus traffic: the controller to read, such as 10 (default: the engine's).",
)
@overwrite_option
def command(
    recording: Path, out: Path, mapping: Path | None, controller: int | None, overwrite: bool
) -> None:
    """Convert the recording IN to OUT; the ending of OUT picks .parquet, .csv or .mf4.

    IN is CSV, Parquet, ASAM MDF 4, or a raw bus log (candump, ASC, BLF, TRC) of somebody reading
    the car's values. What was mended or left out is said.
    """
    from bellmouth import read_recording  # noqa: PLC0415 - --help stays quick
    from bellmouth.recording.export import write_recording  # noqa: PLC0415

    if out.exists() and recording.exists() and out.samefile(recording):
        raise click.UsageError(f"{out}: is the recording itself. Give another name to write to.")
    refuse_existing(out, overwrite=overwrite)
    with waiting(words().text("Reading the recording")):
        found = read_recording(recording, mapping=mapping, controller=controller)
        write_recording(found, out, overwrite=overwrite)
    samples = sum(series.time_s.size for series in found.series.values())
    seconds = max(float(series.time_s[-1]) for series in found.series.values())
    say(
        "{0}: {1} parameters, {2} samples, {3} s.",
        out,
        len(found.series),
        samples,
        f"{seconds:.0f}",
    )
    for note in found.notes:
        say("- {0}", words().told(note))
    _say_left_behind(found, out)


def _say_left_behind(recording: "Recording", out: Path) -> None:
    """What the recording held and a CSV has no place for."""
    if out.suffix.lower() != ".csv":
        return
    if recording.of_car.text():
        say("A CSV has no place for which car it is of: Parquet and MDF keep that.")
    if any(series.step is not None for series in recording.series.values()):
        say("A CSV has no place for how finely means are known: Parquet and MDF keep that.")
    if recording.loads_off:
        say("A CSV has no place for loads that were off: --loads-off tells it.")
