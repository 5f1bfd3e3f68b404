"""A survey's pictures: causes by family, sizes, the worst cars, and drift of the idle opening."""

import numpy as np
import polars as pl
from matplotlib.axes import Axes

from bellmouth.finding.causes import CAUSES
from bellmouth.pages.drawing import COLOURS, DASHES, INK, below, somebodys, svg
from bellmouth.pages.survey_screen import as_shown
from bellmouth.pages.words import number, unit_words

__all__ = ["causes_by_family", "drift", "sizes", "worst_cars"]

_FAMILIES = 12
_FEWEST = 3
_WORST = 10
_LONGEST = 18
_HATCHES = ("", "////", "....", "xxxx", "----", "\\\\\\\\", "++++", "oooo", "****", "||||", "//..")


def causes_by_family(table: pl.DataFrame) -> str | None:
    """Share of recordings by likeliest cause, a bar a family; ``None`` where none was judged."""
    if not table.height:
        return None
    table = as_shown(table)
    families = table.group_by("family").len().sort("len", descending=True)["family"][:_FAMILIES]
    causes = table["shown"].value_counts(sort=True)["shown"].to_list()[:8]

    def draw(axes: Axes) -> None:
        left = np.zeros(len(families))
        for place, cause in enumerate(causes):
            share = [
                100.0
                * table.filter((pl.col("family") == family) & (pl.col("shown") == cause)).height
                / table.filter(pl.col("family") == family).height
                for family in families
            ]
            axes.barh(
                range(len(families)), share, left=left, height=0.7, label=cause,
                color=COLOURS[place % len(COLOURS)], hatch=_HATCHES[place % len(_HATCHES)],
                edgecolor=INK, linewidth=0.4,
            )  # fmt: skip
            left += share
        axes.set_yticks(
            range(len(families)),
            [somebodys(family) if family else "no family told" for family in families],
        )
        axes.invert_yaxis()
        axes.set_xlabel("Share of recordings [%]")
        below(axes, 3)

    height = 2.0 + 0.35 * len(families) + 0.2 * max(0, (len(causes) - 5) // 2)
    return svg("families", "Likeliest cause by engine family", height, draw)


def sizes(table: pl.DataFrame) -> str | None:
    """How big each cause is where it is the likeliest, against its largest; ``None`` if too few."""
    found = {}
    units = {}
    table = as_shown(table)
    for cause, told in CAUSES.items():
        rows = table.filter((pl.col("cause") == cause) & pl.col(f"{cause}_value").is_not_null())
        for name in rows["shown"].unique(maintain_order=True):
            mine = rows.filter(pl.col("shown") == name)
            if mine.height >= _FEWEST:
                found[name] = mine[f"{cause}_value"].to_numpy()
                units[name] = told.unit
    if not found:
        return None

    def draw(axes: Axes) -> None:
        axes.boxplot(
            [values / np.median(values) for values in found.values()], orientation="horizontal",
            widths=0.55, medianprops={"color": COLOURS[1], "linewidth": 2},
            boxprops={"color": INK}, whiskerprops={"color": INK}, capprops={"color": INK},
            flierprops={"markeredgecolor": INK, "markersize": 4},
        )  # fmt: skip
        names = [
            f"{name}\nmedian {number(float(np.median(v)), units[name])} {unit_words(units[name])}"
            for name, v in found.items()
        ]
        axes.set_yticks(range(1, len(names) + 1), names)
        axes.set_xlabel("Size over the median")

    return svg("sizes", "Sizes of the causes found", 1.4 + 0.6 * len(found), draw)


def worst_cars(worst: pl.DataFrame) -> str | None:
    """How likely [%] the likeliest fault of the worst cars is, a bar a recording, the worst on
    top; ``None`` where there is none."""
    shown = as_shown(worst.head(_WORST))
    if not shown.height:
        return None
    names = [
        f"{somebodys(_short(str(row['car'])))}\n{row['shown']}"
        for row in shown.iter_rows(named=True)
    ]

    def draw(axes: Axes) -> None:
        share = (100.0 * shown["probability"]).to_list()
        axes.barh(range(len(share)), share, height=0.6, color=COLOURS[1], edgecolor=INK, lw=0.4)
        axes.set_yticks(range(len(share)), names, fontsize=9)
        axes.invert_yaxis()
        axes.set_xlim(0.0, 100.0)
        axes.set_xlabel("How likely [%]")

    return svg("worst", "Cars to look at first", 1.0 + 0.42 * len(names), draw)


def _short(name: str) -> str:
    """A car's name where there is little room."""
    return name if len(name) <= _LONGEST else f"{name[: _LONGEST - 1]}…"


def drift(table: pl.DataFrame) -> str | None:
    """Throttle at idle [%] against distance [km], a line a car that was recorded more than once."""
    told = table.filter(
        pl.col("distance_km").is_not_null() & pl.col("idle_throttle_pct").is_not_null()
    ).sort("distance_km")
    several = told.group_by("car").len().filter(pl.col("len") > 1)["car"].sort()[:_FAMILIES]
    if not len(several):
        return None

    def draw(axes: Axes) -> None:
        for place, car in enumerate(several):
            mine = told.filter(pl.col("car") == car)
            axes.plot(
                mine["distance_km"] / 1e3, mine["idle_throttle_pct"], marker="o", markersize=4,
                color=COLOURS[place % 5], linestyle=DASHES[place % 5], label=somebodys(car),
            )  # fmt: skip
        axes.set_xlabel("Distance [1,000 km]")
        axes.set_ylabel("Throttle at idle [%]")
        below(axes, 3)

    return svg("drift", "Throttle at idle against distance", 3.6, draw)
