"""Guided capture of a simulated car: order, losses, ignition off, other controllers, the end."""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from bellmouth.bus.capture import Captured, Progress, record
from bellmouth.bus.polling import Polling, wishes
from bellmouth.bus.reports import Codes, Sample
from bellmouth.car.description import Car, Known
from bellmouth.errors import BusError, RecordingError
from bellmouth.j1979 import parameters
from bellmouth.recording import read_recording
from bellmouth.recording.of_car import OfCar
from tests.bus.simulated import SimulatedClient, obeying

CAR = Car(Known(2.0), "airflow")


def guided(client: SimulatedClient, path: Path, seen: list[Progress] | None = None) -> Captured:
    return record(
        client,  # type: ignore[arg-type]
        path,
        car=CAR,
        complaint="high idle",
        progress=obeying(client, seen),
        clock=client.clock,
        wait=client.wait,
    )


def timed(client: SimulatedClient, path: Path, seconds: float, **more: object) -> Captured:
    return record(client, path, seconds=seconds, clock=client.clock, wait=client.wait, **more)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> tuple[Captured, list[Progress]]:
    """One guided capture from key on to the finding."""
    seen: list[Progress] = []
    path = tmp_path_factory.mktemp("whole") / "rec.parquet"
    return guided(SimulatedClient(), path, seen), seen


def test_every_step_is_asked_for_in_order_and_the_capture_ends_by_itself(
    whole: tuple[Captured, list[Progress]],
) -> None:
    names = [now.advice.step.name for now in whole[1] if now.advice and now.advice.step]
    assert list(dict.fromkeys(names))[:6] == [
        "key_on", "warm_up", "idle", "hold_1500", "hold_2500", "idle_again",
    ]  # fmt: skip
    last = whole[1][-1]
    assert last.advice is not None
    assert last.advice.step is None
    assert last.seconds < 240.0


def test_it_ends_with_the_finding_of_what_is_on_disk(
    whole: tuple[Captured, list[Progress]],
) -> None:
    result = whole[0]
    assert result.finding is not None
    assert result.finding.causes[0].cause == "leak"
    assert any("the causes still in play hinge on it: " in note for note in result.notes)
    recording = read_recording(result.path)
    assert recording.notes == ()
    for name, series in result.recording.series.items():
        assert np.array_equal(recording.series[name].value, series.value)
    kinds = {point.kind for point in result.finding.picture.points}
    assert kinds == {"idle", "held"}


def test_a_guided_capture_notes_that_loads_were_to_be_off(
    whole: tuple[Captured, list[Progress]],
) -> None:
    result = whole[0]
    assert result.recording.loads_off
    assert result.finding is not None
    assert any("every load was off at idle" in said for said in result.finding.warnings)
    assert read_recording(result.path).loads_off is (result.path.suffix == ".parquet")


class _SlowToReport(SimulatedClient):
    """As on a K line, where codes and identity take longer than a short capture."""

    def codes(self) -> Codes:
        self.now += 12.0
        return super().codes()


def test_the_seconds_begin_after_what_the_car_reports(tmp_path: Path) -> None:
    result = timed(_SlowToReport(), tmp_path / "rec.csv", 4.0)
    times = np.unique(np.concatenate([one.time_s for one in result.recording.series.values()]))
    assert np.sum(times > 12.0) >= 4.0 / 0.06
    assert times[-1] == pytest.approx(16.5, abs=0.6)
    assert result.requests_per_s > 15.0


def test_the_car_is_asked_what_it_reports_first_and_the_number_is_masked(
    whole: tuple[Captured, list[Progress]],
) -> None:
    opening = whole[0].opening
    assert opening.codes.confirmed == {0x10: ("P0171",)}
    assert opening.identity[0].vehicle_number == "WVW***********17"
    assert opening.of_car(0x10) == OfCar("", ("CAL-1",), ("1234ABCD",))
    other = replace(opening.identity[0], source=0x11, calibrations=("CAL-2",), mark="a1f")
    both = replace(opening, identity=(*opening.identity, other))
    assert both.of_car(0x10) == OfCar("a1f", ("CAL-1",), ("1234ABCD",))
    assert opening.untold == {"monitors": "The car did not answer."}


def test_the_rate_is_measured_and_said(whole: tuple[Captured, list[Progress]]) -> None:
    result = whole[0]
    assert result.requests_per_s == pytest.approx(20.0, rel=0.02)
    assert f"{result.requests_per_s:.1f} requests" in result.notes[0]


def test_a_timed_capture_is_not_guided_and_finds_nothing_without_a_car(tmp_path: Path) -> None:
    client = SimulatedClient()
    client.step = "idle"
    shown: list[Progress] = []
    result = timed(client, tmp_path / "x.csv", 30.0, progress=shown.append, show_vin=True)
    assert result.finding is None
    assert not result.recording.loads_off
    assert all(now.advice is None for now in shown)
    assert result.opening.identity[0].vehicle_number == "WVWZZZ1JZ3W000017"
    assert float(result.recording.series["engine_speed"].time_s[-1]) == pytest.approx(30.8, abs=0.2)


