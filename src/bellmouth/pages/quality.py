"""A recording's quality on the terminal and as data."""

import json
from dataclasses import asdict
from typing import Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

from bellmouth import __version__
from bellmouth.pages.lists import print_list, section
from bellmouth.pages.us_units import SHOWN
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


def print_quality(quality: Quality, out: Console) -> None:
    """Print a recording's quality for people."""
    verdict = "can be used" if quality.usable else "cannot be used"
    out.print()
    out.print(
        Text(
            f"{quality.source} {verdict}: {quality.seconds:.0f} s, "
            f"{quality.samples_per_s:.1f} samples a second in all.",
            style="bold",
        )
    )
    print_list(out, "Mind", quality.warnings, _MOST)
    section(out, "Parameters")
    out.print(_parameters(quality.parameters, out))
    if quality.stretches:
        section(out, "Steady stretches")
        out.print(_stretches(quality))
        if any(stretch.kind == "drive" for stretch in quality.stretches):
            out.print(
                Text("A drive line gathers calm moments at one speed and load between its times.")
            )
    print_list(
        out,
        "What is missing, and for which cause",
        [_need(need) for need in quality.missing],
        _MOST,
    )
    left_out = list(quality.notes)
    told = " ".join(left_out)
    unsaid = [name for name in quality.unmapped if name not in told]
    if unsaid:
        left_out.append(f"Columns that were not used: {', '.join(unsaid)}.")
    print_list(out, "What was mended or left out", left_out, _MOST)
    if quality.unmapped:
        _print_mapping(quality, out)


def _print_mapping(quality: Quality, out: Console) -> None:
    """How a column that no parameter claimed is given its name: most loggers have their own."""
    there = {one.name for one in quality.parameters}
    missing = [name for name in _WANTED if name not in there]
    if not missing:
        return
    column, unit = quality.unmapped[0], table()[missing[0]].unit
    section(out, "Where one of these columns is a parameter")
    for text in (
        "Write a file with a line for each, and give it with --mapping FILE, here and to find:",
        "  [columns]",
        f'  {json.dumps(column, ensure_ascii=False)} = "{missing[0]} [{unit}]"',
        f"Not there, and wanted most: {', '.join(missing)}; each with its unit as the file has it.",
    ):
        out.print(Text(text))


def _need(need: Missing) -> str:
    causes = f" ({', '.join(map(name_words, need.causes))})" if need.causes else ""
    return f"{need.what}{causes}: {need.why}"


def _parameters(parameters: tuple[ParameterQuality, ...], out: Console) -> Table:
    narrow = out.width < _NARROW
    table = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 2, 0, 0))
    table.add_column("name", overflow="fold")
    for head in ("a second", "gap", "range") if narrow else ("a second", "gap", "step", "range"):
        table.add_column(head, justify="right", overflow="fold")
    for one in parameters:
        remarks = ["STUCK"] if one.stuck else []
        if one.dropped:
            remarks.append(f"{one.dropped} impossible")
        unit = SHOWN.get(one.unit, one.unit)
        # A code or a row of flags has no range that means anything.
        measured = one.unit not in {"code", "bits", "mask"}
        reach = f"{one.least:.4g} to {one.most:.4g} {unit}" if measured else "codes"
        cells = [
            name_words(one.name),
            f"{one.samples_per_s:.2g}",
            f"{one.longest_gap_s:.1f} s",
            f"{one.quantum:.3g}" if one.quantum and measured else "",
            ", ".join([reach, *remarks]),
        ]
        if narrow:
            del cells[3]
        table.add_row(*cells)
    return table


def _stretches(quality: Quality) -> Table:
    table = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 2, 0, 0))
    table.add_column("kind", no_wrap=True)
    for head in ("from", "to", "speed"):
        table.add_column(head, justify="right", no_wrap=True)
    table.add_column("", overflow="fold")
    shown = quality.stretches[: 2 * _MOST]
    for piece in shown:
        remarks = [
            text
            for text, true in (("cold", piece.warm is False),
                               ("open loop", piece.closed_loop is False))
            if true
        ]  # fmt: skip
        speed = piece.engine_speed_rpm
        table.add_row(
            piece.kind,
            f"{piece.start_s:.0f} s",
            f"{piece.end_s:.0f} s",
            "" if speed is None else f"{speed:.0f} rpm",
            ", ".join(remarks),
        )
    if len(quality.stretches) > len(shown):
        table.add_row(f"and {len(quality.stretches) - len(shown)} more", "", "", "", "")
    return table
