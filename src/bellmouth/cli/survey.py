"""``bellmouth survey``: the finding over many cars."""

import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from bellmouth.cli.completing import files
from bellmouth.cli.speaking import in_language, say, teller, words
from bellmouth.cli.waiting import waiting
from bellmouth.cli.writing import overwrite_option, refuse_existing

if TYPE_CHECKING:
    from bellmouth.fleet.survey import Progress

__all__ = ["command"]

_FILE = click.Path(path_type=Path)


@in_language
@click.command("survey", short_help="The finding over many cars.")
@click.argument("recordings", nargs=-1, required=True, metavar="RECORDINGS…", shell_complete=files)
@click.option(
    "--cars",
    required=True,
    shell_complete=files,
    metavar="FILE",
    help="Table of the cars (Parquet or CSV): a column car, perhaps family, and the keys of a "
    "car file.",
)
@click.option(
    "--out",
    required=True,
    shell_complete=files,
    metavar="FOLDER",
    help="Where the findings go, as parts of one Parquet table. A survey that was broken off is "
    "taken up again.",
)
@click.option("--scheduler", metavar="ADDRESS", help="A Dask scheduler, such as tcp://host:8786.")
@click.option(
    "--workers",
    type=click.IntRange(min=0),
    metavar="N",
    help="Processes on this machine (all cores if left out; 0 works in this one).",
)
@click.option(
    "--report", type=_FILE, metavar="FILE", help="Also write a summary page with pictures (HTML)."
)
@click.option(
    "--learn-family",
    "families",
    type=_FILE,
    metavar="FILE",
    help="Also learn what the cars have in common, as bellmouth family learn does; {family} in "
    "FILE stands for the name of each family.",
)
@overwrite_option
def command(
    recordings: tuple[str, ...],
    cars: str,
    out: str,
    scheduler: str | None,
    workers: int | None,
    report: Path | None,
    families: Path | None,
    overwrite: bool,
) -> None:
    """Judge every recording and keep one row of each.

    RECORDINGS are folders, globs, files or addresses. A recording belongs to the car that its
    folder or the beginning of its file name is called by.
    """
    from bellmouth.fleet.survey import survey  # noqa: PLC0415 - --help stays quick
    from bellmouth.pages.survey_page import write_summary  # noqa: PLC0415
    from bellmouth.pages.survey_screen import print_survey  # noqa: PLC0415

    refuse_existing(report, overwrite=overwrite)
    paths = {} if families is None else _family_paths(cars, families, overwrite=overwrite)
    # What is asked beside the findings can be had of a survey that is complete, too.
    again = report is not None or families is not None
    findings = survey(
        recordings, cars, out, scheduler=scheduler, workers=workers, tell=_progress(), again=again
    )
    table = findings.read()
    print_survey(table, teller())
    click.echo()
    say("Findings: {0}", out)
    if report is not None:
        write_summary(report, table, words())
        say("Summary with pictures: {0} (open it in a browser)", report)
    if paths:
        _learn(recordings, cars, out, paths)


def _family_paths(cars: str, families: Path, *, overwrite: bool) -> dict[str, Path]:
    """Where each family goes, refused before any work is done where something is there."""
    from bellmouth.fleet.family_files import family_paths  # noqa: PLC0415
    from bellmouth.fleet.inputs import read_cars  # noqa: PLC0415

    paths = family_paths(read_cars(cars), families)
    refuse_existing(*paths.values(), overwrite=overwrite)
    return paths


def _learn(recordings: Sequence[str], cars: str, out: str, paths: Mapping[str, Path]) -> None:
    """Learn each family that has enough cars; the reason for each that has not."""
    from bellmouth.errors import FindingError  # noqa: PLC0415
    from bellmouth.fleet.family import learn_family  # noqa: PLC0415
    from bellmouth.fleet.family_files import MOST_RECORDINGS, examples_of  # noqa: PLC0415
    from bellmouth.fleet.inputs import read_cars  # noqa: PLC0415

    table, short = read_cars(cars), []
    for name, path in paths.items():
        with waiting(words().text("Learning the family {0}").format(name)):
            examples, _ = examples_of(
                recordings, table, name, most=MOST_RECORDINGS, leaving_out=(cars, out)
            )
            try:
                family = learn_family(examples, name).family
            except FindingError as error:
                short.append(str(error))
                continue
        family.write(path)
        say("Family {0}: {1}", family.told, path)
    for sentence in short:
        say("Not learnt: {0}", words().told(sentence), err=True)


class _progress:  # noqa: N801 - used as a function
    """Tells on standard error how far it is: in place on a terminal, now and then elsewhere."""

    def __init__(self) -> None:
        self._live = sys.stderr.isatty()
        self._next = 0.1
        self._words = words()

    def _say(self, sentence: str, *filled: object) -> str:
        return self._words.text(sentence).format(*filled)

    def __call__(self, progress: "Progress") -> None:
        share = progress.done / max(progress.total, 1)
        line = self._say(
            "{0} of {1} recordings, {2} a second, {3} left",
            progress.done, progress.total, f"{progress.per_s:.1f}", _clock(progress.left_s),
        )  # fmt: skip
        if progress.before:
            line += self._say(" ({0} done before)", progress.before)
        if self._live:
            end = "\n" if share >= 1.0 else ""
            print(f"\r\033[K{line}", end=end, file=sys.stderr, flush=True)
        elif share >= self._next:
            print(line, file=sys.stderr, flush=True)
            self._next = share + 0.1


def _clock(seconds: float) -> str:
    minutes, rest = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    if hours:
        return f"{hours} h {minutes:02} min"
    return f"{minutes} min {rest:02} s" if minutes else f"{rest} s"
