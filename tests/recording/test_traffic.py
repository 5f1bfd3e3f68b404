"""Raw bus logs: requests and replies become columns; what was lost is said."""

import random
from pathlib import Path

import numpy as np
import pytest

from bellmouth.errors import RecordingError
from bellmouth.recording import Recording, read_recording
from tests.recording.bus_made import FORMATS, Bus

# Engine speed 1726 and 800 rpm, 3.5 g/s, 0 km/h; the replies' bytes are those of messages.csv in
# tests/reference/tables where they stand there.
SPEED, MANY = "410C1AF8", "410C1AF80D00057B"


def talk(bus: Bus, rounds: int = 20) -> Bus:
    """Rounds of a single-frame and a multi-frame question, a second apart."""
    for _ in range(rounds):
        bus.ask("0110")
        bus.say("4110015E")
        bus.other()
        bus.ask("010C0D05")
        bus.say(MANY)
        bus.time_s += 1.0
    return bus


def values(recording: Recording, name: str) -> list[float]:
    series = recording.get(name)
    assert series is not None
    return [float(value) for value in series.value]


@pytest.mark.parametrize("ending", FORMATS.values(), ids=FORMATS)
@pytest.mark.parametrize("extended", [False, True], ids=["11 bit", "29 bit"])
def test_every_format_and_both_sizes_of_identifier(
    tmp_path: Path, ending: str, extended: bool
) -> None:
    log = talk(Bus(extended)).write(tmp_path / f"drive{ending}")
    recording = read_recording(log)
    assert values(recording, "engine_speed") == [1726.0] * 20
    assert values(recording, "mass_air_flow") == [3.5] * 20
    assert values(recording, "engine_coolant_temperature") == [83.0] * 20
    assert values(recording, "vehicle_speed") == [0.0] * 20
    speed = recording.series["engine_speed"]
    # Six frames a round, 2 ms each, and the second between; TRC and ASC count in whole ms or so.
    assert np.diff(speed.time_s) == pytest.approx(1.014, abs=2e-3)
    assert not [note for note in recording.notes if "left out" in note]


def test_gzip_and_a_log_that_holds_replies_alone(tmp_path: Path) -> None:
    bus = talk(Bus())
    log = bus.write(tmp_path / "replies.log", [m for m in bus.messages if m.arbitration_id > 0x7E7])
    assert len(values(read_recording(log), "engine_speed")) == 20


def test_the_reply_is_stamped_with_its_first_frame(tmp_path: Path) -> None:
    bus = Bus()
    for _ in range(3):
        bus.say(SPEED)
        bus.say(MANY)
    speed = read_recording(bus.write(tmp_path / "x.log")).series["engine_speed"]
    # One frame, then a reply of three frames with the flow control.
    assert speed.time_s == pytest.approx([0.0, 0.002, 0.008, 0.010, 0.016, 0.018])


def test_controllers_are_never_mixed_and_one_can_be_picked(tmp_path: Path) -> None:
    bus = Bus()
    for _ in range(10):
        bus.ask("010C")
        bus.say("410C1AF8", 0x10)
        bus.say("410C0C80", 0x11)
        bus.time_s += 1
    log = bus.write(tmp_path / "two.log")
    engine = read_recording(log)
    assert set(values(engine, "engine_speed")) == {1726.0}
    assert "Values are those of controller 10." in engine.notes
    assert "Controller 11 answered too (10 replies)." in engine.notes
    assert set(values(read_recording(log, controller=0x11), "engine_speed")) == {800.0}
    with pytest.raises(RecordingError) as caught:
        read_recording(log, controller=0x12)
    assert str(caught.value) == (
        "two.log: controller 12 did not answer; 10 and 11 did. Choose one of these."
    )


def test_interleaved_multi_frame_replies_stay_apart(tmp_path: Path) -> None:
    one, two = Bus(), Bus()
    for _ in range(5):
        one.ask("010C0D05")
        one.say(MANY, 0x10)
        two.ask("010C0D05")
        two.say("410C0C800D000578", 0x11)
        one.time_s += 1.0
        two.time_s = one.time_s + 0.0005
    both = sorted([*one.messages, *two.messages], key=lambda message: message.timestamp)
    log = one.write(tmp_path / "both.log", both)
    assert set(values(read_recording(log), "engine_speed")) == {1726.0}
    assert set(values(read_recording(log, controller=0x11), "engine_speed")) == {800.0}


