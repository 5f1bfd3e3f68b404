"""Tables drawn at random in the many shapes they come in: read the same, or refused."""

from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bellmouth.errors import RecordingError
from bellmouth.recording import Recording, read_recording
from tests.recording.test_shapes import clock, written


@dataclass(frozen=True)
class Shape:
    """How a table is written."""

    mark: str
    decimal: str
    group: str
    digits: int | None
    own: str  # thousands mark of engine speed alone, in whole numbers, whatever the others have
    names: str
    above: str
    below: str
    pad: int
    codec: str
    ends: str
    clock: bool


SHAPE = st.builds(
    Shape,
    mark=st.sampled_from(",;\t|"),
    decimal=st.sampled_from(".,"),
    group=st.sampled_from(["", "other", " ", "\u00a0", "\u202f", "'"]),
    digits=st.sampled_from([None, 0, 1, 2, 3]),
    own=st.sampled_from(["", "", ".", ","]),
    names=st.sampled_from(["ours", "German", "units below", "both"]),
    above=st.sampled_from(["", "Run of 3 May\n", "a;b,c\n\n# x [s]\n", '"Title, long"\n']),
    below=st.sampled_from(["", "Mean;1,5\n", "\nSum,1.500,2\nEnd\n", "# done\n"]),
    pad=st.integers(0, 2),
    codec=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"]),
    ends=st.sampled_from(["\n", "\r\n"]),
    clock=st.booleans(),
)
TITLES = ["time [ms]", "engine_speed [rpm]", "mass_air_flow [g/s]", "barometric_pressure [hPa]",
          "engine_coolant_temperature [degC]"]  # fmt: skip
THEIRS = ["Zeit [MS]", "Drehzahl [1/min]", "Luftmasse [G/S]", "Umgebungsdruck [mbar]",
          "Kühlmitteltemperatur [°C]"]  # fmt: skip
LIMITS = [(0, 0), (0, 7_000_000), (0, 655_000), (500_000, 1_100_000), (-40_000, 215_000)]


@st.composite
def tables(draw: st.DrawFn) -> tuple[Shape, list[list[int | None]]]:
    """A shape, and rows of thousandths that it can express: time first, then some parameters."""
    shape = draw(SHAPE)
    count = draw(st.integers(2, 14))
    rows: list[list[int | None]] = []
    at = draw(st.integers(0, 5_000)) * 1000
    for _ in range(count):
        at += draw(st.integers(5, 1_500)) * 1000
        row: list[int | None] = [at]
        for place, (low, high) in enumerate(LIMITS[1:], 1):
            value = draw(st.none() | st.integers(low, high))
            digits = 0 if place == 1 and shape.own else shape.digits
            step = 1000 if digits is None and draw(st.booleans()) else 10 ** (3 - (digits or 0))
            step = step if digits is not None or step == 1000 else 1
            row.append(None if value is None else value // step * step)
        rows.append(row)
    return shape, rows


def number(value: int | None, digits: int | None, group: str, decimal: str) -> str:
    if value is None:
        return ""
    whole, part = divmod(abs(value), 1000)
    grouped = f"{whole:,}".replace(",", group)
    text = f"{part:03}"[:digits] if digits is not None else f"{part:03}".rstrip("0")
    return ("-" if value < 0 else "") + grouped + (decimal + text if text else "")


def line_of(row: list[int | None], shape: Shape) -> list[str]:
    group = {".": ",", ",": "."}[shape.decimal] if shape.group == "other" else shape.group
    told = [number(value, shape.digits, group, shape.decimal) for value in row]
    if shape.own:
        told[1] = number(row[1], 0, shape.own, "")
    if shape.clock:
        told[0] = clock(str((row[0] or 0) / 1e6), 86_395.0)
    return told + [""] * shape.pad


def in_shape(shape: Shape, rows: list[list[int | None]]) -> bytes:
    titles = THEIRS if shape.names == "German" else TITLES
    head = [titles]
    if shape.names in {"units below", "both"}:
        units = [title.partition(" [")[2].strip("]") for title in titles]
        names = [title.partition(" [")[0] for title in titles]
        head = [titles if shape.names == "both" else names, units]
    table = [[*line, *[""] * shape.pad] for line in head]
    table += [line_of(row, shape) for row in rows]
    text = shape.above + written(table, shape.mark) + shape.below
    text = text.replace("\n", shape.ends)
    return text.encode(shape.codec, "replace" if shape.codec == "cp1252" else "strict")


def assert_those(found: Recording, shape: Shape, rows: list[list[int | None]]) -> None:
    """Whether a recording holds what the rows do, in thousandths of their units."""
    names = [title.partition(" [")[0] for title in TITLES]
    for place, name in enumerate(names[1:], 1):
        held = [row for row in rows if row[place] is not None]
        factor = 1e-4 if name == "barometric_pressure" else 1e-3
        series = found.series.get(name)
        assert (series is not None) == bool(held), (name, found.notes)
        if series is None:
            continue
        wanted = np.array([row[place] for row in held], dtype=float) * factor
        assert series.value == pytest.approx(wanted, rel=1e-9, abs=1e-12)
        times = np.array([row[0] for row in held], dtype=float) / 1e6
        begins_s = (found.begins_s - 86_395.0) % 86_400.0 if shape.clock else found.begins_s
        assert series.time_s + begins_s == pytest.approx(times, abs=2e-3)


@given(given=tables())
def test_a_table_in_any_shape_is_read_the_same_or_refused(
    given: tuple[Shape, list[list[int | None]]], tmp_path_factory: pytest.TempPathFactory
) -> None:
    shape, rows = given
    path = tmp_path_factory.mktemp("shapes") / "any.csv"
    path.write_bytes(in_shape(shape, rows))
    try:
        found = read_recording(path)
    except RecordingError:
        return  # in a sentence; which ones are held above
    assert_those(found, shape, rows)
