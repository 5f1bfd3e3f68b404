"""The proof's pictures: the same readings before and after, on one pair of axes."""

from collections.abc import Callable

from matplotlib.axes import Axes

from bellmouth.finding.proof_result import PairPoint, Proof
from bellmouth.pages.drawing import COLOURS, SOFT, below, log_axis, svg

__all__ = ["throttle_against_airflow", "trim_before_and_after"]

_SHAPES = {"before": "o", "after": "s"}
_TONES = {"before": COLOURS[1], "after": COLOURS[0]}


def trim_before_and_after(proof: Proof) -> str | None:
    """Total trim [%] against airflow [g/s] of both recordings; ``None`` without trims."""
    return _two(
        proof,
        "Total fuel trim [%]",
        lambda point: point.total_trim_pct,
        "Total fuel trim against airflow, before and after",
        zero=True,
    )


def throttle_against_airflow(proof: Proof) -> str | None:
    """Throttle reading [%] against airflow [g/s] of both recordings; ``None`` without one."""
    return _two(
        proof,
        "Throttle position [%]",
        lambda point: point.throttle_pct,
        "Throttle position against airflow, before and after",
        zero=False,
    )


def _two(
    proof: Proof,
    label: str,
    read: Callable[[PairPoint], float | None],
    alt: str,
    *,
    zero: bool,
) -> str | None:
    points = [
        (point, point.airflow_g_s, height)
        for point in proof.points
        if point.airflow_g_s and (height := read(point)) is not None
    ]
    if len({point.recording for point, _, _ in points}) < 2:
        return None

    def draw(axes: Axes) -> None:
        for recording in ("before", "after"):
            mine = sorted((x, y) for point, x, y in points if point.recording == recording)
            axes.plot(
                [x for x, _ in mine], [y for _, y in mine],
                color=_TONES[recording], marker=_SHAPES[recording], markersize=6, linewidth=1.4,
                linestyle="-" if recording == "after" else (0, (4, 2)), label=recording,
            )  # fmt: skip
        if zero:
            axes.axhline(0.0, color=SOFT, linewidth=0.8)
        log_axis(axes)
        axes.set_xlabel("Airflow [g/s]")
        axes.set_ylabel(label)
        below(axes, 2)

    return svg("trims" if zero else "throttle", alt, 3.3, draw)
