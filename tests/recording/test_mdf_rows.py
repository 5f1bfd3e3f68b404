"""ASAM MDF: channels by the contract's names or a mapping, each on its own clock."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from asammdf import MDF, Signal

from bellmouth.errors import RecordingError
from bellmouth.recording import read_recording


def write(path: Path, signals: Sequence[Signal], *, apart: bool = True) -> Path:
    """A file with a channel group a signal, or one for all."""
    with MDF(version="4.10") as file:
        for group in [[signal] for signal in signals] if apart else [list(signals)]:
            file.append(group)
        file.save(path, overwrite=True)
    return path


def signal(name: str, unit: str, values: object, step: float = 0.5, start: float = 0.0) -> Signal:
    samples = np.asarray(values)
    times = start + step * np.arange(len(samples))
    return Signal(samples=samples, timestamps=times, name=name, unit=unit)


SPEED = signal("engine_speed", "rpm", np.linspace(700.0, 760.0, 40))


def test_contract_names_are_taken_directly_each_on_its_own_clock(tmp_path: Path) -> None:
    flow = signal("mass_air_flow", "kg/h", np.full(13, 9.0), step=1.5, start=0.2)
    strange = signal("Lambda_Raw", "V", np.zeros(40))
    recording = read_recording(write(tmp_path / "x.mf4", [SPEED, flow, strange]))
    assert recording.series["engine_speed"].time_s == pytest.approx(0.5 * np.arange(40))
    assert recording.series["mass_air_flow"].time_s == pytest.approx(0.2 + 1.5 * np.arange(13))
    assert recording.series["mass_air_flow"].value == pytest.approx(np.full(13, 2.5))
    assert recording.unmapped == ("Lambda_Raw [V]",)


def test_whole_numbers_and_a_group_with_one_clock(tmp_path: Path) -> None:
    coolant = signal("engine_coolant_temperature", "°C", np.full(40, 88, dtype=np.uint8))
    recording = read_recording(write(tmp_path / "x.mf4", [SPEED, coolant], apart=False))
    assert set(recording.series["engine_coolant_temperature"].value) == {88.0}


@pytest.mark.parametrize("key", ["nMot", "nMot [1/min]"])
def test_a_mapping_names_channels_with_or_without_their_unit(tmp_path: Path, key: str) -> None:
    theirs = signal("nMot", "1/min", np.full(20, 800.0))
    file = write(tmp_path / "x.mf4", [theirs])
    recording = read_recording(file, mapping={key: "engine_speed [1/min]"})
    assert set(recording.series["engine_speed"].value) == {800.0}


def test_mapping_a_channel_that_is_not_there_names_the_nearest(tmp_path: Path) -> None:
    file = write(tmp_path / "x.mf4", [SPEED])
    with pytest.raises(RecordingError) as caught:
        read_recording(file, mapping={"engine_sped [rpm]": "engine_speed [rpm]"})
    assert str(caught.value) == (
        'x.mf4: the mapping names the column "engine_sped [rpm]", which is not there. '
        'Did you mean "engine_speed [rpm]"?'
    )


def test_of_several_channels_of_one_name_the_fullest_is_read(tmp_path: Path) -> None:
    slow = signal("engine_speed", "rpm", np.full(5, 900.0), step=4.0)
    recording = read_recording(write(tmp_path / "x.mf4", [slow, SPEED]))
    assert recording.series["engine_speed"].time_s.size == 40
    assert (
        'Channel "engine_speed [rpm]" stands more than once; the one with the most samples was '
        "read." in recording.notes
    )


def test_samples_marked_invalid_or_not_finite_are_left_out(tmp_path: Path) -> None:
    invalid = np.zeros(40, dtype=bool)
    invalid[:4] = True
    marked = Signal(
        samples=np.full(40, 3.0), timestamps=0.5 * np.arange(40), name="mass_air_flow",
        unit="g/s", invalidation_bits=invalid,
    )  # fmt: skip
    holes = SPEED.samples.copy()
    holes[7] = np.nan
    speed = signal("engine_speed", "rpm", holes)
    recording = read_recording(write(tmp_path / "x.mf4", [marked, speed]))
    assert recording.series["mass_air_flow"].time_s.size == 36
    assert recording.series["engine_speed"].time_s.size == 39
    assert (
        'Channel "engine_speed [rpm]": 1 sample was NaN or infinite and left out.'
        in recording.notes
    )


def test_text_is_said_and_left_out(tmp_path: Path) -> None:
    words = Signal(
        samples=np.array([b"idle"] * 40), timestamps=0.5 * np.arange(40), name="vehicle_speed",
        unit="km/h", encoding="utf-8",
    )  # fmt: skip
    recording = read_recording(write(tmp_path / "x.mf4", [SPEED, words]))
    assert list(recording.series) == ["engine_speed"]
    assert 'Channel "vehicle_speed [km/h]" holds text, not numbers, and was left out.' in (
        recording.notes
    )


@pytest.mark.parametrize(
    ("unit", "sentence"),
    [
        ("", 'x.mf4, column "engine_speed": no unit. Write it as "engine_speed [rpm]", or with '
             "another of rpm, 1/min or 1/s."),
        ("furlong", 'x.mf4, column "engine_speed [furlong]": unknown unit "furlong". Use rpm, '
                    "1/min or 1/s."),
    ],
)  # fmt: skip
def test_a_unit_must_be_known(tmp_path: Path, unit: str, sentence: str) -> None:
    file = write(tmp_path / "x.mf4", [signal("engine_speed", unit, np.full(20, 800.0))])
    with pytest.raises(RecordingError) as caught:
        read_recording(file)
    assert str(caught.value) == sentence


def test_a_damaged_file_never_ends_in_a_traceback(tmp_path: Path) -> None:
    whole = write(tmp_path / "x.mf4", [SPEED]).read_bytes()
    rng = np.random.default_rng(3)
    refused = 0
    for number in range(60):
        raw = bytearray(whole[: int(len(whole) * rng.uniform(0.05, 1.0))])
        for at in rng.integers(64, max(len(raw), 65), 4):
            if at < len(raw):
                raw[at] = int(rng.integers(256))
        file = tmp_path / f"bad{number}.mf4"
        file.write_bytes(bytes(raw))
        try:
            read_recording(file)
        except RecordingError as error:
            refused += 1
            assert str(error).startswith(f"bad{number}.mf4")  # noqa: PT017
    assert refused > 10


def test_packed_samples_with_a_changed_byte_cost_their_channel(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "x.mf4"
    other = signal("mass_air_flow", "g/s", np.linspace(2.0, 3.0, 40))
    with MDF(version="4.10") as made:
        made.append([SPEED])
        made.append([other])
        made.save(file, overwrite=True, compression=1)
    raw = bytearray(file.read_bytes())
    raw[raw.index(b"##DZ") + 48 + 20] ^= 0x20
    file.write_bytes(raw)
    recording = read_recording(file)
    assert list(recording.series) == ["mass_air_flow"]
    assert 'Channel "engine_speed [rpm]" is damaged and was left out.' in recording.notes
    assert capfd.readouterr() == ("", "")


#: Where a channel's block tells how far from the record's beginning it lies, its second byte.
_FAR = 93


@pytest.mark.parametrize("which", [0, 1])
def test_a_channel_or_a_clock_behind_its_record_is_not_looked_for(
    tmp_path: Path, which: int
) -> None:
    file = tmp_path / "x.mf4"
    raw = bytearray(write(file, [SPEED]).read_bytes())
    blocks = [at for at in range(len(raw)) if raw[at : at + 4] == b"##CN"]
    assert len(blocks) == 2
    raw[blocks[which] + _FAR] = 0x80
    file.write_bytes(raw)
    # To read it ended the program, not only the test.
    with pytest.raises(RecordingError, match=r"x.mf4: none of its channels can be read"):
        read_recording(file)
