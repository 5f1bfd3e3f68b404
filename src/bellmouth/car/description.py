"""What the owner knows about this car: each value known, known roughly, or unknown."""

from dataclasses import dataclass
from typing import Literal

__all__ = ["Car", "Complaint", "Known", "Metering"]

Metering = Literal["airflow", "pressure"]
Complaint = Literal[
    "unknown",
    "none",
    "rough idle",
    "low idle",
    "high idle",
    "hunting idle",
    "stalls",
    "sticking plate",
    "lamp or lean code",
    "after cleaning",
    "after a battery change",
]


@dataclass(frozen=True)
class Known:
    """A value with its standard deviation; ``sd`` 0 is exact."""

    value: float
    sd: float = 0.0


@dataclass(frozen=True)
class Car:
    """A car's description. ``None`` is unknown; the priors for it stand in ``finding``.

    ``displacement_l`` and ``metering`` are required. ``metering`` says how the controller
    measures its air: by an airflow meter or from manifold pressure. ``family`` is the path of the
    file of its engine family; a car file's is taken from where that file lies.

    ``banks`` 2 tells that a leak may be nearer to the bank whose trims were not recorded;
    ``turbocharged`` that what feeds the plate is not known under load unless a sensor tells it;
    ``ambient_air_temperature_c`` stands in for intake air whose temperature was not read, as well
    as its ``sd`` says. ``cylinders`` is for the job card alone: displacement tells the air.
    """

    displacement_l: Known
    metering: Metering
    cylinders: int | None = None
    banks: int | None = None
    throttle_bore_mm: Known | None = None
    idle_rpm: Known | None = None
    closed_throttle_position_pct: Known | None = None
    ethanol_pct: Known | None = None
    barometric_pressure_kpa: Known | None = None
    altitude_m: Known | None = None
    ambient_air_temperature_c: Known | None = None
    turbocharged: bool | None = None
    complaint: Complaint | None = None
    name: str | None = None
    family: str | None = None
    source: str = ""
