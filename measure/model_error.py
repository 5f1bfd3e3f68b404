"""How far real engines are from the formulae: the sizes of the model error in ``priors.toml``.

``python -m measure.model_error`` reads ``../shared/data`` and prints each size with where it was
measured: the residual of filling and plate laws over the steady points of two real engines, as a
Gaussian process over operating points, and how trims move inside the real idle recordings.
"""

import csv
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares, minimize

from bellmouth.finding.priors import load_priors
from bellmouth.physics import air, orifice
from bellmouth.recording.readers import read_recording
from bellmouth.recording.series import Recording
from bellmouth.recording.steady import stretches
from measure import DATA
from measure.tables import heading, number, table

__all__ = ["Points", "Process", "bench_points", "fit_process", "main", "map_points"]

Floats = NDArray[np.float64]

_IDLE_TRIM = "log_total_trim_bank_1"


@dataclass(frozen=True)
class Points:
    """Steady points below ambient of one engine, shape (points,).

    Log of filling from manifold state, effective area [mm²], throttle reading [%].
    """

    name: str
    speed_rpm: Floats
    manifold_kpa: Floats
    log_filling: Floats
    area_mm2: Floats
    throttle_pct: Floats

    def take(self, keep: NDArray[np.bool_]) -> "Points":
        """Some of the points."""
        return Points(
            self.name,
            self.speed_rpm[keep],
            self.manifold_kpa[keep],
            self.log_filling[keep],
            self.area_mm2[keep],
            self.throttle_pct[keep],
        )


@dataclass(frozen=True)
class Process:
    """A Gaussian process over operating points: spread, what is left point by point, lengths."""

    spread: float
    local: float
    lengths: Floats


def map_points(path: Path) -> Points:
    """The throttled points of the 306; the displacement is 2.0 l."""
    with path.open(newline="") as file:
        rows = list(csv.reader(file))[1:]
    speed, ahead, manifold, before_c, _, plate, flow = np.array(rows, dtype=np.float64).T[:7]
    keep = (manifold < 0.97 * ahead) & (speed <= 4600)
    return _points("map", speed, ahead, manifold, before_c, 100 * plate, flow, 2.0).take(keep)


def bench_points(recording: Recording) -> Points:
    """Medians of the fault-free run over cells of speed and pressure, the plate open a little."""
    flow = recording.series["mass_air_flow"]

    def at(name: str) -> Floats:
        one = recording.series[name]
        return np.asarray(np.interp(flow.time_s, one.time_s, one.value))

    ahead, manifold = at("boost_pressure"), at("intake_manifold_pressure")
    plate = at("throttle_position")
    speed, intake_c = at("engine_speed"), at("intake_air_temperature")
    every = _points("bench", speed, ahead, manifold, intake_c, plate, flow.value, 1.97)
    return _cells(every.take((manifold < 0.95 * ahead) & (plate > 1.3)))


def _points(
    name: str,
    speed: Floats,
    ahead: Floats,
    manifold: Floats,
    intake_c: Floats,
    plate: Floats,
    flow: Floats,
    litres: float,
) -> Points:
    kelvin = intake_c + air.KELVIN
    full = litres * 1e-3 * speed / 120.0 * manifold * 1e3 / (air.R_DRY * kelvin) * 1e3
    flux = ahead * 1e3 / np.sqrt(air.R_DRY * kelvin) * orifice.flow_function(manifold / ahead)
    area = flow * 1e-3 / np.maximum(flux, 1e-9) * 1e6
    return Points(name, speed, manifold, np.log(flow / full), area, plate)


def _cells(points: Points) -> Points:
    """Medians over cells of 6 % in speed and 4 kPa that hold at least three samples."""
    place = np.stack(
        [np.round(np.log(points.speed_rpm) / 0.06), np.round(points.manifold_kpa / 4)], axis=1
    )
    _, cell, count = np.unique(place, axis=0, return_inverse=True, return_counts=True)
    kept = [np.flatnonzero(cell.ravel() == k) for k in np.flatnonzero(count >= 3)]
    parts = (
        points.speed_rpm, points.manifold_kpa, points.log_filling, points.area_mm2,
        points.throttle_pct,
    )  # fmt: skip
    return Points(points.name, *(np.array([np.median(p[i]) for i in kept]) for p in parts))


def filling_residual(points: Points) -> tuple[Floats, Floats]:
    """What the filling law leaves (log), and its basis: level, rise with pressure, speed."""
    rise = (1 - 35 / points.manifold_kpa) / (1 - 35 / 95.0)
    basis = np.stack([np.ones_like(rise), rise, np.log(points.speed_rpm / 900)], axis=1)
    found = np.linalg.lstsq(basis, points.log_filling, rcond=None)[0]
    return points.log_filling - basis @ found, basis


