"""A recording's quality on the terminal and as data."""

import json
import math
from collections.abc import Callable
from dataclasses import asdict
from decimal import Decimal
from typing import Any, Literal

from rich.cells import cell_len
from rich.console import Console
from rich.table import Table
from rich.text import Text

from bellmouth import __version__
from bellmouth.pages.card_words import ENGLISH, Words
from bellmouth.pages.teller import Teller
from bellmouth.pages.us_units import unit_of_reading
from bellmouth.pages.words import name_words
from bellmouth.recording.names import table
from bellmouth.recording.quality import Missing, ParameterQuality, Quality

__all__ = ["print_quality", "quality_document"]

_MOST = 12
_NARROW = 72
_WANTED = (
    "engine_speed", "mass_air_flow", "intake_manifold_pressure", "throttle_position",
    "short_term_fuel_trim_bank_1", "long_term_fuel_trim_bank_1", "engine_coolant_temperature",
)  # fmt: skip


def quality_document(quality: Quality) -> dict[str, Any]:
    """The quality as plain data: the fields of the dataclass, and what wrote them."""
    return {**asdict(quality), "software": {"name": "bellmouth", "version": __version__}}


def print_quality(quality: Quality, out: Console, speak: Words = ENGLISH) -> None:
    """Print a recording's quality for people."""
    tell = Teller(out, speak)
    out.print()
    out.print(Text(_verdict(quality, tell), style="bold"))
    tell.list("Mind", quality.warnings, _MOST)
    tell.section("Parameters")
    out.print(_parameters(quality.parameters, tell))
    if quality.stretches:
        tell.section("Steady stretches")
        out.print(_stretches(quality, tell))
        if any(stretch.kind == "drive" for stretch in quality.stretches):
            tell.line("A drive line gathers calm moments at one speed and load between its times.")
    missing = [_need(need, tell.say) for need in quality.missing]
    tell.list_told("What is missing, and for which cause", missing, _MOST)
    left_out = list(quality.notes)
    told = " ".join(left_out)
    unsaid = [name for name in quality.unmapped if name not in told]
    if unsaid:
        left_out.append(f"Columns that were not used: {', '.join(unsaid)}.")
    tell.list("What was mended or left out", left_out, _MOST)
    if quality.unmapped:
        _print_mapping(quality, tell)


def _verdict(quality: Quality, tell: Teller) -> str:
    """Whether it can be used; the file's name stays what it is."""
    verdict = "{file} can be used" if quality.usable else "{file} cannot be used"
    much = f"{quality.seconds:.0f} s, {quality.samples_per_s:.1f} samples a second in all."
    return f"{tell.filled(verdict, file=quality.source)}: {tell.say(much)}"


def _print_mapping(quality: Quality, tell: Teller) -> None:
    """How a column that no parameter claimed is given its name: most loggers have their own."""
    there = {one.name for one in quality.parameters}
    missing = [name for name in _WANTED if name not in there]
    if not missing:
        return
    column, unit = quality.unmapped[0], table()[missing[0]].unit
    tell.section("Where one of these columns is a parameter")
    wanted = "Not there, and wanted most: {names}; each with its unit as the file has it."
    for text in (
        tell.speak.text(
            "Write a file with a line for each, and give it with --mapping FILE, here and to find:"
        ),
        "  [columns]",
        f'  {json.dumps(column, ensure_ascii=False)} = "{missing[0]} [{unit}]"',
        tell.filled(wanted, names=", ".join(missing)),
    ):
        tell.out.print(Text(text))


def _need(need: Missing, say: Callable[[str], str]) -> str:
    causes = ", ".join(say(name_words(cause)) for cause in need.causes)
    return f"{say(need.what)}{f' ({causes})' if causes else ''}: {say(need.why)}"


def _parameters(parameters: tuple[ParameterQuality, ...], tell: Teller) -> Table:
    narrow = tell.out.width < _NARROW
    heads = [tell.say(head) for head in ("name", "a second", "gap", "step", "range")]
    rows = [_row(one, tell) for one in parameters]
    if narrow:
        heads, rows = _without_step(heads), [_without_step(row) for row in rows]
    made = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 2, 0, 0))
    for place, width in enumerate(_widths(heads, rows, tell.out.width)):
        justify: Literal["left", "right"] = "right" if place else "left"
        made.add_column(heads[place], justify=justify, overflow="fold", width=width)
    for row in rows:
        made.add_row(*row)
    return made


