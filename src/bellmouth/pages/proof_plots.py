"""A proof's pictures as data: the same readings before and after."""

from collections.abc import Callable

from bellmouth.finding.proof_result import PairPoint, Proof
from bellmouth.pages.plots import Z90, Axis, Line, Plot, Say

__all__ = ["proof_plots"]


def proof_plots(proof: Proof, say: Say) -> dict[str, Plot]:
    """By name, those of a proof's pictures that both its recordings can fill."""
    found = {
        "trims": _two(
            proof, say, (say("Total trim against airflow"), say("Total fuel trim")),
            lambda point: point.total_trim_pct,
            lambda point: point.total_trim_error_pct or 0.0,
        ),
        "throttle": _two(
            proof, say, (say("Throttle against airflow"), say("Throttle position")),
            lambda point: point.throttle_pct, None,
        ),
    }  # fmt: skip
    return {name: plot for name, plot in found.items() if plot is not None}


def _two(
    proof: Proof,
    say: Say,
    words: tuple[str, str],
    read: Callable[[PairPoint], float | None],
    error: Callable[[PairPoint], float] | None,
) -> Plot | None:
    lines = []
    for style, recording in ((2, "before"), (1, "after")):
        told = sorted(
            (point.airflow_g_s, height, error(point) if error else 0.0, say(point.kind))
            for point in proof.points
            if point.recording == recording and point.airflow_g_s
            and (height := read(point)) is not None
        )  # fmt: skip
        if not told:
            return None
        x, y, spread, kinds = (tuple(column) for column in zip(*told, strict=True))
        both = list(zip(y, spread, strict=True))
        low = tuple(value - Z90 * one for value, one in both) if error else ()
        high = tuple(value + Z90 * one for value, one in both) if error else ()
        lines.append(Line(say(recording), "joined", style, x, y, low, high, kinds))
    title, height_words = words
    return Plot(title, Axis(say("Airflow"), "g/s", log=True), Axis(height_words, "%"), tuple(lines))