def test_maxima_that_the_car_reports_replace_the_full_scale(tmp_path: Path) -> None:
    bus = Bus()
    for _ in range(3):
        bus.say("410B64")  # 100 of 255: 100 kPa, unless the full scale is another
        bus.time_s += 1
    bus.say("414F000000" + "33")  # 51 times 10 kPa
    found = values(read_recording(bus.write(tmp_path / "x.log")), "intake_manifold_pressure")
    assert found == [200.0] * 3


def test_lost_frames_cost_their_reply_and_are_counted(tmp_path: Path) -> None:
    bus = talk(Bus(), 40)
    second = [m for m in bus.messages if m.arbitration_id == 0x7E8 and m.data[0] == 0x21]
    lost = {id(message) for message in second[::4]}
    kept = [message for message in bus.messages if id(message) not in lost]
    recording = read_recording(bus.write(tmp_path / "holes.log", kept))
    assert values(recording, "engine_speed") == [1726.0] * 30
    assert values(recording, "mass_air_flow") == [3.5] * 40
    assert "10 replies lost frames left out." in recording.notes
    assert not any("not answered" in note for note in recording.notes)


def test_a_request_for_several_that_was_not_answered_counts_once(tmp_path: Path) -> None:
    bus = talk(Bus(), 10)
    for _ in range(2):
        bus.ask("010C10")
        bus.time_s += 1
    bus.ask("010C")
    bus.say("410C1AF8")
    recording = read_recording(bus.write(tmp_path / "x.log"))
    assert "2 requests were not answered." in recording.notes


def test_unanswered_and_refused_requests_are_said(tmp_path: Path) -> None:
    bus = talk(Bus())
    for _ in range(3):
        bus.ask("0110")
        bus.time_s += 1
    bus.ask("010B")  # never answered by this car: it has not got it
    bus.ask("010F", 0x10)
    bus.say("7F0122")
    bus.ask("0110")
    bus.say("7F0178")
    bus.say("4110015E")
    recording = read_recording(bus.write(tmp_path / "x.log"))
    assert "3 requests were not answered." in recording.notes
    assert "1 request was refused by the car." in recording.notes


@pytest.mark.parametrize(
    ("reply", "why"),
    [
        ("410C1A", "a byte short"),
        ("410C1AF800", "a byte long"),
        ("41F100", "no parameter of the standard"),
    ],
)
def test_a_reply_of_wrong_length_is_not_a_value(tmp_path: Path, reply: str, why: str) -> None:
    bus = talk(Bus())
    bus.ask("010C")
    bus.say(reply)
    recording = read_recording(bus.write(tmp_path / "x.log"))
    assert values(recording, "engine_speed") == [1726.0] * 20
    assert "1 reply is not as the standard has them and left out." in recording.notes, why


def test_a_reply_that_nobody_asked_for_is_left_out_where_questions_were_logged(
    tmp_path: Path,
) -> None:
    bus = talk(Bus())
    bus.ask("010D")
    bus.say("410F50")  # one byte as asked, but another parameter
    recording = read_recording(bus.write(tmp_path / "x.log"))
    assert "intake_air_temperature" not in recording
    assert "1 reply answers no request and left out." in recording.notes


@pytest.mark.parametrize("share", [0.01, 0.05, 0.2])
def test_dropped_doubled_and_swapped_frames_never_make_a_wrong_value(
    tmp_path: Path, share: float
) -> None:
    rng = random.Random(7)  # noqa: S311 - a repeatable test
    bus = Bus()
    for number in range(300):
        bus.ask("010C0D05")
        # Speed and coolant belong together: a mixture of two replies would show.
        bus.say(f"410C{4 * (1000 + number):04X}0D0005{40 + number % 100:02X}")
        bus.time_s += 0.1
    spoilt = []
    for message in bus.messages:
        fate = rng.random()
        if fate < share:
            continue
        spoilt.append(message)
        if fate < 2 * share:
            spoilt.append(message)
        elif fate < 3 * share and len(spoilt) > 1:
            before = spoilt[-2]
            if message.timestamp - before.timestamp < 0.05:  # nothing overtakes a silent bus
                spoilt[-2:] = [message, before]
    recording = read_recording(bus.write(tmp_path / "bad.log", spoilt))
    speed = recording.series["engine_speed"]
    coolant = recording.series["engine_coolant_temperature"]
    assert np.array_equal(speed.time_s, coolant.time_s)
    assert np.array_equal((speed.value - 1000) % 100, coolant.value)
    assert any("lost frames" in note for note in recording.notes)