def _row(one: ParameterQuality, tell: Teller) -> list[str]:
    return [
        tell.say(name_words(one.name)),
        tell.say(_plain(one.samples_per_s, 2)),
        tell.say(f"{one.longest_gap_s:.1f} s"),
        _step(one, tell.speak),
        ", ".join(_reach(one, tell)),
    ]


def _without_step(row: list[str]) -> list[str]:
    return [*row[:3], *row[4:]]


def _widths(heads: list[str], rows: list[list[str]], room: int) -> list[int]:
    """Widths of a table's columns; where room is short the names are broken first, between their
    words, then the heads of the figures, and the range last."""
    columns = list(zip(*rows, strict=True))
    widths = [max(map(cell_len, (head, *of))) for head, of in zip(heads, columns, strict=True)]
    over = sum(widths) + 2 * (len(widths) - 1) - room
    for place, (head, cells) in enumerate(zip(heads, columns, strict=True)):
        broken = head.split() if 0 < place < len(heads) - 1 else " ".join((head, *cells)).split()
        whole = cells if 0 < place < len(heads) - 1 else ()
        least = max(map(cell_len, (*broken, *whole)))
        cut = max(0, min(over, widths[place] - least))
        widths[place] -= cut
        over -= cut
    return widths


def _is_measured(one: ParameterQuality) -> bool:
    """A code or a row of flags has no range that means anything."""
    return one.unit not in {"code", "bits", "mask"}


def _unit(one: ParameterQuality) -> str:
    return unit_of_reading(one.name, one.unit)


def _step(one: ParameterQuality, speak: Words) -> str:
    """The step from one value to the next, in the unit of the range beside it."""
    if not one.quantum or not _is_measured(one):
        return ""
    factor, _ = speak.scale(_unit(one))
    return speak.told(_plain(one.quantum * factor, 3))


def _reach(one: ParameterQuality, tell: Teller) -> list[str]:
    """Its least and most with their unit, and what is wrong with it."""
    if _is_measured(one):
        least, most = (_shown(end, one, tell.speak) for end in (one.least, one.most))
        reach = f"{tell.say(f'{least} to {most}')} {tell.speak.unit(_unit(one))}"
    else:
        reach = tell.say("codes")
    stuck = [tell.say("STUCK")] if one.stuck else []
    dropped = [tell.filled("{n} impossible", n=str(one.dropped))] if one.dropped else []
    return [reach, *stuck, *dropped]


def _shown(value: float, one: ParameterQuality, speak: Words) -> str:
    """To four figures; kilometres may have six. A converted value has the places of its step: the
    figures behind them are the conversion's."""
    unit = _unit(one)
    shown, step = speak.scaled(value, unit), (one.quantum or 0.0) * speak.scale(unit)[0]
    if shown != value and step:
        return f"{shown:.{max(0, math.ceil(-math.log10(step)))}f}"
    return _plain(shown, 4) if abs(shown) < 1000 else f"{shown:.0f}"


def _plain(value: float, figures: int) -> str:
    """To so many figures, never in powers of ten."""
    return f"{Decimal(f'{value:.{figures}g}'):f}"


def _stretches(quality: Quality, tell: Teller) -> Table:
    made = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 2, 0, 0))
    kind, *others = (tell.say(head) for head in ("kind", "begins", "ends", "speed"))
    made.add_column(kind, no_wrap=True)
    for head in others:
        made.add_column(head, justify="right", no_wrap=True)
    made.add_column("", overflow="fold")
    shown, rpm = quality.stretches[: 2 * _MOST], tell.speak.unit("rpm")
    for piece in shown:
        remarks = [
            tell.say(text)
            for text, true in (("cold", piece.warm is False),
                               ("open loop", piece.closed_loop is False))
            if true
        ]  # fmt: skip
        speed = piece.engine_speed_rpm
        made.add_row(
            tell.say(piece.kind),
            f"{piece.start_s:.0f} s",
            f"{piece.end_s:.0f} s",
            "" if speed is None else f"{speed:.0f} {rpm}",
            ", ".join(remarks),
        )
    if len(quality.stretches) > len(shown):
        more = tell.say(f"and {len(quality.stretches) - len(shown)} more")
        made.add_row(more, "", "", "", "")
    return made
