"""Where sizes are looked at: too few nodes must not make a size look better known than it is."""

from importlib.resources import as_file, files

import numpy as np
import pytest

from bellmouth.car.reader import read_car
from bellmouth.finding import mesh
from bellmouth.finding.case import solve
from bellmouth.finding.hypothesis import Hypotheses
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


def test_a_ratios_prior_is_whole_and_even_in_its_logarithm() -> None:
    """|ln ratio| is no logarithm itself; below what is worth acting on it is the rarer."""
    low, high, worth = 0.03, 0.5, 0.075
    one = Hypotheses(
        ("healthy", "fuel_low"), ((), ("fuel_low",)),
        *(np.array([[np.nan, np.nan], [end, np.nan]]) for end in (low, high, worth, np.nan)),
    )  # fmt: skip
    spread = np.full((2, 2), 10.0)
    nodes = mesh.mesh_of(one, np.array([[np.nan, np.nan], [0.2, np.nan]]), spread, np.zeros(2))
    mine = nodes.layout.hypothesis == 1
    size, weight = nodes.sizes[mine, 0], np.exp(nodes.log_weight[mine])
    assert weight.sum() == pytest.approx(1.0, abs=2e-3)
    for first, last in ((worth, 0.15), (0.15, 0.3)):
        held = weight[(size >= first) & (size < last)].sum()
        less = 0.5 * (1.0 - (low / worth) ** 2)
        assert held == pytest.approx(np.log(last / first) / (less + np.log(high / worth)), abs=0.06)
    assert nodes.log_weight[nodes.layout.hypothesis == 0] == pytest.approx(0.0)


def test_a_size_beyond_what_is_common_is_rare_and_the_prior_stays_whole() -> None:
    low, common, high = -2.9, -0.8, -0.4
    one = Hypotheses(
        ("healthy", "leak"), ((), ("leak",)),
        *(np.array([[np.nan] * 2, [end, np.nan]]) for end in (low, high, np.nan, common)),
    )  # fmt: skip
    spread = np.full((2, 2), 10.0)
    nodes = mesh.mesh_of(one, np.array([[np.nan] * 2, [-1.0, np.nan]]), spread, np.zeros(2))
    mine = nodes.layout.hypothesis == 1
    size, weight = nodes.sizes[mine, 0], np.exp(nodes.log_weight[mine])
    assert weight.sum() == pytest.approx(1.0, abs=5e-3)
    assert 0.02 < weight[size > common].sum() < 0.08
    assert np.ptp(nodes.log_weight[mine][size < common] - nodes.layout.log_unit[mine][size < common]
                  ) == pytest.approx(0.0, abs=1e-9)  # fmt: skip
    assert nodes.log_weight[~mine] == pytest.approx(0.0)
