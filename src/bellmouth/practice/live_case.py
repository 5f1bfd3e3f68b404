"""Which practice car stands in the yard: drawn by seed, with the fault that was asked for."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from bellmouth.car.description import Car, Complaint, Known
from bellmouth.errors import CarError
from bellmouth.practice.cars import Cars
from bellmouth.practice.columns import Floats
from bellmouth.practice.faults import CAUSES, PAIRS, SIZE_UNITS, Faults, leak_area_mm2, sizes_of
from bellmouth.practice.identity import number_of
from bellmouth.practice.population import VARIANTS, Case, _solve_opening, draw
from bellmouth.practice.scenario import Truth

__all__ = ["Sizes", "car_toml", "choose_case", "truth_of"]

#: One size for the first cause, one for each cause of a pair, or sizes by cause.
Sizes = float | Sequence[float] | Mapping[str, float] | None
_CANDIDATES, _ATTEMPTS = 96, 12
_NEAR = 0.2  # a drawn car with a size this close, as a logarithm, is one that can have it
_TRIM_SHARE = 0.7  # of the trims' limit: the rest is left to scatter and to the next tank
_CHOKED_G_S_PER_MM2 = 0.2362  # 100 kPa, 20 degC
_EXTENSIVE = (
    "displacement_l", "manifold_l", "inertia_kg_m2", "slope_mm2_deg", "bypass_mm2",
    "idle_airflow_g_s", "purge_mm2",
)  # fmt: skip
_LOGS = {"meter": "meter_log", "fuel": "fuel_log", "pressure": "pressure_log", "boost": "boost_log"}


@dataclass(frozen=True)
class _Wanted:
    """What a candidate has to have; None is anything."""

    metering: str
    banks: int | None
    cylinders: int | None
    turbo: bool | None


def choose_case(
    cause: str, sizes: Sizes, seed: int, variant: str, owner: Car | None, coolant_c: float
) -> Case:
    """A practice case: the drawn car that suits this fault and size best.

    Parameters
    ----------
    cause
        ``healthy``, a cause or a pair joined with ``+``.
    sizes
        In the finding's units (mm, mm2, g/s, ratio); None keeps what is drawn.
    seed, variant
        The same arguments give the same car.
    owner
        Displacement, metering, banks, cylinders, turbocharger and idle speed are taken over
        from it where it knows them. Without it the car reports airflow and pressure.
    coolant_c
        What the engine comes in at. [degC]

    Raises
    ------
    CarError
        If the cause is unknown, a size is not one of its kind, or no such car can be drawn.
    """
    _check(cause, variant)
    _check_metering(cause, owner)
    wanted = _wanted(owner)
    asked = _asked(cause, sizes)
    good: list[Case] = []
    for attempt in range(_ATTEMPTS):
        drawn = _candidates(variant, _ATTEMPTS * seed + attempt, cause)
        good += [c for c in drawn if _suits(c, wanted)]
        near = [c for c in good if _misfit(c, asked, owner) < _NEAR]
        # A fault that the trims can make up is the usual one, and the more instructive.
        easy = [c for c in near if _trim_needed(c, asked, owner) < _TRIM_SHARE]
        if easy:
            return _finished(easy[0], asked, seed, owner, coolant_c)
    if not good:
        raise CarError(
            f'No practice car of variant {variant} has "{cause}" and is as the car file says; '
            "leave out cylinders or banks, or choose another cause."
        )
    near = [c for c in good if _misfit(c, asked, owner) < _NEAR]
    if near:
        nearest = min(near, key=lambda c: _trim_needed(c, asked, owner))
    else:
        nearest = min(good, key=lambda c: _misfit(c, asked, owner))
    return _finished(nearest, asked, seed, owner, coolant_c)


@lru_cache(maxsize=32)
def _candidates(variant: str, seed: int, cause: str) -> tuple[Case, ...]:
    return tuple(draw(_CANDIDATES, variant, seed, causes=[cause], plans=["idle"]))


def _check(cause: str, variant: str) -> None:
    if cause not in CAUSES and cause not in PAIRS:
        raise CarError(
            f'"{cause}" is no cause; use one of {", ".join(CAUSES)}, or a pair: {", ".join(PAIRS)}.'
        )
    if variant not in VARIANTS:
        raise CarError(f'Practice variant "{variant}": use one of {", ".join(VARIANTS)}.')


def _check_metering(cause: str, owner: Car | None) -> None:
    """A car that meters by pressure has no other reading that its pressure could be off from."""
    for one in cause.split("+"):
        if owner is not None and owner.metering == "pressure" and one.startswith("pressure_"):
            meter = one.replace("pressure", "meter")
            raise CarError(
                f'"{one}" is a second sensor\'s; a car that meters its air by pressure has '
                f'"{meter}" instead. Use that, or a car file with metering = "airflow".'
            )


def _wanted(owner: Car | None) -> _Wanted:
    if owner is None:
        return _Wanted("airflow", None, None, None)
    return _Wanted(owner.metering, owner.banks, owner.cylinders, owner.turbocharged)


def _suits(case: Case, wanted: _Wanted) -> bool:
    row = case.car.row(0)
    metered = row["airflow_metered"] > 0
    return (
        (wanted.metering == "airflow") == metered
        and row["reports_pressure"] > 0
        and wanted.banks in {None, int(row["banks"])}
        and wanted.cylinders in {None, int(row["cylinders"])}
        and wanted.turbo in {None, row["turbo"] > 0}
    )


def _asked(cause: str, sizes: Sizes) -> dict[str, float]:
    """Sizes by single cause, checked."""
    parts = [part for part in cause.split("+") if part != "healthy"]
    if sizes is None:
        return {}
    if isinstance(sizes, Mapping):
        asked = dict(sizes)
    else:
        listed = [sizes] if isinstance(sizes, int | float) else list(sizes)
        if len(listed) > len(parts):
            raise CarError(f'"{cause}" has {len(parts)} sizes, not {len(listed)}.')
        asked = dict(zip(parts, listed, strict=False))
    for part, size in asked.items():
        if part not in parts:
            raise CarError(f'A size is given for "{part}", which is not in "{cause}".')
        _check_size(part, size)
    return asked


def _check_size(part: str, size: float) -> None:
    unit = SIZE_UNITS[part]
    least, most = {"mm": (0.2, 25.0), "mm2": (0.1, 80.0), "g/s": (0.02, 20.0)}.get(unit, (0.3, 3.0))
    low = part.endswith("_low")
    if unit == "ratio":
        least, most = (least, 1.0) if low else (1.0, most)
    if not least <= size <= most:
        raise CarError(
            f"A {part} of {size:g} {unit} is impossible; it lies between {least:g} and "
            f"{most:g} {unit}."
        )


def _misfit(case: Case, asked: dict[str, float], owner: Car | None) -> float:
    """How far a drawn car is from what is asked, as a sum of log ratios. [-]"""
    far = 0.0
    if owner is not None:
        far += abs(float(np.log(case.car.displacement_l[0] / owner.displacement_l.value)))
    for part, size in asked.items():
        far += abs(float(np.log(case.sizes[part] / size)))
    return far


def _trim_needed(case: Case, asked: dict[str, float], owner: Car | None) -> float:
    """Share of the total trim's limit that this fault takes up at idle, roughly. [-]"""
    fault, row = _resized(case.fault, asked).row(0), case.car.row(0)
    leak = fault["leak_mm2"] * _CHOKED_G_S_PER_MM2 * row["airflow_metered"]
    air = row["idle_airflow_g_s"]
    if owner is not None:
        air *= owner.displacement_l.value / row["displacement_l"]
    if row["banks"] > 1:
        leak *= 2.0 * max(fault["leak_bank"], 1.0 - fault["leak_bank"])  # the worse bank
    lean = -np.log(max(1.0 - leak / air, 0.2))
    lean -= fault["meter_log"] + fault["fuel_log"]
    return float(abs(np.exp(lean) - 1.0) / row["total_limit"])


