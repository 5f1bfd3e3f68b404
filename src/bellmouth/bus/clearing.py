"""Clearing codes (service 04): what would be lost, what speaks against it, and doing it.

It is the one request that changes anything in the car. It is sent only with the account of what
it loses in hand, and only while the car stands and the engine is off.
"""

from collections.abc import Collection

from bellmouth.bus.asking import Asker
from bellmouth.bus.reports import Cleared, Clearing, Codes, Controller, FreezeFrame
from bellmouth.bus.sampling import Sampler
from bellmouth.errors import BellmouthError, BusError
from bellmouth.j1979 import messages
from bellmouth.j1979.codes import MonitorStatus
from bellmouth.j1979.messages import Negative

__all__ = ["clear", "reasons_against", "what_would_be_lost"]

_ENGINE_SPEED, _ROAD_SPEED = 0x0C, 0x0D
_WARM_UPS, _DISTANCE = 0x30, 0x31
_TRIES = 4
_CODES_UNSAID = "The engine's controller does not say which codes it holds; try again."


def reasons_against(sampler: Sampler, supported: frozenset[int]) -> tuple[str, ...]:
    """Why nothing may be cleared now, one sentence each; empty when it may."""
    reasons = []
    speed = _value(sampler, _ENGINE_SPEED, "engine_speed")
    road = _value(sampler, _ROAD_SPEED, "vehicle_speed")
    if speed is None:
        reasons.append("The car does not say whether its engine runs; switch the ignition on.")
    elif speed > 0:
        reasons.append(
            f"The engine runs ({speed:.0f} rpm); stop it and leave the ignition switched on."
        )
    if road is None and _ROAD_SPEED in supported:
        reasons.append("The car does not say whether it stands; try again.")
    elif road:
        reasons.append(f"The car moves ({road:.0f} km/h); stop it, with the parking brake on.")
    return tuple(reasons)


def _value(sampler: Sampler, identifier: int, name: str) -> float | None:
    for _ in range(_TRIES):
        value = sampler.read((identifier,)).values.get(name)
        if value is not None:
            return value
    return None


def what_would_be_lost(
    sampler: Sampler,
    engine: Controller,
    codes: Codes,
    frames: tuple[FreezeFrame, ...],
    monitors: dict[int, MonitorStatus],
    everybody: Collection[int],
) -> Clearing:
    """Everything that a clear would lose, and what speaks against it now.

    ``everybody`` are the addresses of all controllers that answer. Nobody can give up what the
    engine's does not tell.
    """
    complete: dict[str, None] = {}
    for status in monitors.values():
        for name, state in status.monitors.items():
            if state == "supported complete":
                complete[name] = None
    counted = sampler.read([one for one in (_WARM_UPS, _DISTANCE) if one in engine.supported])
    untold = tuple(one for one in everybody if one not in codes.confirmed)
    unsaid = (_CODES_UNSAID,) if engine.address in untold else ()
    return Clearing(
        codes=codes,
        freeze_frames=frames,
        ready=tuple(complete),
        warm_ups=counted.values.get("warm_ups_since_codes_cleared"),
        distance_km=counted.values.get("distance_since_codes_cleared"),
        against=(*reasons_against(sampler, engine.supported), *unsaid),
        untold=untold,
    )


def clear(asker: Asker, sampler: Sampler, engine: Controller, confirmed: Clearing) -> Cleared:
    """Clear, unless something has come to speak against it.

    Raises
    ------
    BusError
        If the engine runs, the car moves or does not say, or no controller answers.
    """
    against = confirmed.against or reasons_against(sampler, engine.supported)
    if against:
        raise BusError(f"Nothing was cleared. {' '.join(against)}")
    cleared, refused = [], {}
    for answer in asker.clear().answers:
        try:
            reply = messages.decode_response(answer.payload)
        except BellmouthError:
            asker.malformed += 1
            continue
        if isinstance(reply, Negative):
            refused[answer.source] = reply.meaning
        else:
            cleared.append(answer.source)
    if not cleared and not refused:
        raise BusError(
            "Nobody answered the clear; read the codes again to see whether they are gone."
        )
    return Cleared(tuple(cleared), refused)