@pytest.mark.parametrize("ending", [".log", ".asc", ".trc"])
def test_a_damaged_line_is_left_out_and_the_rest_is_read(tmp_path: Path, ending: str) -> None:
    log = talk(Bus()).write(tmp_path / f"drive{ending}")
    lines = log.read_bytes().splitlines(keepends=True)
    where = next(at for at, line in enumerate(lines) if b"5E" in line and at > len(lines) // 2)
    lines[where] = lines[where].replace(b"5E", b"5Q")
    log.write_bytes(b"".join(lines))
    recording = read_recording(log)
    assert len(values(recording, "mass_air_flow")) == 19
    assert values(recording, "engine_speed") == [1726.0] * 20
    assert "1 damaged entry of the log left out." in recording.notes


@pytest.mark.parametrize("ending", FORMATS.values(), ids=FORMATS)
def test_a_log_cut_anywhere_is_read_up_to_there(tmp_path: Path, ending: str) -> None:
    whole = talk(Bus(), 40).write(tmp_path / f"drive{ending}")
    raw = whole.read_bytes()
    for share in np.linspace(0.5, 0.999, 25):
        cut = tmp_path / f"cut{ending}"
        cut.write_bytes(raw[: int(share * len(raw))])
        try:
            recording = read_recording(cut)
        except RecordingError as error:
            # One compressed block may be all that a small BLF holds.
            assert ending == ".blf", error  # noqa: PT017
            continue
        assert set(values(recording, "engine_speed")) == {1726.0}
        assert set(values(recording, "mass_air_flow")) == {3.5}


def test_asc_that_counts_from_line_to_line(tmp_path: Path) -> None:
    log = tmp_path / "steps.asc"
    frame = "0.500000 1  7E8             Rx   d 8 04 41 0C 1A F8 00 00 00"
    log.write_text(
        "date Wed Jan 01 10:00:00.000 2025\nbase hex  timestamps relative\n"
        "no internal events logged\n" + f"{frame}\n" * 4,
        encoding="utf-8",
    )
    speed = read_recording(log).series["engine_speed"]
    assert speed.time_s == pytest.approx([0.0, 0.5, 1.0, 1.5])


def test_a_log_of_other_traffic_is_refused_in_one_sentence(tmp_path: Path) -> None:
    bus = Bus()
    for _ in range(5):
        bus.other()
    with pytest.raises(RecordingError) as caught:
        read_recording(bus.write(tmp_path / "other.log"))
    assert str(caught.value) == (
        "other.log: a bus log without a reply to a request for current data (SAE J1979 service 01 "
        "on ISO 15765-4). Log the bus while values are being read."
    )


def test_a_blf_without_its_head_is_refused_in_one_sentence(tmp_path: Path) -> None:
    log = tmp_path / "x.blf"
    log.write_bytes(b"LOGG" + bytes(20))
    with pytest.raises(RecordingError) as caught:
        read_recording(log)
    assert str(caught.value) == "x.blf: a BLF log cut short in its head. Copy it again."


@pytest.mark.parametrize("ending", FORMATS.values(), ids=FORMATS)
def test_spoilt_bytes_never_end_in_a_traceback(tmp_path: Path, ending: str) -> None:
    raw = talk(Bus(), 30).write(tmp_path / f"drive{ending}").read_bytes()
    rng = np.random.default_rng(11)
    for number in range(25):
        spoilt = bytearray(raw)
        for at in rng.integers(0, len(raw), 1 + number):
            spoilt[at] = int(rng.integers(256))
        file = tmp_path / f"bad{number}{ending}"
        file.write_bytes(bytes(spoilt))
        try:
            recording = read_recording(file)
        except RecordingError as error:
            assert str(error).startswith(f"bad{number}{ending}")  # noqa: PT017
            continue
        assert recording.series
