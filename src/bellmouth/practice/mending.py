"""Work on a practice car: which fault each work heals, and the case that is left afterwards."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from types import MappingProxyType

import numpy as np

from bellmouth.practice.faults import Faults
from bellmouth.practice.population import Case

__all__ = ["HEALS", "idle_works", "mended"]

#: Causes that each work of the job card heals. What the controller has learned is healed by no
#: work with the hands: it learns again.
HEALS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "clean_plate": ("deposit",),
        "clean_meter": ("meter_low", "meter_high"),
        "reseal": ("leak",),
        "renew_gasket": ("leak",),
        "mend_fuel": ("fuel_low", "fuel_high"),
    }
)
_COLUMNS = {
    "deposit": ("deposit_mm2",),
    "meter_low": ("meter_log", "meter_bend"),
    "meter_high": ("meter_log", "meter_bend"),
    "leak": ("leak_mm2",),
    "fuel_low": ("fuel_log",),
    "fuel_high": ("fuel_log",),
}


def mended(case: Case, works: Iterable[str]) -> Case:
    """The same car after some works; works that heal nothing on it change nothing.

    What its controller has learned is not part of the case and stays as it is, so that after a
    deposit is cleaned off the remembered opening is too large.
    """
    metered = bool(case.car.airflow_metered[0] > 0)
    wanted = {cause for work in works for cause in _heals(work, metered=metered)}
    healed = wanted & set(case.cause.split("+"))
    if not healed:
        return case
    left = [part for part in case.cause.split("+") if part not in healed]
    sizes = {part: size for part, size in case.sizes.items() if part in left}
    fault = _without(case.fault, healed)
    return replace(case, cause="+".join(left) or "healthy", sizes=sizes, fault=fault)


def idle_works(cause: str, works: Iterable[str], *, metered: bool = True) -> tuple[str, ...]:
    """Those of the works that heal nothing on a car with this cause, each once.

    ``metered`` is whether it has an airflow meter.
    """
    there = set(cause.split("+"))
    idle = (work for work in works if not there & set(_heals(work, metered=metered)))
    return tuple(dict.fromkeys(idle))


def _heals(work: str, *, metered: bool) -> tuple[str, ...]:
    # Without a meter a wrong airflow is computed, and there is nothing to clean.
    return () if work == "clean_meter" and not metered else HEALS.get(work, ())


def _without(fault: Faults, healed: set[str]) -> Faults:
    names = {column for cause in healed for column in _COLUMNS[cause]}
    return replace(fault, **{name: np.zeros(1) for name in names})
