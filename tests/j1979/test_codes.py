import pytest
from hypothesis import given
from hypothesis import strategies as st

from bellmouth.errors import BellmouthError
from bellmouth.j1979 import codes
from bellmouth.j1979.codes import MonitorStatus


@given(st.integers(0, 0xFFFF))
def test_every_code_comes_back(number: int) -> None:
    data = number.to_bytes(2, "big")
    assert codes.encode_code(codes.decode_code(data)) == data


def test_lists_of_codes_leave_padding_out() -> None:
    assert codes.decode_codes(bytes.fromhex("017100000507")) == ("P0171", "P0507")
    assert codes.encode_codes(["P0171", "u0100"]) == bytes.fromhex("0171C100")
    assert codes.decode_codes(b"") == ()


# Bits that the layout reserves: 7 of byte B (spark), more for compression.
SPARK_USED = bytes((0xFF, 0x77, 0xFF, 0xFF))


@given(st.binary(min_size=4, max_size=4))
def test_monitor_status_of_any_bytes_encodes_to_the_same_status(data: bytes) -> None:
    status = codes.decode_monitor_status(data)
    assert codes.decode_monitor_status(codes.encode_monitor_status(status)) == status
    again = codes.encode_monitor_status(status)
    if status.ignition == "spark":
        # Only reserved bits, and "incomplete" bits of unsupported monitors, are dropped.
        assert all(new & ~old & 0xFF == 0 for new, old in zip(again, data, strict=True))
        assert all(new & ~used & 0xFF == 0 for new, used in zip(again, SPARK_USED, strict=True))


def test_ready_means_nothing_supported_is_waiting() -> None:
    assert not codes.decode_monitor_status(bytes.fromhex("81076504")).ready
    assert codes.decode_monitor_status(bytes.fromhex("81076500")).ready


def test_fuel_system_status_and_loop() -> None:
    assert codes.fuel_system_status(0) == "absent"
    assert codes.fuel_system_status(2.0) == "closed loop"
    assert [code in codes.CLOSED_LOOP for code in (0, 1, 2, 4, 8, 16)] == [
        False, False, True, False, False, True,
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "shown"), [("P0G71", "P0G71"), ("X0171", "X0171"), ("P4171", "P4171"), ("", "")]
)
def test_a_bad_code_is_named(text: str, shown: str) -> None:
    with pytest.raises(BellmouthError) as caught:
        codes.encode_code(text)
    assert str(caught.value) == (
        f'"{shown}" is not a trouble code; write one of P, C, B, U, a digit 0 to 3 and three '
        "hexadecimal digits, such as P0171."
    )


def test_errors_say_what_and_what_to_do() -> None:
    with pytest.raises(BellmouthError) as caught:
        codes.decode_codes(b"\x01\x71\x05")
    assert str(caught.value) == "A trouble code has two bytes, not 1; read it again."
    with pytest.raises(BellmouthError) as caught:
        codes.decode_monitor_status(b"\x81")
    assert str(caught.value) == "Monitor status has four bytes, not 1; read it again."
    with pytest.raises(BellmouthError) as caught:
        codes.fuel_system_status(6)
    assert str(caught.value) == (
        "Fuel-system status 06 sets 2 bits where the standard allows one; read it again."
    )
    with pytest.raises(BellmouthError) as caught:
        codes.encode_monitor_status(MonitorStatus(False, 128, "spark", {}))
    assert str(caught.value) == ("128 trouble codes cannot be reported; give a count of 0 to 127.")
    wrong = MonitorStatus(False, 0, "compression", {"catalyst": "supported complete"})
    with pytest.raises(BellmouthError, match='Monitor "catalyst" cannot be "supported complete"'):
        codes.encode_monitor_status(wrong)