def test_ignition_off_is_noticed_and_said_with_its_uncertainty(tmp_path: Path) -> None:
    client = SimulatedClient()
    client.step = "idle"

    def switch(now: Progress) -> None:
        client.off = 10.0 < now.seconds < 16.0

    result = timed(client, tmp_path / "x.csv", 20.0, progress=switch)
    quiet = [note for note in result.notes if "went quiet" in note]
    assert len(quiet) == 1
    # The engine ran, so the wire is as likely to blame as the key.
    assert "while the engine ran: contact was lost, or the ignition switched off." in quiet[0]
    assert re.search(r" It answered again at 1[678]\.\d s\.$", quiet[0])
    assert "give or take 0.0" in quiet[0]
    times = result.recording.series["engine_speed"].time_s
    assert np.diff(times).max() > 3.0
    # Until when it kept silent is in the file too, for whoever counts from the key.
    ((asleep_s, awake_s),) = read_recording(tmp_path / "x.csv").woken
    assert 0.0 < awake_s - asleep_s < 0.2
    assert awake_s == pytest.approx(float(times[1:][np.diff(times) > 3.0][0]), abs=0.2)
    assert times[-1] > 19.0
    assert any("requests were not answered" in note for note in result.notes)


def test_an_adapter_that_is_pulled_out_is_waited_for(tmp_path: Path) -> None:
    client = SimulatedClient()
    client.step = "idle"

    seen: list[Progress] = []

    def pull(now: Progress) -> None:
        seen.append(now)
        if now.seconds > 5.0 and client.gone_until < 0:
            client.gone_until = client.now + 8.0

    result = timed(client, tmp_path / "x.csv", 30.0, progress=pull)
    times = result.recording.series["engine_speed"].time_s
    assert times[-1] > 29.0
    assert 7.0 < np.diff(times).max() < 12.0
    assert [now.away for now in seen if now.away] == [True]
    away = [note for note in result.notes if note.startswith("The adapter was away from ")]
    assert len(away) == 1
    numbers = [float(word) for word in away[0].split() if word[0].isdigit()]
    assert numbers == pytest.approx([5.1, 13.1], abs=0.5)


