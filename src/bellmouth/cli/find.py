"""``bellmouth find``: what is wrong, how big, how sure, what to check next."""

import shlex
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from bellmouth.cli.adapter_options import adapter_options
from bellmouth.cli.complaint_option import complaint_option
from bellmouth.cli.speaking import speaking
from bellmouth.cli.waiting import waiting
from bellmouth.cli.writing import overwrite_option, refuse_existing

if TYPE_CHECKING:
    from bellmouth.car.description import Car
    from bellmouth.finding.result import Finding
    from bellmouth.pages.card_words import Words
    from bellmouth.recording.series import Recording

__all__ = ["command", "command_again", "show"]

_FILE = click.Path(path_type=Path)
# What of a command line a finding is made with, besides recording and car.
_ASKED = {
    "complaint": "--complaint", "also": "--also", "references": "--reference",
    "results": "--result", "prior": "--prior", "family": "--family", "mapping": "--mapping",
    "loads_off": "--loads-off", "language": "--language", "units": "--units",
}  # fmt: skip
_TAKEN_BACK = {"--loads-off": "--loads-on"}


@click.command("find", short_help="What is wrong, how big, how sure, what next.")
@click.argument("recording", type=_FILE, metavar="REC")
@click.option(
    "--car",
    "car_file",
    type=_FILE,
    required=True,
    metavar="FILE",
    help="What you know about the car: displacement, metering and whatever else (TOML).",
)
@complaint_option('What the owner says, such as "high idle".')
@click.option(
    "--also",
    type=_FILE,
    multiple=True,
    metavar="REC",
    help="Another recording of the car as it is now, with nothing done in between: other speeds, "
    "another day. May be given more than once.",
)
@click.option(
    "--reference",
    "references",
    type=_FILE,
    multiple=True,
    metavar="REC",
    help="A recording of the same car when it was good. May be given more than once.",
)
@click.option(
    "--result",
    "results",
    multiple=True,
    metavar="CHECK=OUTCOME",
    help="What a check showed, such as smoke_test=none (bellmouth checks lists them). May be "
    "given more than once, and so may a check that was made again.",
)
@click.option(
    "--prior",
    type=_FILE,
    metavar="FILE",
    help="Your own weights of the causes before the recording is looked at (TOML, lines such as "
    "leak = 0.5; causes left out count as 0).",
)
@click.option(
    "--family",
    type=_FILE,
    metavar="FILE",
    help="What was learnt from other cars of its engine family (bellmouth family learn).",
)
@click.option(
    "--mapping",
    type=_FILE,
    metavar="FILE",
    help="Which column is which parameter (TOML, under [columns] lines such as "
    '"Drehzahl" = "engine_speed [rpm]").',
)
@speaking
@click.option("--json", "as_json", is_flag=True, help="Print the finding as one JSON document.")
@click.option(
    "--report", type=_FILE, metavar="FILE", help="Also write a page with pictures (HTML)."
)
@overwrite_option
@click.option(
    "--loads-off/--loads-on",
    default=None,
    help="Whether in REC and in each --also every load was off while it idled (air conditioning, "
    "blower, lights, heated windows) or one was on. Left out: what each recording notes.",
)
@click.option(
    "--live",
    is_flag=True,
    help="Read the car first, guided, and write what it says to REC (as bellmouth record does).",
)
@adapter_options
def command(
    recording: Path,
    car_file: Path,
    complaint: str | None,
    also: tuple[Path, ...],
    references: tuple[Path, ...],
    results: tuple[str, ...],
    prior: Path | None,
    family: Path | None,
    mapping: Path | None,
    as_json: bool,
    report: Path | None,
    overwrite: bool,
    loads_off: bool | None,
    live: bool,
    interface: str,
    channel: str | None,
    bitrate: int | None,
    speak: "Words",
) -> None:
    """Find what is wrong with the air path in the recording REC.

    REC is a CSV, Parquet or MDF file or a bus log: a column of times and one column a parameter.
    With --live the car is read first, and REC is where that goes.
    """
    from bellmouth import find, read_car, read_recording  # noqa: PLC0415 - --help stays quick

    if not live and (channel or bitrate):
        raise click.UsageError("--channel and --bitrate are for --live: add it, or leave them out.")
    refuse_existing(report, overwrite=overwrite)
    car = read_car(car_file)
    if live:
        from bellmouth.cli.record import capture  # noqa: PLC0415

        capture((interface, channel, bitrate), recording, car, None, None, complaint, speak=speak)
    with waiting(speak.text("Reading the recording")):
        judged = read_recording(recording, mapping=mapping)
        more, good = (
            tuple(read_recording(path, mapping=mapping) for path in paths)
            for paths in (also, references)
        )
    judged = replace(judged, loads_off=judged.loads_off or live)  # its guide asks for that
    with waiting(speak.text("Weighing the causes")):
        finding = find(
            judged, car, also=more, references=good, results=results, prior=prior,
            complaint=complaint, family=family, loads_off=loads_off,
        )  # fmt: skip
    params = dict(click.get_current_context().params)
    if loads_off is None and not also:  # a CSV cannot note it; the option holds for each --also
        params["loads_off"] = True
    again = command_again(recording, car_file, params) if live else ""
    show(finding, judged, car, speak, as_json=as_json, report=report, again=again)


def command_again(recording: Path, car_file: Path, given: Mapping[str, Any]) -> str:
    """The command that makes the finding of a capture again, whose own would read the car anew."""
    words = ["bellmouth", "find", str(recording), "--car", str(car_file)]
    for name, option in _ASKED.items():
        value = given.get(name)
        if name == "units" and value == "metric":  # nobody has to type what holds anyway
            continue
        if isinstance(value, bool):
            words.append(option if value else _TAKEN_BACK[option])
        elif value is not None:
            for one in value if isinstance(value, tuple) else (value,):
                words += [option, str(one)]
    return shlex.join(words)


def show(
    finding: "Finding",
    recording: "Recording",
    car: "Car",
    speak: "Words",
    *,
    as_json: bool,
    report: Path | None,
    again: str = "",
) -> None:
    """Print a finding, as JSON or for people, and write its report where one is wanted; ``again``
    is the command that makes it again, where another one made this."""
    if report is not None:
        from bellmouth.pages.report import write_report  # noqa: PLC0415 - only reports draw

        with waiting(speak.text("Drawing the report")):
            write_report(report, finding, recording, car, speak)
    if as_json:
        from bellmouth.pages.document import finding_document, to_json  # noqa: PLC0415

        click.echo(to_json(finding_document(finding)))
        return
    from bellmouth.pages.lists import console  # noqa: PLC0415
    from bellmouth.pages.screen import print_finding, print_report_path  # noqa: PLC0415

    out = console()
    print_finding(finding, recording, car, out, again, speak)
    if report is not None:
        print_report_path(report, out, speak)
