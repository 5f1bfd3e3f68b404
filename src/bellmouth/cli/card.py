"""``bellmouth card``: what to do with one's hands, as text, page or print."""

from pathlib import Path
from typing import TYPE_CHECKING, Literal

import click

from bellmouth.cli.completing import procedures
from bellmouth.cli.speaking import language_option, units_option
from bellmouth.cli.waiting import waiting
from bellmouth.cli.writing import overwrite_option, refuse_existing

if TYPE_CHECKING:
    from bellmouth.car.description import Car
    from bellmouth.finding.result import Finding
    from bellmouth.pages.card_view import CardPage
    from bellmouth.pages.card_words import Words
    from bellmouth.work import Before

__all__ = ["command"]

_FILE = click.Path(path_type=Path)


@click.command("card", short_help="The job card: what to do with one's hands.")
@click.option(
    "--car",
    "car_file",
    type=_FILE,
    required=True,
    metavar="FILE",
    help="What you know about the car (TOML).",
)
@click.option(
    "--finding",
    "finding_file",
    type=_FILE,
    metavar="FILE",
    help="A finding, as bellmouth find --json prints it.",
)
@click.option(
    "--recording", type=_FILE, metavar="REC", help="A recording; the finding is made from it."
)
@click.option(
    "--work",
    "works",
    multiple=True,
    metavar="NAME",
    help="What is to be done: clean_plate, clean_meter, reseal, renew_gasket, mend_fuel or "
    "relearn. May be given more than once; left out, the finding proposes it.",
)
@click.option(
    "--learning",
    multiple=True,
    shell_complete=procedures,
    metavar="NAME",
    help="A learning procedure by name, number or file, instead of those that the work calls "
    "for. May be given more than once.",
)
@click.option(
    "--torque",
    metavar="TEXT",
    help='The tightening value from the car\'s own manual, such as "8 N m". Left out, a line to '
    "fill in is printed.",
)
@click.option(
    "--manual-section", metavar="TEXT", help="The section of the manual that was checked."
)
@click.option("--bolts", type=int, metavar="N", help="Bolts of the throttle's flange: 3, 4 or 6.")
@language_option("the card")
@units_option
@click.option("--html", type=_FILE, metavar="FILE", help="Also write the card as a page (HTML).")
@click.option(
    "--pdf", type=_FILE, metavar="FILE", help="Also write the card as one sheet to print (PDF)."
)
@click.option(
    "--paper",
    type=click.Choice(["a4", "letter"]),
    default="a4",
    help="Paper of the PDF. [default: a4]",
)
@overwrite_option
@click.option("--json", "as_json", is_flag=True, help="Print the card as one JSON document.")
def command(
    car_file: Path,
    finding_file: Path | None,
    recording: Path | None,
    works: tuple[str, ...],
    learning: tuple[str, ...],
    torque: str | None,
    manual_section: str | None,
    bolts: int | None,
    language: str | None,
    units: Literal["metric", "us"],
    html: Path | None,
    pdf: Path | None,
    paper: Literal["a4", "letter"],
    overwrite: bool,
    as_json: bool,
) -> None:
    """Print a job card: order of work, parts, cautions, checks, learning, sign-off."""
    from bellmouth import read_car  # noqa: PLC0415 - --help stays quick
    from bellmouth.pages.card_catalogue import default_language  # noqa: PLC0415
    from bellmouth.pages.card_view import card_page  # noqa: PLC0415
    from bellmouth.pages.card_words import Words  # noqa: PLC0415
    from bellmouth.work import make_card  # noqa: PLC0415

    if finding_file is not None and recording is not None:
        raise click.UsageError("Give --finding or --recording, not both.")
    refuse_existing(html, pdf, overwrite=overwrite)
    car, words = read_car(car_file), Words(language or default_language(), units)
    finding, before = _made_from(car, finding_file, recording, words)
    card = make_card(
        car,
        finding,
        works,
        torque=torque,
        manual_section=manual_section,
        bolts=bolts,
        learning=learning,
        before=before,
    )
    page = card_page(card, words)
    _write(page, html, pdf, paper, words)
    _show(page, html, pdf, as_json=as_json)


def _made_from(
    car: "Car", finding_file: Path | None, recording: Path | None, words: "Words"
) -> "tuple[Finding | None, Before | None]":
    """The finding, and the recording that it is made from, where that was given."""
    if finding_file is not None:
        from bellmouth.work import read_finding  # noqa: PLC0415

        return read_finding(finding_file), None
    if recording is None:
        return None, None
    from bellmouth import find, read_recording  # noqa: PLC0415
    from bellmouth.work import Before  # noqa: PLC0415

    read = read_recording(recording)
    with waiting(words.text("Weighing the causes")):
        return find(read, car), Before.of(read)


def _write(
    page: "CardPage",
    html: Path | None,
    pdf: Path | None,
    paper: Literal["a4", "letter"],
    words: "Words",
) -> None:
    if html is not None:
        from bellmouth.pages.card_html import write_html  # noqa: PLC0415 - only pages need it

        write_html(html, page)
    if pdf is not None:
        from bellmouth.pages.card_pdf import write_pdf  # noqa: PLC0415

        with waiting(words.text("Setting the sheet")):
            write_pdf(pdf, page, paper)


def _show(page: "CardPage", html: Path | None, pdf: Path | None, *, as_json: bool) -> None:
    if as_json:
        from bellmouth.pages.card_view import card_document  # noqa: PLC0415
        from bellmouth.pages.document import to_json  # noqa: PLC0415

        click.echo(to_json(card_document(page)))
        return
    from bellmouth.pages.card_text import print_card  # noqa: PLC0415
    from bellmouth.pages.lists import console  # noqa: PLC0415

    print_card(page, console())
    if html is not None:
        click.echo(f"\nPage: {html} (open it in a browser)")
    if pdf is not None:
        click.echo(f"\nSheet to print: {pdf}")