def test_what_is_read_after_the_computer_slept_is_no_part_of_what_was_before(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Lid shut for ten minutes at 20 s: the monotonic clock knows nothing of it."""
    client = SimulatedClient()
    client.step = "idle"
    begun = client.now
    monkeypatch.setattr(
        "bellmouth.bus.slept._away_s", lambda: 7.0 if client.now - begun < 20.0 else 607.0
    )
    result = timed(client, tmp_path / "x.parquet", 640.0)
    times = result.recording.series["engine_speed"].time_s
    assert np.diff(times).max() == pytest.approx(600.0, abs=1.0)
    assert 638.0 < times[-1] < 641.0
    told = [note for note in result.notes if note.startswith("The computer slept from ")]
    assert len(told) == 1
    numbers = [float(word) for word in told[0].split() if word[0].isdigit()]
    assert numbers == pytest.approx([20.0, 620.0], abs=1.0)


def test_an_adapter_that_stays_away_ends_the_capture_and_keeps_it(tmp_path: Path) -> None:
    client = SimulatedClient()
    client.step = "idle"

    def pull(now: Progress) -> None:
        if now.seconds > 5.0:
            client.gone_until = 1e9

    result = timed(client, tmp_path / "x.parquet", 600.0, progress=pull)
    assert "The capture ended there: The adapter is gone. Plug it in again." in result.notes
    assert read_recording(tmp_path / "x.parquet").series["engine_speed"].time_s[-1] > 4.0


def test_the_values_of_another_controller_are_never_mixed_in(tmp_path: Path) -> None:
    client = SimulatedClient()
    client.step = "idle"

    def change(now: Progress) -> None:
        client.source = 0x18 if 5.0 < now.seconds < 10.0 else 0x10

    result = timed(client, tmp_path / "x.csv", 15.0, progress=change)
    assert np.diff(result.recording.series["engine_speed"].time_s).max() > 1.5
    assert any("answers of other controllers were not recorded" in note for note in result.notes)


def test_one_controller_is_picked_and_a_wrong_one_refused(tmp_path: Path) -> None:
    client = SimulatedClient()
    client.step = "idle"
    client.source = 0x18
    result = timed(client, tmp_path / "x.csv", 5.0, controller=0x18)
    assert list(result.recording.series) == ["vehicle_speed"]
    with pytest.raises(BusError) as caught:
        timed(client, tmp_path / "y.csv", 5.0, controller=0x42)
    assert str(caught.value) == "Controller 42 does not answer; these do: 10, 18."
    assert not (tmp_path / "y.csv").exists()


def test_a_car_that_never_answers_leaves_no_file(tmp_path: Path) -> None:
    client = SimulatedClient()
    client.off = True
    with pytest.raises(BusError) as caught:
        timed(client, tmp_path / "x.parquet", 5.0)
    assert str(caught.value) == (
        "Nothing was recorded: the car did not answer. Is the ignition on?"
    )
    assert list(tmp_path.iterdir()) == []


def test_what_is_there_is_not_overwritten(tmp_path: Path) -> None:
    (tmp_path / "x.csv").write_text("mine", encoding="utf-8")
    with pytest.raises(RecordingError, match=r"x\.csv: is there already"):
        timed(SimulatedClient(), tmp_path / "x.csv", 5.0)


def test_ctrl_c_keeps_what_was_recorded(tmp_path: Path) -> None:
    client = SimulatedClient()
    client.step = "idle"

    def stop(now: Progress) -> None:
        if now.seconds > 8.0:
            raise KeyboardInterrupt

    result = timed(client, tmp_path / "x.csv", 600.0, progress=stop)
    assert 8.0 < read_recording(result.path).series["engine_speed"].time_s[-1] < 12.0


# What is asked next.


def supported() -> set[int]:
    return {parameters.by_name(name).identifier for name in wishes()}


def counted(polling: Polling, start_s: float = 0.0) -> dict[int, int]:
    """How often each is asked in twenty seconds at twenty requests a second."""
    count = dict.fromkeys(polling.identifiers, 0)
    for number in range(400):
        for one in polling.next(start_s + 0.05 * number):
            count[one] += 1
    return count


def identifier(name: str) -> int:
    return parameters.by_name(name).identifier


@pytest.mark.parametrize(
    ("usual", "extended"),
    [
        ("intake_manifold_pressure", "intake_manifold_pressure_a_extended"),
        ("mass_air_flow", "mass_air_flow_sensor_a_extended"),
    ],
)
def test_it_is_asked_extended_only_where_the_car_has_no_other(usual: str, extended: str) -> None:
    every = supported() | {identifier(extended)}
    assert identifier(extended) not in Polling(every).identifiers
    assert identifier(extended) in Polling(every - {identifier(usual)}).identifiers
    wanted = wishes()
    assert wanted[extended].every_s == wanted[usual].every_s
    assert wanted[extended].hinges == wanted[usual].hinges


def test_the_maxima_that_replace_a_full_scale_are_recorded() -> None:
    assert {"intake_manifold_pressure_maximum", "mass_air_flow_maximum"} <= set(
        Polling(supported()).names
    )


def test_every_wish_is_a_parameter_and_none_is_starved() -> None:
    count = counted(Polling(supported()))
    assert min(count.values()) >= 2
    fast, slow = identifier("engine_speed"), identifier("engine_coolant_temperature")
    assert count[fast] > 10 * count[slow]


def test_what_the_open_causes_hinge_on_is_asked_more_often() -> None:
    polling = Polling(supported())
    before = counted(polling)
    assert polling.hastened == ()
    polling.weigh({"deposit": 0.5, "learned_stale": 0.5, "leak": 0.0, "fuel_low": 1.0})
    after = counted(polling, 20.0)
    throttle = identifier("relative_throttle_position")
    assert after[throttle] > 1.5 * before[throttle]
    assert "relative_throttle_position" in polling.hastened
    assert "commanded_equivalence_ratio" not in polling.hastened
    # What is sure asks for nothing more.
    assert (
        after[identifier("commanded_equivalence_ratio")]
        <= before[identifier("commanded_equivalence_ratio")]
    )


def test_who_keeps_silent_is_asked_less_and_less() -> None:
    polling = Polling(supported())
    silent = identifier("mass_air_flow")
    asked = 0
    for number in range(600):
        chosen = polling.next(0.05 * number)
        missing = tuple(one for one in chosen if one == silent)
        polling.heard(chosen, Sample(0.05 * number, 0.01, 0x10, {}, missing))
        asked += silent in chosen and number > 300
    assert 1 <= asked < 30


def test_one_at_a_time_where_the_car_takes_no_more(tmp_path: Path) -> None:
    for most, together in ((6, 6), (1, 1)):
        client = SimulatedClient(most=most)
        client.step = "idle"
        timed(client, tmp_path / f"{most}.csv", 20.0)
        assert len(client.requests[-1]) == together


def test_a_link_that_holds_one_parameter_a_request_asks_each_alone_from_the_beginning() -> None:
    """Of several asked one after another, as on a K line, none would have its own time."""
    polling = Polling(supported(), 1)
    for count in range(60):
        asked = polling.next(0.15 * count)
        assert len(asked) == 1
        names = {row.name: 1.0 for one in asked for row in parameters.by_identifier(one)}
        polling.heard(asked, Sample(0.15 * count, 0.06, 0x10, names, ()))
