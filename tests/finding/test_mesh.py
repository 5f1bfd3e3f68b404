"""Where sizes are looked at: too few nodes must not make a size look better known than it is."""

from importlib.resources import as_file, files

import pytest

from bellmouth.car.reader import read_car
from bellmouth.finding import mesh
from bellmouth.finding.find import solve
from bellmouth.finding.sizes import sizes_of
from bellmouth.recording import read_recording
from bellmouth.recording.steady import stretches


def test_a_pairs_interval_is_no_narrower_than_with_many_nodes(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Of a leak told sharply beside a pressure error that hardly anything tells."""
    with as_file(files("bellmouth") / "data" / "demo") as folder:
        found = tuple(stretches(read_recording(folder / "recording.csv")))
        car = read_car(folder / "car.toml")

    def width() -> float:
        leak = sizes_of(solve(found, [], car))["leak+pressure_high"]["leak"]
        return leak.high / leak.low - 1.0

    usual = width()
    monkeypatch.setattr(mesh, "_FINE", ((0, 1), (1, 25), (2, 16), (2, 3)))
    assert usual > 0.8 * width()
