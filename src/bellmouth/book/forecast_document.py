"""A forecast as plain data, for the book itself and for other programs."""

from dataclasses import asdict
from datetime import date
from typing import Any

from bellmouth.book.forecast import Forecast

__all__ = ["forecast_document"]


def forecast_document(found: Forecast, *, curve: bool = True) -> dict[str, Any]:
    """Key by key as ``docs/forecast.md`` describes it; units stand in the keys."""
    document: dict[str, Any] = {
        "name": found.name,
        "advice": "inspect",
        "inspect_at_km": _rounded(asdict(found.inspect_at_km), 0),
        "inspect_on": None if found.inspect_on is None else _days(asdict(found.inspect_on)),
        "level_mm2": found.level_mm2,
        "deposit_mm2": _rounded(asdict(found.deposit_mm2), 3),
        "growth_mm2_in_10000_km": _rounded(asdict(found.growth_mm2), 3),
        "reached_probability": found.reached,
        "km_per_day": found.usage.km_per_day,
        "not_dirt": None if found.not_dirt is None else asdict(found.not_dirt),
        "cars_alike": found.alike,
        "visits": len(found.car.visits),
        "reasons": list(found.reasons),
    }
    if curve:
        document["curve"] = [
            {"km": km, "p05_mm2": a, "p25_mm2": b, "p50_mm2": c, "p75_mm2": d, "p95_mm2": e}
            for km, (a, b, c, d, e) in zip(found.curve.km, found.curve.deposit_mm2, strict=True)
        ]
    return document


def _rounded(span: dict[str, float], digits: int) -> dict[str, float]:
    return {key: round(value, digits) for key, value in span.items()}


def _days(span: dict[str, date]) -> dict[str, str]:
    return {key: value.isoformat() for key, value in span.items()}
