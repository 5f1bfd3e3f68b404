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


def speeds(frames: list[str]) -> list[float]:
    """Engine speeds of frames, in order."""
    return [row[1]["engine_speed"] for one in frames for row in json.loads(one)]


def test_fifty_viewers_get_every_sample_once() -> None:
    clock = Clock()
    traces = Traces(clock)
    told: list[list[float]] = [[] for _ in range(50)]
    seen = [0] * 50
    for count in range(400):
        clock.now_s = 0.02 * count
        traces.heard(clock.now_s, {"engine_speed": 700.0 + count})
        if count % 7 == 0:
            for viewer in range(50):
                seen[viewer], frames = traces.since(seen[viewer])
                told[viewer] += [
                    row[1]["engine_speed"] for one in frames for row in json.loads(one)
                ]
    clock.now_s += 1.0
    for viewer in range(50):
        _, frames = traces.since(seen[viewer])
        told[viewer] += speeds(frames)
        assert told[viewer] == [700.0 + count for count in range(400)]


def test_who_comes_late_begins_with_the_recent_past_and_misses_nothing() -> None:
    clock = Clock()
    traces = Traces(clock)
    for count in range(2000):
        clock.now_s = 0.1 * count
        traces.heard(clock.now_s, {"engine_speed": float(count)})
    seen, recent = traces.recent()
    rows = [row[1]["engine_speed"] for row in json.loads(recent)]
    assert rows[-1] == 1999.0
    assert 890 <= len(rows) <= 910
    clock.now_s += 1.0
    traces.heard(clock.now_s, {"engine_speed": 2000.0})
    clock.now_s += 1.0
    _, frames = traces.since(seen)
    after = speeds(frames)
    assert after[-1] == 2000.0
    assert set(range(2001)) - set(range(1099)) <= {*map(int, rows), *map(int, after)}


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