def plate_residual(points: Points) -> Floats:
    """What the plate law leaves of the log of area: bypass, slope and curve by least squares."""
    t, area = points.throttle_pct, points.area_mm2

    def left(q: Floats) -> Floats:
        opening = t - q[3]
        law = q[0] + q[1] * opening + q[2] * opening**2
        return np.asarray(np.log(np.maximum(law, 1e-3)) - np.log(area))

    found = least_squares(left, [5.0, 8.0, 0.1, float(t.min()) - 0.5])
    return np.asarray(found.fun)


def fit_process(place: Floats, residual: Floats, lengths: Sequence[float]) -> Process:
    """Spread, local spread and lengths that make the residuals most likely.

    ``place`` has shape (points, axes); ``lengths`` start the search, one an axis.
    """

    def cost(q: Floats) -> float:
        spread, local, *scale = np.exp(q)
        distance = (((place[:, None] - place[None]) / np.array(scale)) ** 2).sum(axis=-1)
        covariance = spread**2 * np.exp(-0.5 * distance) + local**2 * np.eye(len(residual))
        factor = np.linalg.cholesky(covariance + 1e-10 * np.eye(len(residual)))
        white = np.linalg.solve(factor, residual)
        return float(0.5 * white @ white + np.log(np.diag(factor)).sum())

    start = np.log([0.06, 0.02, *lengths])
    found = minimize(cost, start, method="Nelder-Mead", options={"maxiter": 600})
    spread, local, *scale = np.exp(found.x)
    return Process(float(spread), float(local), np.array(scale))


def _filling_row(points: Points, where: str) -> list[str]:
    residual, _ = filling_residual(points)
    place = np.stack([np.log(points.speed_rpm), points.manifold_kpa], axis=1)
    found = fit_process(place, residual, (0.4, 16.0))
    lengths = f"{found.lengths[0]:.2f} in ln speed, {found.lengths[1]:.0f} kPa"
    return _cells_of(f"filling, {where}", residual, found, lengths)


def _plate_row(points: Points, where: str) -> list[str]:
    residual = plate_residual(points)
    found = fit_process(np.log(points.area_mm2)[:, None], residual, (0.4,))
    return _cells_of(f"plate, {where}", residual, found, f"{found.lengths[0]:.2f} in ln area")


def _cells_of(what: str, residual: Floats, found: Process, lengths: str) -> list[str]:
    return [
        what, str(len(residual)), number(float(np.std(residual)), 3), number(found.spread, 3),
        number(found.local, 3), lengths,
    ]  # fmt: skip


def _law_rows(data: Path) -> list[list[str]]:
    bench = bench_points(read_recording(data / "bench" / "fault_free.csv.gz"))
    rows = []
    for points in (map_points(data / "map" / "engine_2_0_l.csv"), bench):
        near = points.take((points.manifold_kpa < 60) & (points.speed_rpm < 3200))
        for some, where in ((near, "below 60 kPa and 3,200 rpm"), (points, "all")):
            rows.append(_filling_row(some, f"{points.name}, {where}"))
            rows.append(_plate_row(some, f"{points.name}, {where}"))
    return rows


def _trim_rows(folder: Path) -> list[list[str]]:
    """How total trim differs between warm idle stretches of one recording, and between them."""
    inside, levels, offsets = [], [], []
    for file in sorted(folder.glob("*.csv.gz")):
        found = [s for s in stretches(read_recording(file)) if s.kind == "idle" and s.warm]
        trims = np.array([s.value(_IDLE_TRIM) for s in found])
        speeds = np.array([s.value("engine_speed") for s in found])
        good = np.isfinite(trims)
        if not good.any():
            continue
        trims, speeds = trims[good], speeds[good]
        offsets.append(float(np.median(trims)))
        slow = speeds < speeds.min() + 60
        inside += list(trims[slow] - trims[slow].mean()) if slow.sum() > 1 else []
        if (~slow).any():
            levels.append(float(trims[~slow].mean() - trims[slow].mean()))
    rows = (
        ("between stretches at one level", inside),
        ("between idle levels", levels),
        ("between recordings", list(np.array(offsets) - np.mean(offsets))),
    )
    return [
        [what, str(len(v)), number(float(np.sqrt(np.mean(np.square(v)))), 4) if v else "-"]
        for what, v in rows
    ]


def main() -> int:
    """Print the sizes, and those in use."""
    if not DATA.is_dir():
        print(f"No real recordings: {DATA} is not there.", file=sys.stderr)
        return 2
    print(heading("Filling and plate laws against two real engines (natural logs)"))
    header = ("law and points", "n", "rms", "process sd", "local sd", "lengths")
    print(table(header, _law_rows(DATA)))
    print(heading("Total trim on 24 real idles (natural logs)"))
    print(table(("difference", "n", "rms"), _trim_rows(DATA / "idle")))
    print(heading("In use (priors.toml, [model_error])"))
    for key, value in load_priors().model_error.items():
        print(f"{key} = {value}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
