"""Readings as they come: shared by all who look, and nothing lost."""

import json
import threading
from pathlib import Path

from bellmouth.pages.site.traces import Traces
from bellmouth.recording import read_recording


class Clock:
    now_s = 0.0

    def __call__(self) -> float:
        return self.now_s


def rows(events: bytes) -> list[tuple[float, float]]:
    """Times and engine speeds of a viewer's events, in order."""
    found = []
    for block in events.decode().split("\n\n"):
        told = dict(line.partition(": ")[::2] for line in block.splitlines())
        if told.get("event") == "rows":
            found += [(at, values["engine_speed"]) for at, values in json.loads(told["data"])]
    return found


def last_id(events: bytes) -> str:
    """Identity of the last event."""
    return events.decode().rpartition("id: ")[2].partition("\n")[0]


def filled(traces: Traces, clock: Clock, count: int, every_s: float, first: int = 0) -> None:
    for number in range(first, first + count):
        clock.now_s = every_s * number
        traces.heard(clock.now_s, {"engine_speed": float(number)})
        traces.seal()


def all_since(traces: Traces, seen: int) -> bytes:
    found = b""
    while (new := traces.since(seen)) is not None and new[1]:
        seen = new[0]
        found += new[1]
    return found


def test_fifty_viewers_get_every_sample_once() -> None:
    clock = Clock()
    traces = Traces(clock)
    told = [b""] * 50
    seen = [traces.begin("")[0]] * 50
    for count in range(400):
        clock.now_s = 0.02 * count
        traces.heard(clock.now_s, {"engine_speed": 700.0 + count})
        for viewer in range(count % 7, 50, 7):
            new = traces.since(seen[viewer])
            assert new is not None
            seen[viewer] = new[0]
            told[viewer] += new[1]
    clock.now_s += 1.0
    for viewer in range(50):
        told[viewer] += all_since(traces, seen[viewer])
        assert [speed for _, speed in rows(told[viewer])] == [700.0 + n for n in range(400)]


def test_who_comes_late_begins_with_the_recent_past_and_misses_nothing() -> None:
    clock = Clock()
    traces = Traces(clock)
    filled(traces, clock, 2000, 0.1)
    seen, first = traces.begin("")
    assert [speed for _, speed in rows(first)] == [float(n) for n in range(1099, 2000)]
    filled(traces, clock, 5, 0.1, first=2000)
    clock.now_s += 1.0
    assert [speed for _, speed in rows(all_since(traces, seen))] == [2000, 2001, 2002, 2003, 2004]


def test_who_comes_back_goes_on_after_the_last_event_that_came() -> None:
    clock = Clock()
    traces = Traces(clock)
    filled(traces, clock, 10, 0.1)
    seen, first = traces.begin("")
    filled(traces, clock, 40, 0.1, first=10)
    events = all_since(traces, seen)
    # The connection broke after the third of them.
    had = b"\n\n".join(events.split(b"\n\n")[:3]) + b"\n\n"
    seen, again = traces.begin(last_id(had))
    assert again == b""
    got = first + had + all_since(traces, seen)
    assert [speed for _, speed in rows(got)] == [float(n) for n in range(50)]


def test_who_was_away_for_too_long_begins_anew_and_is_told() -> None:
    clock = Clock()
    traces = Traces(clock, log_bytes=2000)
    filled(traces, clock, 10, 0.1)
    seen, first = traces.begin("")
    filled(traces, clock, 500, 0.1, first=10)
    assert traces.since(seen) is None
    _, again = traces.begin(last_id(first))
    assert b'event: anew\ndata: {"missed": true}' in again
    assert len(rows(again)) == 510


def test_an_event_of_another_capture_is_not_taken_for_one_of_this() -> None:
    clock = Clock()
    other, traces = Traces(clock), Traces(clock)
    for one in (other, traces):
        filled(one, clock, 10, 0.1)
    for after in (
        last_id(other.begin("")[1]),
        "7",
        f"{traces.token}-99",
        f"{traces.token}-²",
        "x-",
    ):
        assert b'event: anew\ndata: {"missed": ' in traces.begin(after)[1]
        assert len(rows(traces.begin(after)[1])) == 10


def test_what_was_read_last_comes_before_the_end() -> None:
    clock = Clock()
    traces = Traces(clock)
    seen, _ = traces.begin("")
    traces.heard(0.0, {"engine_speed": 1.0})
    traces.heard(0.001, {"engine_speed": 2.0})
    traces.tell({"phase": "ended"}, over=True)
    events = all_since(traces, seen)
    assert [speed for _, speed in rows(events)] == [1.0, 2.0]
    assert events.rstrip().endswith(b'data: {"phase":"ended"}')


def test_one_gulp_is_small() -> None:
    clock = Clock()
    traces = Traces(clock)
    seen, _ = traces.begin("")
    filled(traces, clock, 4000, 0.1)
    new = traces.since(seen)
    assert new is not None
    assert len(new[1]) < 70_000
    assert len(rows(all_since(traces, seen))) == 4000


def test_the_download_is_a_recording(tmp_path: Path) -> None:
    traces = Traces()
    for count in range(40):
        traces.heard(0.1 * count, {"engine_speed": 700.0 + count})
        traces.heard(0.1 * count + 0.05, {"mass_air_flow": 2.0})
    path = tmp_path / "readings.csv"
    path.write_text("".join(traces.csv()), encoding="utf-8")
    recording = read_recording(path)
    assert recording.series["engine_speed"].value[-1] == 739.0
    assert recording.series["mass_air_flow"].unit == "g/s"


def test_many_threads_may_tell_and_look() -> None:
    traces = Traces()

    def tell() -> None:
        for _ in range(200):
            traces.heard(0.0, {"engine_speed": 1.0})

    threads = [threading.Thread(target=tell) for _ in range(4)]
    for thread in threads:
        thread.start()
    for _ in range(50):
        traces.since(0)
    for thread in threads:
        thread.join()
    assert len(list(traces.csv())) == 801
