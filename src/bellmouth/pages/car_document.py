"""What a car reports, as plain data: the ``--json`` of ``codes``, ``monitors`` and ``clear``."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

from bellmouth.bus.code_meanings import meaning
from bellmouth.bus.link import Losses
from bellmouth.bus.readiness import Advice
from bellmouth.bus.reports import Codes, Controller, FreezeFrame, Identity
from bellmouth.j1979 import parameters
from bellmouth.j1979.codes import MonitorStatus

__all__ = ["codes_document", "losses_document", "monitors_document"]

Document = dict[str, Any]


def codes_document(
    controllers: Sequence[Controller],
    codes: Codes,
    frames: Sequence[FreezeFrame],
    identities: Sequence[Identity],
) -> Document:
    """Codes, freeze frame and identity by controller; what one does not answer is ``null``."""
    frozen = {frame.source: frame for frame in frames}
    known = {identity.source: identity for identity in identities}
    return {
        "controllers": [
            {
                "address": f"{one.address:02X}",
                "name": one.name,
                "confirmed": _codes(codes.confirmed, one.address),
                "pending": _codes(codes.pending, one.address),
                "permanent": _codes(codes.permanent, one.address),
                "freeze_frame": _frame(frozen.get(one.address)),
                **_identity(known.get(one.address)),
            }
            for one in controllers
        ]
    }


def _codes(found: Mapping[int, tuple[str, ...]], address: int) -> list[Document] | None:
    if address not in found:
        return None
    return [{"code": code, "meaning": meaning(code)} for code in found[address]]


def _frame(frame: FreezeFrame | None) -> Document | None:
    if frame is None:
        return None
    values = {
        name: {"value": value, "unit": parameters.unit_of(name)}
        for name, value in frame.values.items()
    }
    return {"code": frame.code, "frame": frame.frame, "values": values}


def _identity(identity: Identity | None) -> Document:
    if identity is None:
        return {}
    return {
        "vehicle_number": identity.vehicle_number,
        "calibrations": list(identity.calibrations),
        "verifications": list(identity.verifications),
    }


def monitors_document(monitors: Mapping[int, MonitorStatus], advice: Advice) -> Document:
    """Monitors by controller, and the advice."""
    return {
        "verdict": advice.verdict,
        "ready": advice.verdict == "go",
        "why": list(advice.why),
        "allowed_incomplete": advice.allowed,
        "missing": [
            {**asdict(one), "controller": f"{one.controller:02X}"} for one in advice.missing
        ],
        "local_law": advice.last_word,
        "controllers": [
            {
                "address": f"{address:02X}",
                "lamp_on": status.lamp_on,
                "code_count": status.code_count,
                "ignition": status.ignition,
                "monitors": dict(status.monitors),
            }
            for address, status in monitors.items()
        ],
    }


def losses_document(losses: Losses) -> Document:
    """Every loss by its kind, and what else was seen."""
    return asdict(losses)
