"""``bellmouth prove``: did the work help? Before against after, jointly."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from bellmouth.cli.complaint_option import complaint_option
from bellmouth.cli.speaking import speaking
from bellmouth.cli.waiting import waiting
from bellmouth.cli.writing import overwrite_option, refuse_existing

if TYPE_CHECKING:
    from bellmouth.pages.card_words import Words

__all__ = ["command"]

_FILE = click.Path(path_type=Path)
_NOT_BETTER = 1


def _works(_: click.Context, __: click.Parameter, begun: str) -> list[str]:
    from bellmouth.finding.prove import works  # noqa: PLC0415 - only the shell's tab key pays

    return [work for work in works() if work.startswith(begun)]


@click.command("prove", short_help="Did the work help? Before against after.")
@click.argument("before", type=_FILE, metavar="BEFORE")
@click.argument("after", type=_FILE, metavar="AFTER")
@click.option(
    "--car",
    "car_file",
    type=_FILE,
    required=True,
    metavar="FILE",
    help="What you know about the car: displacement, metering and whatever else (TOML).",
)
@complaint_option("What the owner said before the work.")
@click.option(
    "--done",
    multiple=True,
    shell_complete=_works,
    metavar="WORK",
    help="What was done: clean_plate, clean_meter, reseal, renew_gasket, mend_fuel, relearn "
    "or nothing. May be given more than once.",
)
@click.option(
    "--result",
    "results",
    multiple=True,
    metavar="CHECK=OUTCOME",
    help="What a check showed that was made after the work: smoke_test, hose_pinched, bore_look or "
    "computed_air, such as smoke_test=none. May be given more than once.",
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
    "--prior",
    type=_FILE,
    metavar="FILE",
    help="Your own weights of the causes before the work (TOML, lines such as leak = 0.5).",
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
    help="Which column is which parameter, in all the recordings (TOML).",
)
@speaking
@click.option("--json", "as_json", is_flag=True, help="Print the proof as one JSON document.")
@click.option(
    "--report", type=_FILE, metavar="FILE", help="Also write a page with pictures (HTML)."
)
@overwrite_option
@click.option(
    "--loads-off/--loads-on",
    default=None,
    help="Whether in BEFORE and in AFTER every load was off while it idled (air conditioning, "
    "blower, lights, heated windows) or one was on. Left out: what each recording notes.",
)
@click.pass_context
def command(
    context: click.Context,
    before: Path,
    after: Path,
    car_file: Path,
    complaint: str | None,
    done: tuple[str, ...],
    results: tuple[str, ...],
    references: tuple[Path, ...],
    prior: Path | None,
    family: Path | None,
    mapping: Path | None,
    as_json: bool,
    report: Path | None,
    overwrite: bool,
    loads_off: bool | None,
    speak: "Words",
) -> None:
    """Say whether what was done between BEFORE and AFTER helped.

    Both are recordings of one car. The exit code is 0 where it is better, 1 where it is not or
    where that cannot be said yet.
    """
    from bellmouth import prove, read_car, read_recording  # noqa: PLC0415 - --help stays quick
    from bellmouth.pages import proof_page, proof_screen  # noqa: PLC0415
    from bellmouth.pages.document import proof_document, to_json  # noqa: PLC0415
    from bellmouth.pages.lists import console  # noqa: PLC0415
    from bellmouth.pages.screen import print_report_path  # noqa: PLC0415

    refuse_existing(report, overwrite=overwrite)
    car = read_car(car_file)
    with waiting(speak.text("Reading the recordings")):
        found = [read_recording(path, mapping=mapping) for path in (before, after, *references)]
    with waiting(speak.text("Comparing before and after")):
        proof = prove(
            found[0], found[1], car, references=found[2:], prior=prior, complaint=complaint,
            done=done, results=results, family=family, loads_off=loads_off,
        )  # fmt: skip
    if report is not None:
        with waiting(speak.text("Drawing the report")):
            proof_page.write_report(report, proof, found[0], found[1], car, speak)
    if as_json:
        click.echo(to_json(proof_document(proof)))
    else:
        out = console()
        proof_screen.print_proof(proof, car.metering, out, speak)
        if report is not None:
            print_report_path(report, out, speak)
    context.exit(0 if proof.verdict == "better" else _NOT_BETTER)