def _finished(
    case: Case, asked: dict[str, float], seed: int, owner: Car | None, coolant_c: float
) -> Case:
    car = case.car if owner is None else _as_owned(case.car, case.variant, owner)
    fault = _resized(case.fault, asked)
    weather = replace(case.weather, coolant_c=np.array([coolant_c]))
    sizes = sizes_of(case.cause, fault, 0)
    return replace(case, seed=seed, car=car, fault=fault, weather=weather, sizes=sizes)


def _as_owned(car: Cars, variant: str, owner: Car) -> Cars:
    """The car with the owner's displacement and idle speed; what depends on them follows."""
    ratio = owner.displacement_l.value / float(car.displacement_l[0])
    changed: dict[str, Floats] = {name: getattr(car, name) * ratio for name in _EXTENSIVE}
    if owner.idle_rpm is not None:
        idle = np.array([owner.idle_rpm.value])
        # The same air a cycle; friction makes up for what the new speed changes.
        changed["idle_airflow_g_s"] = changed["idle_airflow_g_s"] * idle / car.idle_speed_rpm
        saved = car.friction_speed_kpa * (car.idle_speed_rpm - idle) / 1000.0
        changed |= {"friction_kpa": car.friction_kpa + saved}
        changed |= {"specified_rpm": idle, "idle_speed_rpm": idle}
    changed["floor_deg"] = car.floor_deg / car.idle_opening_deg
    return _solve_opening(replace(car, **changed), variant)


def _resized(fault: Faults, asked: dict[str, float]) -> Faults:
    changed: dict[str, Floats] = {}
    for part, size in asked.items():
        one = np.array([float(size)])
        if part == "leak":
            changed["leak_mm2"] = leak_area_mm2(one)
        elif part == "deposit":
            changed["deposit_mm2"] = one
        elif part == "learned_stale":
            changed["stale_g_s"] = one
        else:
            changed[_LOGS[part.rsplit("_", 1)[0]]] = np.log(one)
    return replace(fault, **changed)


def truth_of(case: Case) -> Truth:
    """What is really wrong with it, in the finding's units."""
    return Truth(case.cause, case.sizes, {k: SIZE_UNITS[k] for k in case.sizes})


def car_toml(case: Case, complaint: Complaint) -> str:
    """The car file that its owner would write: engine, metering, idle speed and complaint."""
    row = case.car.row(0)
    bore = Known(float(np.round(row["bore_mm"])), 1.0)
    number = number_of(case.variant, case.car)  # its VIN ends on the same
    lines = [
        f'name = "practice {case.variant}{case.seed}-{number % 10_000:04d}"',
        f"displacement_l = {row['displacement_l']:.2f}",
        f"cylinders = {int(row['cylinders'])}",
        f"banks = {int(row['banks'])}",
        f'metering = "{"airflow" if row["airflow_metered"] > 0 else "pressure"}"',
        f"throttle_bore_mm = {{value = {bore.value:g}, sd = {bore.sd:g}}}",
        f"idle_rpm = {row['specified_rpm']:.0f}",
        f"turbocharged = {'true' if row['turbo'] > 0 else 'false'}",
        f'complaint = "{complaint}"',
    ]
    return "\n".join(lines) + "\n"
