"""A check that is made more than once: part of its error comes again, and only the rest is new.

Words: every time, with probability s (s² being the correlation of two), the check shows what one
draw that all times have in common shows, else one of its own. Numbers: their error is Gaussian with
that correlation. What the check reads of this car, known or not, is the same every time. A number
that follows something put right may not: how that went is drawn as a word is.
"""

from collections.abc import Sequence
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from bellmouth.finding.check_parts import STRAY, Parts, words_of_number, words_of_parts
from bellmouth.finding.check_sizes import (
    Nodes,
    edges_of,
    outcomes_at,
    parts_of_number,
    predicted_number,
)
from bellmouth.finding.check_table import Check, CheckResult

__all__ = ["again_at", "log_of_all", "log_of_numbers", "log_of_words", "words_again"]

Floats = NDArray[np.float64]


def log_of_all(nodes: Nodes, check: Check, results: Sequence[CheckResult]) -> Floats:
    """Log likelihood at every node of all that one check showed, (n,).

    A number says more than a word: where one was read, what was said in words adds nothing.
    """
    values = [one.value for one in results if one.value is not None]
    if values:
        return log_of_numbers(check, values, parts_of_number(nodes, check))
    shown = [check.outcomes.index(one.outcome) for one in results]
    return log_of_words(outcomes_at(nodes, check), shown, _common(nodes, check))


def log_of_words(table: Floats, shown: Sequence[int], common: Floats) -> Floats:
    """Log probability of the words shown, (n,), from that of each word once, (n, words).

    ``common`` is s, (n,); the order of the times does not matter.
    """
    if len(shown) == 1:
        return np.asarray(np.log(table[:, shown[0]]))
    s = common[:, None]
    total = table.copy()  # by what the common draw shows
    for word in shown:
        total *= (1.0 - s) * table[:, word, None] + s * (np.arange(table.shape[1]) == word)
    return np.asarray(np.log(total.sum(axis=1)))


def again_at(nodes: Nodes, check: Check, results: Sequence[CheckResult]) -> Floats:
    """Probability of each word at every node were the check made once more, (n, words)."""
    values = [one.value for one in results if one.value is not None]
    if values:
        parts, edges = parts_of_number(nodes, check), edges_of(nodes.case, check)
        if len(parts.state) > 1:
            return _words_after_ways(check, values, parts, edges)
        return words_of_number(edges, _parts_again(check, values, parts))
    shown = [check.outcomes.index(one.outcome) for one in results]
    table, common = outcomes_at(nodes, check), _common(nodes, check)
    return words_again(table, shown, common)


def _parts_again(check: Check, values: Sequence[float], parts: Parts) -> Parts:
    """What the check would read once more after these numbers; it always goes the same way."""
    own = check.error**2 * (1.0 - check.shared)
    common = parts.sd**2 - own
    known = common / (common + own / len(values))
    mean = parts.mean + known * (np.mean(values) - parts.mean)
    # Of several parts those that fit what was read are left.
    log = _log(parts.weight) + _log_together(values, own, parts.mean, common)[..., 0]
    weight = np.exp(log - np.logaddexp.reduce(log, axis=1, keepdims=True))
    return Parts(weight, mean, np.sqrt(common * (1.0 - known) + own), parts.state)


def _words_after_ways(
    check: Check, values: Sequence[float], parts: Parts, edges: tuple[float, ...]
) -> Floats:
    """Probability of each word after numbers, of a check that may go several ways, (n, words)."""
    log = _log_by_way(check, values, parts)
    share = np.exp(log - np.logaddexp.reduce(log, axis=(1, 2), keepdims=True))
    words, s = words_of_parts(edges, parts), np.sqrt(check.shared)
    fresh = np.einsum("c,npcw->npw", parts.state, words)
    table = (1.0 - s) * fresh[:, :, None, :] + s * words
    return np.asarray(np.einsum("npc,npcw->nw", share, table))


def _log_by_way(check: Check, values: Sequence[float], parts: Parts) -> Floats:
    """Log of the share of each part and way times the density of the numbers, (n, parts, states).

    As with words: each time, with probability s, it goes as one draw that all times have in common
    goes, else its own way.
    """
    s, width = np.sqrt(check.shared), check.high - check.low
    log = _log(parts.weight)[..., None] + _log(parts.state)
    for value in values:
        z = (value - parts.mean) / parts.sd
        density = np.exp(-0.5 * z**2) / (parts.sd * np.sqrt(2 * np.pi))
        density = (1.0 - STRAY) * density + STRAY / width
        fresh = density @ parts.state
        log = log + np.log((1.0 - s) * fresh[..., None] + s * density)
    return np.asarray(log)


def _log(share: Floats) -> Floats:
    with np.errstate(divide="ignore"):
        return np.asarray(np.log(share))


def words_again(table: Floats, shown: Sequence[int], common: Floats) -> Floats:
    """Probability of each word after some were shown, (n, words)."""
    before = log_of_words(table, shown, common) if shown else np.zeros(len(table))
    words = range(table.shape[1])
    after = [log_of_words(table, [*shown, word], common) for word in words]
    return np.asarray(np.exp(np.stack(after, axis=1) - before[:, None]))


def _common(nodes: Nodes, check: Check) -> Floats:
    """s at every node: of a number told in words, what is not known of the car is common too."""
    if not check.reads:
        return np.full(len(nodes.hypothesis), np.sqrt(check.shared))
    _, sd = predicted_number(nodes, check)
    return np.asarray(np.sqrt(1.0 - check.error**2 * (1.0 - check.shared) / sd**2))


def log_of_numbers(check: Check, values: Sequence[float], parts: Parts) -> Floats:
    """Log density of numbers read one after the other, (n,): any of them may be a stray one, or
    all for one and the same reason."""
    if len(parts.state) > 1:
        return np.asarray(np.logaddexp.reduce(_log_by_way(check, values, parts), axis=(1, 2)))
    width = check.high - check.low
    own = check.error**2 * (1.0 - check.shared)
    all_stray = STRAY * check.shared
    one_stray = STRAY * (1.0 - check.shared) / (1.0 - all_stray)
    mean, common, log_weight = parts.mean[..., 0], parts.sd[..., 0] ** 2 - own, _log(parts.weight)
    logs = [np.full(len(mean), np.log(all_stray / width) + _log_scatter(values, own))]
    for good in range(len(values) + 1):
        share = good * np.log1p(-one_stray) + (len(values) - good) * np.log(one_stray / width)
        for kept in combinations(values, good):
            fits = np.zeros(len(mean))
            if kept:
                each = log_weight + _log_together(kept, own, mean, common)
                fits = np.logaddexp.reduce(each, axis=1)
            logs.append(np.log1p(-all_stray) + share + fits)
    return np.asarray(np.logaddexp.reduce(logs))


def _log_together(values: Sequence[float], own: float, mean: Floats, common: Floats) -> Floats:
    """Log density of numbers with a common variance and one of their own."""
    variance = common + own / len(values)
    miss = np.mean(values) - mean
    log = -0.5 * miss**2 / variance - 0.5 * np.log(2 * np.pi * variance)
    return np.asarray(log + _log_scatter(values, own))


def _log_scatter(values: Sequence[float], own: float) -> float:
    """Log density of how far numbers lie from their mean."""
    times = len(values)
    off = float(np.sum((np.array(values) - np.mean(values)) ** 2))
    free = times - 1
    return float(-0.5 * off / own - 0.5 * free * np.log(2 * np.pi * own) - 0.5 * np.log(times))
