"""One parameter over many stretches at once: means with honest errors."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bellmouth.recording.quantum import quantisation_error, quantum
from bellmouth.recording.series import Floats, Series
from bellmouth.recording.stretch import Reading

__all__ = ["Asked", "Statistics", "Windows", "readings", "statistics"]

# How many samples' worth the recording as a whole says about one stretch's scatter and memory.
POOL_SCATTER = 2.0
POOL_MEMORY = 8.0
# How long an engine's wander about an operating point lasts. Common practice, no source. [s]
WANDER_S = 1.5
# No autocorrelation from one sample to the next is believed to be higher; of samples less than half
# a second apart none that lasts longer, or a fast logger's would count as news. Ours. [s]
LONGEST_MEMORY, LONGEST_S, FASTEST_S = 0.97, 16.0, 1e-3
# Below this lag-one autocorrelation its fall cannot be measured.
LEAST_MEMORY = 0.15
# What lies further apart than the slowest parameters are read was not recorded in one go. [s]
HOLE_S = 30.0


@dataclass(frozen=True)
class Windows:
    """Pieces of time and the stretch each belongs to. A stretch may have several. [s]

    ``alike`` marks the stretches whose scatter says something about each other's (an engine that
    stands says nothing about one that runs).
    """

    start_s: Floats
    end_s: Floats
    stretch: NDArray[np.intp]
    stretches: int
    alike: NDArray[np.bool_]


@dataclass(frozen=True)
class Asked:
    """A series, the windows it is wanted over, and its quantum where it is not to be found."""

    series: Series
    windows: Windows
    step: float | None = None


@dataclass(frozen=True)
class Statistics:
    """One element a stretch; NaN where it holds no sample.

    ``chance`` is the standard error from scatter, drift and differences between windows;
    ``rounding`` the one from quantisation.
    """

    count: NDArray[np.intp]
    mean: Floats
    chance: Floats
    rounding: Floats
    scatter: Floats
    independent: Floats
    drift_per_s: Floats
    quantum: float
    at_limit: NDArray[np.intp]


def readings(found: Statistics) -> list[Reading | None]:
    """A reading for every stretch that holds samples."""
    error = np.hypot(found.chance, found.rounding)
    columns = (
        found.mean,
        error,
        found.scatter,
        found.count,
        found.independent,
        found.drift_per_s,
        found.at_limit,
    )
    rows = zip(*(column.tolist() for column in columns), strict=True)
    return [
        Reading(mean, se, scatter, count, worth, found.quantum, drift, limit) if count else None
        for mean, se, scatter, count, worth, drift, limit in rows
    ]


def statistics(asked: Sequence[Asked]) -> list[Statistics]:
    """Mean and error of each series over each stretch, all at once.

    Scatter is taken about each window's own straight line, memory between samples from its
    autocorrelation; both lean on the whole recording where a stretch has few samples. All
    windows asked for belong to the same stretches.
    """
    if not asked:
        return []
    samples = _gathered(asked)
    size, stretch, window = samples.stretches, samples.stretch, samples.window
    value, pieces = samples.value, samples.windows
    count = np.bincount(stretch, minlength=size)
    each = np.bincount(window, minlength=pieces)
    in_piece = np.maximum(each, 1)
    many = np.maximum(count, 1)
    mean = _sums(stretch, value, size) / many
    piece_mean = _sums(window, value, pieces) / in_piece
    off = value - piece_mean[window]
    clock = samples.time_s - (_sums(window, samples.time_s, pieces) / in_piece)[window]
    slope, spread = _slope(stretch, clock, off, count)
    rest = off - slope[stretch] * clock
    squares = _sums(stretch, rest * rest, size)
    held = _sums(samples.of_window, each > 0, size)
    freedom: Floats = np.maximum(count - held - (count > 2 * held), 0.0)
    scatter2 = _pooled_scatter(squares, freedom, asked[0].windows.alike, len(asked))
    repeats = _repeats(rest, samples, squares, count)
    independent = np.clip(count / repeats, 1.0, many)
    chance2 = scatter2 / independent
    # The part of a straight line's spread that chance does not explain.
    chance2 += 0.5 * np.maximum(slope**2 * spread / many - scatter2 / independent, 0.0)
    chance2 += _between(piece_mean, in_piece, samples.of_window, mean, count, chance2)
    variance = _sums(stretch, (value - mean[stretch]) ** 2, size) / many
    empty = count == 0
    for array in (mean, chance2, scatter2, slope):
        array[empty] = np.nan
    columns = (count, mean, np.sqrt(chance2), np.sqrt(scatter2), independent, slope)
    steps = [quantum(one.series) if one.step is None else one.step for one in asked]
    by_series = [column.reshape(len(asked), -1) for column in columns]
    rounding = quantisation_error(np.array(steps)[:, None], variance.reshape(len(asked), -1))
    still = np.zeros(by_series[0].shape, dtype=np.intp)
    return [
        Statistics(count, mean, chance, rounded, scatter, worth, drift, step, unmoved)
        for count, mean, chance, scatter, worth, drift, rounded, step, unmoved in zip(
            *by_series, rounding, steps, still, strict=True
        )
    ]


@dataclass(frozen=True)
class _Samples:
    """All samples of all series inside the windows, with running numbers of window and stretch.

    ``of_window`` is the stretch of each window; ``wander`` the autocorrelation from one sample
    to the next that an engine's usual wander gives, ``longest`` the highest that is believed, one a
    stretch.
    """

    time_s: Floats
    value: Floats
    window: NDArray[np.intp]
    stretch: NDArray[np.intp]
    of_window: NDArray[np.intp]
    wander: Floats
    longest: Floats
    series: int

    @property
    def windows(self) -> int:
        return self.of_window.size

    @property
    def stretches(self) -> int:
        return self.wander.size


def _gathered(asked: Sequence[Asked]) -> _Samples:
    low, high, of_window, usual = [], [], [], []
    size = asked[0].windows.stretches
    first = 0
    for number, one in enumerate(asked):
        time = one.series.time_s
        low.append(time.searchsorted(one.windows.start_s) + first)
        high.append(time.searchsorted(one.windows.end_s, side="right") + first)
        of_window.append(one.windows.stretch + number * size)
        usual.append(_usual_interval(time))
        first += time.size
    apart = np.maximum(usual, FASTEST_S)
    index, window = _inside(np.concatenate(low), np.concatenate(high))
    mine = np.concatenate(of_window)
    return _Samples(
        np.concatenate([one.series.time_s for one in asked])[index],
        np.concatenate([one.series.value for one in asked])[index],
        window,
        mine[window],
        mine,
        np.repeat(np.exp(-np.array(usual) / WANDER_S), size),
        np.repeat(np.maximum(LONGEST_MEMORY, np.exp(-apart / LONGEST_S)), size),
        len(asked),
    )


def _usual_interval(time: Floats) -> float:
    """From one sample to the next on average, where no hole is between. [s]"""
    steps = time[1:] - time[:-1]
    near = steps[steps <= HOLE_S]
    near = near if near.size else steps
    return float(near.sum()) / max(near.size, 1)


def _sums(label: NDArray[np.intp], weight: NDArray[Any], size: int) -> Floats:
    """Sum of the weights that carry each label."""
    return np.bincount(label, weight, size).astype(np.float64, copy=False)


def _inside(
    low: NDArray[np.intp], high: NDArray[np.intp]
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Indices of the samples of windows from ``low`` to ``high`` (exclusive), and each one's
    window."""
    count = np.maximum(high - low, 0)
    window = np.repeat(np.arange(low.size), count)
    before = np.cumsum(count) - count
    index = np.arange(int(count.sum())) + (low - before)[window]
    return index, window


