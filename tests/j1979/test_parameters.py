import subprocess
import sys
import time
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bellmouth.errors import BellmouthError
from bellmouth.j1979 import parameters

ROWS = [parameters.by_name(name) for name in parameters.names()]
NUMBERS = [row for row in ROWS if row.kind == "number"]
KINDS = {"number", "flags", "choice", "mask", "monitors", "trouble_code"}


@pytest.mark.parametrize("identifier", parameters.identifiers(), ids=lambda one: f"{one:02X}")
@settings(max_examples=20)
@given(data=st.data())
def test_any_reply_decodes_and_encodes_to_the_same_values(
    identifier: int, data: st.DataObject
) -> None:
    size = parameters.byte_count(identifier)
    reply = data.draw(st.binary(min_size=size, max_size=size))
    values = parameters.decode(identifier, reply)
    again = parameters.encode(identifier, values)
    assert parameters.decode(identifier, again) == values
    # Where every byte carries a value, the reply itself comes back.
    rows = parameters.by_identifier(identifier)
    if sum(row.width for row in rows) == size:
        assert again == reply


@pytest.mark.parametrize("row", NUMBERS, ids=lambda row: row.name)
def test_every_raw_number_keeps_its_value(row: parameters.Parameter) -> None:
    low, high = row.raw_range
    for raw in {low, low + 1, (low + high) // 2, high - 1, high}:
        assert row.to_raw(row.from_raw(raw)) == raw


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.name)
def test_rows_are_possible(row: parameters.Parameter) -> None:
    assert row.kind in KINDS
    assert 0 <= row.first < row.first + row.width <= row.bytes
    assert row.least < row.most
    assert row.evidence
    assert row.valid is None or (row.valid[0] < row.first and row.valid[1] < 8)
    assert row.rescaled_by is None or parameters.unit_of(row.rescaled_by) == row.unit
    assert parameters.unit_of(row.name) == row.unit


def test_fields_of_one_reply_do_not_overlap() -> None:
    for identifier in parameters.identifiers():
        rows = parameters.by_identifier(identifier)
        assert len({row.bytes for row in rows}) == 1
        taken = [byte for row in rows for byte in range(row.first, row.first + row.width)]
        assert len(taken) == len(set(taken))


def test_names_are_unique_and_in_snake_case() -> None:
    names = parameters.names()
    assert len(set(names)) == len(names)
    assert all(name.isidentifier() and name == name.lower() for name in names)


def test_quantising_is_what_encoding_and_decoding_does() -> None:
    values = np.array([-7.3, 0.2, 11.9])
    expected = [
        parameters.decode(0x06, parameters.encode(0x06, {"short_term_fuel_trim_bank_1": value}))
        for value in values
    ]
    got = parameters.quantise("short_term_fuel_trim_bank_1", values)
    np.testing.assert_array_equal(got, [one["short_term_fuel_trim_bank_1"] for one in expected])


def test_quantising_holds_the_range_and_keeps_nan() -> None:
    got = parameters.quantise("intake_manifold_pressure", [-5.0, 300.0, np.nan])
    np.testing.assert_array_equal(got, [0.0, 255.0, np.nan])


@given(st.sets(st.integers(1, 0xE0)))
def test_supported_masks_chain(wanted: set[int]) -> None:
    listed: set[int] = set()
    base = 0
    while True:
        found = parameters.supported(base, parameters.encode_supported(base, tuple(wanted)))
        listed |= set(found)
        base += 0x20
        if base not in found:
            break
    assert listed - set(range(0x20, 0xE1, 0x20)) == wanted - set(range(0x20, 0xE1, 0x20))


def test_a_value_that_is_not_available_is_none_both_ways() -> None:
    reply = parameters.encode(0x14, {"oxygen_sensor_voltage_bank_1_sensor_1": 0.45})
    assert reply.hex() == "5aff"
    assert parameters.decode(0x14, reply)["oxygen_sensor_trim_bank_1_sensor_1"] is None
    nothing = parameters.encode(0x67, {})
    assert set(parameters.decode(0x67, nothing).values()) == {None}


