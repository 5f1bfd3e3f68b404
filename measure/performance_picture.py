"""Cost against size as a picture: the survey and merely reading, both axes logarithmic."""

import io
from collections.abc import Sequence

import matplotlib as mpl
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure

from measure.survey_cost import Run

__all__ = ["picture"]


def picture(runs: Sequence[Run]) -> str:
    """SVG text."""
    with mpl.rc_context({"svg.fonttype": "none", "svg.hashsalt": "performance"}):
        figure = Figure(figsize=(6.4, 3.8), layout="constrained")
        FigureCanvasSVG(figure)
        axes = figure.add_subplot()
        for place, workers in enumerate(sorted({run.workers for run in runs})):
            mine = sorted((r for r in runs if r.workers == workers), key=lambda r: r.count)
            size = [run.count for run in mine]
            name = f"{workers} worker{'s' if workers > 1 else ''}"
            colour = f"C{place}"
            axes.plot(size, [r.survey_s for r in mine], "o-", color=colour, label=f"survey, {name}")
            axes.plot(size, [r.read_s for r in mine], "s--", color=colour, label=f"reading, {name}")
        axes.set(xscale="log", yscale="log", xlabel="recordings", ylabel="seconds")
        axes.grid(visible=True, alpha=0.3)
        axes.legend(frameon=False)
        buffer = io.StringIO()
        figure.savefig(buffer, format="svg", metadata={"Date": None})
    return "\n".join(line.rstrip() for line in buffer.getvalue().splitlines()) + "\n"