def _slope(
    stretch: NDArray[np.intp], clock: Floats, off: Floats, count: NDArray[np.intp]
) -> tuple[Floats, Floats]:
    """Slope of a straight line per stretch, 0 from fewer than three samples; sum of squares."""
    size = count.size
    spread = _sums(stretch, clock * clock, size)
    enough = (count > 2) & (spread > 0)
    slope: Floats = np.zeros(size)
    np.divide(_sums(stretch, clock * off, size), spread, out=slope, where=enough)
    return slope, spread


def _pooled_scatter(
    squares: Floats, freedom: Floats, alike: NDArray[np.bool_], series: int
) -> Floats:
    """Variance of the samples, leaning on the series' other stretches where there are few."""
    by_series = (series, -1)
    total = freedom.reshape(by_series)[:, alike].sum(axis=1)
    pool = squares.reshape(by_series)[:, alike].sum(axis=1) / np.maximum(total, 1.0)
    weight = np.where(alike[None] & (total > 0)[:, None], POOL_SCATTER, 0.0)
    leaning = squares + (weight * pool[:, None]).ravel()
    scatter2: Floats = leaning / np.maximum(freedom + weight.ravel(), 1.0)
    return scatter2


def _repeats(rest: Floats, samples: _Samples, squares: Floats, count: NDArray[np.intp]) -> Floats:
    """How many samples say what one independent sample would: 1 + 2 (sum of autocorrelations).

    The autocorrelation starts at its lag-one value and falls off by a constant ratio from there
    on: samples that are part slow wander, part noise of their own. For a ratio equal to the
    lag-one value that is (1 + phi) / (1 - phi). A short stretch cannot show how slowly it falls
    off, so it is taken to fall no faster than an engine's usual wander.
    """
    size = squares.size
    one, two = (_lagged(rest, samples, lag, size) for lag in (1, 2))
    total, all_one, all_two, read = (
        np.repeat(column.reshape(samples.series, -1).sum(axis=1), size // samples.series)
        for column in (squares, one, two, count)
    )
    moved = total > 0
    pool = np.divide(all_one, total, out=np.zeros(size), where=moved)
    # Where the whole has no memory to speak of, how it falls cannot be measured.
    ratio = np.divide(all_two, all_one, out=np.zeros(size), where=pool > LEAST_MEMORY)
    pool = (pool * read + samples.wander * POOL_MEMORY) / (read + POOL_MEMORY)
    own = np.divide(one, squares, out=pool.copy(), where=squares > 0)
    first = (own * count + pool * POOL_MEMORY) / (count + POOL_MEMORY)
    # Kendall (1954): the estimate is low by (1 + 3 phi) / n; a fitted line costs as much again.
    bias = (2 + 4 * first) / (count + POOL_MEMORY)
    first = np.clip(first + bias, 0.0, samples.longest)
    fall = np.maximum(first, np.maximum(ratio, samples.wander) + bias)
    fall = np.clip(fall, 0.0, samples.longest)
    return np.where(moved, 1 + 2 * first / (1 - fall), 1.0)


def _lagged(rest: Floats, samples: _Samples, lag: int, size: int) -> Floats:
    """Sum of each stretch's products of a sample and the one ``lag`` later in the same window."""
    same = samples.window[lag:] == samples.window[:-lag]
    return _sums(samples.stretch[lag:], rest[lag:] * rest[:-lag] * same, size)


def _between(
    piece_mean: Floats,
    in_piece: NDArray[np.intp],
    of_window: NDArray[np.intp],
    mean: Floats,
    count: NDArray[np.intp],
    chance2: Floats,
) -> Floats:
    """What the means of a stretch's windows scatter beyond chance, over their number."""
    held = in_piece > 0
    number = _sums(of_window, held, mean.size)
    apart = (piece_mean - mean[of_window]) ** 2 * in_piece
    between = _sums(of_window, apart, mean.size) / np.maximum(count, 1)
    extra = between / np.maximum(number - 1, 1) - chance2
    return np.where(number > 1, np.maximum(extra, 0.0), 0.0)