def test_meanings_give_unknown_codes_by_number() -> None:
    assert parameters.meanings("fuel_type", 200) == ("code 200",)
    assert parameters.meanings("commanded_secondary_air_status", 0x81)[-1] == "bit 7"


def test_maxima_of_zero_change_nothing() -> None:
    maxima = parameters.decode(0x4F, bytes(4)) | parameters.decode(0x50, bytes(4))
    plain = parameters.decode(0x34, b"\x80\x00\x90\x00")
    assert parameters.decode(0x34, b"\x80\x00\x90\x00", maxima) == plain


RESCALED = [row for row in ROWS if row.rescaled_by]


@pytest.mark.parametrize("row", RESCALED, ids=lambda row: row.name)
def test_a_maximum_of_twice_the_standards_doubles_every_value(row: parameters.Parameter) -> None:
    # The sizes that SAE J1979 lays down, from memory: those which 4F and 50 replace.
    standard = {"ratio": 2.0, "V": 8.0, "mA": 128.0, "kPa": 255.0, "g/s": 655.35}[row.unit]
    data = bytes(range(0x31, 0x31 + row.bytes))
    plain = parameters.decode(row.identifier, data)[row.name]
    for factor in (1.0, 2.0):
        maxima = {row.rescaled_by or "": factor * standard}
        got = parameters.decode(row.identifier, data, maxima)[row.name]
        assert plain is not None
        assert got == pytest.approx(factor * plain, rel=2e-5)


def test_trims_hold_a_further_bank_where_it_has_a_sensor() -> None:
    # 1D: two sensors a bank, the lowest bits for bank 1. From memory of SAE J1979.
    first, second = frozenset({0x06, 0x07, 0x55, 0x56}), frozenset({0x08, 0x09, 0x57, 0x58})
    told = {0x03: frozenset(), 0x0F: frozenset(), 0x10: first, 0x25: first, 0x80: second}
    told |= {0x4F: second, 0x50: first | second, 0xFF: first | second}
    assert {bits: parameters.further_banks(bits) for bits in told} == told


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (
            lambda: parameters.unit_of("mas_air_flow"),
            'No parameter is called "mas_air_flow"; did you mean "mass_air_flow"?',
        ),
        (
            lambda: parameters.by_name("zzz"),
            'No parameter is called "zzz"; parameters.names() lists them.',
        ),
        (
            lambda: parameters.by_identifier(0xFE),
            "Parameter FE is not in the table; add its row to parameters.csv.",
        ),
        (
            lambda: parameters.decode(0x0C, b"\x0a"),
            "Parameter 0C: 1 data bytes where the standard has 2; read the reply again.",
        ),
        (
            lambda: parameters.encode(0x06, {"short_term_fuel_trim_bank_1": 300.0}),
            "Parameter 06, short_term_fuel_trim_bank_1: 300 % is outside -100 to 99.2188 %; "
            "give a value in that range.",
        ),
        (
            lambda: parameters.encode(0x0C, {"engine_speed": float("nan")}),
            "Parameter 0C, engine_speed: nan rpm is outside 0 to 16383.8 rpm; "
            "give a value in that range.",
        ),
        (
            lambda: parameters.encode(0x0C, {"vehicle_speed": 1.0}),
            "Parameter 0C does not report vehicle_speed; it reports engine_speed.",
        ),
    ],
)
def test_errors_say_what_and_what_to_do(call: Callable[[], object], text: str) -> None:
    with pytest.raises(BellmouthError) as caught:
        call()
    assert str(caught.value) == text


def test_importing_reads_no_table_and_reading_it_is_quick() -> None:
    script = (
        "from bellmouth.j1979 import parameters as p; assert not p._by_name.cache_info().currsize"
    )
    subprocess.run([sys.executable, "-c", script], check=True)
    best = np.inf
    for _ in range(5):
        parameters._by_name.cache_clear()
        begun = time.process_time()
        parameters.names()
        best = min(best, time.process_time() - begun)
    assert best < 0.010
