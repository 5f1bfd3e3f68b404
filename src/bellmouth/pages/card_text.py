"""The job card on the terminal, to be read from a bench or sent to a printer as plain text."""

from collections.abc import Iterable

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from bellmouth.pages.card_drawing import flange_letters
from bellmouth.pages.card_view import CardPage, StepView
from bellmouth.pages.lists import hanging, section

__all__ = ["print_card"]

_LINE = "_" * 16
_SHORT = "_" * 6


def print_card(page: CardPage, out: Console) -> None:
    """Print a card for people."""
    say = page.labels
    out.print()
    works = ", ".join(page.works) or say["no_work"]
    out.print(Text(f"{say['title']}: {works}", style="bold"))
    if page.proposed and page.works:
        out.print(Text(f"({say['proposed']})"))
    out.print(Text(" · ".join(filter(None, (page.car_name, *page.car)))))
    if page.complaint:
        out.print(Text(f"{say['complaint']}: {page.complaint}"))
    fields = ("job_number", "date", "distance", "done_by")
    out.print(Text("  ".join(f"{say[name]} {_LINE}" for name in fields)))
    out.print(
        Text(f"{say['weather']} {_LINE}  {say['manual_checked']} {page.manual_section or _LINE}")
    )
    out.print(Text(say["manual_first"], style="bold"))
    out.print(Text(say["stop"]))
    _print_finding(page, out)
    for stage in page.stages:
        section(out, stage.title)
        for step in stage.steps:
            _print_step(step, page, out)
    _print_tables(page, out)
    _print_end(page, out)


def _print_finding(page: CardPage, out: Console) -> None:
    if page.found:
        section(out, page.labels["finding"])
        for cause, probability, size in page.found:
            told = f"{cause} {probability}" + (f" ({size})" if size else "")
            out.print(hanging("-", told))
    again = (page.look_again,) if page.look_again else ()
    for name, sentences in (
        ("settle_first", page.settle_first), ("look_again", again),
        ("hand_over", page.hand_over), ("against", page.against),
    ):  # fmt: skip
        if sentences:
            section(out, page.labels[name])
            for sentence in sentences:
                out.print(hanging("!", sentence))


def _print_step(step: StepView, page: CardPage, out: Console) -> None:
    say = page.labels
    row = Table.grid(padding=(0, 1))
    row.add_column(no_wrap=True)
    row.add_column(width=2, justify="right")
    row.add_column(overflow="fold")
    told = step.say
    if step.shows:
        told += f" [{page.letters[step.shows]}]"
    row.add_row("[ ]", str(step.number), Text(told))
    for caution in step.cautions:
        row.add_row("", " !", Text(f"{say['caution']}: {caution}", style="bold"))
    if step.timer:
        row.add_row("", "", Text(f"{say['wait']}: {step.timer} {_SHORT}"))
    for blank in step.blanks:
        row.add_row("", "", Text(f"{blank}: {_LINE}"))
    out.print(row)


def _title(page: CardPage, name: str, out: Console) -> bool:
    """The heading of a table, where the card has that table."""
    if name not in page.letters:
        return False
    section(out, f"{page.letters[name]}  {page.labels[name]}")
    return True


def _table(out: Console, head: Iterable[str], rows: Iterable[Iterable[str]]) -> None:
    table = Table.grid(padding=(0, 2, 0, 0))
    for _ in (titles := tuple(head)):
        table.add_column(overflow="fold")
    table.add_row(*(Text(title, style="bold") for title in titles))
    for row in rows:
        table.add_row(*map(Text, row))
    out.print(table)


def _print_tables(page: CardPage, out: Console) -> None:
    say = page.labels
    if _title(page, "before_after", out):
        rows = [(f"{name} {aim}".rstrip(), _SHORT, _SHORT) for name, aim in page.before_after]
        _table(out, (say["reading"], say["before"], say["after"]), rows)
    if _title(page, "materials", out):
        for kind, text in page.materials:
            out.print(Text(f"[ ] {text} ({kind})"))
    if _title(page, "memories", out):
        rows3 = [(lost, back, "[ ]") for lost, back in page.memories]
        _table(out, (say["lost"], say["back"], say["restored"]), rows3)
        if page.learning_after_battery:
            listed = ", ".join(page.learning_after_battery)
            out.print(hanging("-", f"{say['after_battery']}: {listed}."))
    if _title(page, "tally", out):
        rows4 = [(item, _SHORT, _SHORT, _SHORT) for item in page.tally]
        _table(out, (say["item"], say["out"], say["in"], say["left"]), rows4)
    if _title(page, "solvents", out):
        for part, allowed, forbidden in page.solvents:
            told = f"{part}: {say['allowed']} {allowed}; {say['forbidden']} {forbidden}."
            out.print(hanging("-", told))
    _print_flange(page, out)
    _print_learning(page, out)


def _print_flange(page: CardPage, out: Console) -> None:
    if not _title(page, "tightening", out):
        return
    for flange in page.tightening:
        for line in flange_letters(flange):
            out.print(Padding(Text(line), (0, 0, 0, 2)))
        out.print()
    out.print(hanging("-", page.labels["turns"]))
    torque = page.torque or _LINE
    section_told = page.manual_section or _LINE
    out.print(Text(f"{page.labels['torque']}: {torque}  {page.labels['section']} {section_told}"))


def _print_learning(page: CardPage, out: Console) -> None:
    if not _title(page, "learning", out):
        return
    say = page.labels
    if not page.learning:
        out.print(Text(say["no_procedure"]))
    elif any(row.unsourced for row in page.learning):
        out.print(Text(say["learning_source"]))
    for number, row in enumerate(page.learning, 1):
        out.print(Text(f"[ ] {number}. {row.title}", style="bold"))
        out.print(Padding(Text(" > ".join(row.steps)), (0, 0, 0, 4)))
        if row.instead:
            told = f"{say['instead']}: {', '.join(row.instead)}"
            out.print(Padding(Text(told), (0, 0, 0, 4)))
        for sign in row.signs:
            out.print(Padding(Text(f"{say['took']}: {sign}"), (0, 0, 0, 4)))
        out.print(
            Padding(
                Text(
                    f"{say['attempts']}: 1 {_SHORT} 2 {_SHORT} 3 {_SHORT}  {say['skipped']} {_LINE}"
                ),
                (0, 0, 0, 4),
            )
        )


def _print_end(page: CardPage, out: Console) -> None:
    say = page.labels
    if page.stages:
        section(out, say["sign_off"])
        for name in ("done_by", "checked_by", "licence", "told", "next_due"):
            out.print(Text(f"{say[name]}: {_LINE}"))
        out.print(Text("- " * (min(out.width, 72) // 2)))
        out.print(Text(say["tear_off"], style="bold"))
        out.print(Text(f"{say['work_done']}: {', '.join(page.works)}"))
        for name in ("job_number", "date", "distance", "idle_before_after", "result", "next_due"):
            out.print(Text(f"{say[name]}: {_LINE}"))
    out.print()
    out.print(Text(f"{say['made_by']}. {say['common_practice']}", style="dim"))
