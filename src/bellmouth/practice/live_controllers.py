"""The live practice car's two controllers: the engine's, and the gearbox's beside it."""

from collections.abc import Callable, Collection, Mapping, Sequence

from bellmouth.j1979 import parameters
from bellmouth.j1979.codes import encode_monitor_status
from bellmouth.j1979.messages import Service
from bellmouth.practice.identity import Identity
from bellmouth.practice.live_values import LiveValues
from bellmouth.practice.trouble import Trouble

__all__ = ["EngineController", "GearboxController", "information"]

_FROZEN_NAMES = (
    "fuel_system_status", "calculated_load", "engine_coolant_temperature",
    "short_term_fuel_trim_bank_1", "long_term_fuel_trim_bank_1", "short_term_fuel_trim_bank_2",
    "long_term_fuel_trim_bank_2", "intake_manifold_pressure", "engine_speed", "vehicle_speed",
    "mass_air_flow", "throttle_position", "time_since_engine_start", "control_module_voltage",
)  # fmt: skip
_STATUS, _STATUS_TRIP = 0x01, 0x41


def information(identity: Identity) -> dict[int, bytes]:
    """Items of service 09: number (02), calibration (04), its verification (06), name (0A)."""
    items = {
        0x04: identity.calibration.encode().ljust(16, b"\0"),
        0x06: identity.verification,
        0x0A: identity.name.encode().ljust(20, b"\0"),
    }
    if identity.vehicle_number is not None:
        items[0x02] = identity.vehicle_number.encode()
    return items


class EngineController:
    """What the engine's controller has to tell.

    Parameters
    ----------
    values, trouble, identity
        Where it has it from.
    lamp
        Whether the lamp is commanded on at this instant.
    may_clear, cleared
        Whether codes may be cleared now, and what else is forgotten then.
    """

    def __init__(
        self,
        values: LiveValues,
        trouble: Trouble,
        identity: Identity,
        lamp: Callable[[], bool],
        may_clear: Callable[[], bool],
        cleared: Callable[[], None],
    ) -> None:
        self._values, self._trouble = values, trouble
        self._information = information(identity)
        self._lamp, self._may_clear, self._cleared = lamp, may_clear, cleared
        by_name = {parameters.by_name(name).identifier for name in values.names}
        counted = {parameters.by_name(name).identifier for name in trouble.counters()}
        self._identifiers = frozenset(by_name | counted | {_STATUS, _STATUS_TRIP})

    def identifiers(self) -> Collection[int]:
        """Parameters of service 01 that it reports."""
        return self._identifiers

    def encoded(self, identifier: int) -> bytes:
        """Data bytes of one of them, as it is now."""
        if identifier == _STATUS:
            return encode_monitor_status(self._trouble.status(lamp=self._lamp()))
        if identifier == _STATUS_TRIP:
            return encode_monitor_status(self._trouble.status_this_trip())
        name = parameters.by_identifier(identifier)[0].name
        counters = self._trouble.counters()
        if name in counters:
            return parameters.encode(identifier, {name: counters[name]})
        return self._values.encoded(identifier)

    def freeze(self) -> dict[int, bytes]:
        """Data bytes by identifier, to be kept with a code."""
        has = [name for name in _FROZEN_NAMES if name in self._values.names]
        wanted = dict.fromkeys(parameters.by_name(name).identifier for name in has)
        return {one: self._values.encoded(one) for one in wanted}

    def frozen(self) -> tuple[str | None, Mapping[int, bytes]]:
        """Code that froze the frame, and the frame."""
        return self._trouble.freeze_code, self._trouble.freeze_frame

    def codes(self, service: Service) -> Sequence[str]:
        """Confirmed, pending or permanent codes."""
        kinds = {
            Service.CONFIRMED_CODES: self._trouble.confirmed,
            Service.PENDING_CODES: self._trouble.pending,
            Service.PERMANENT_CODES: self._trouble.permanent,
        }
        return kinds[service]

    def information(self) -> Mapping[int, bytes]:
        """Items of service 09."""
        return self._information

    def clear(self) -> bool:
        """Clear, unless the engine runs."""
        if not self._may_clear():
            return False
        self._trouble.clear()
        self._cleared()
        return True


class GearboxController:
    """What the gearbox's controller has to tell: a little, and its own idea of engine speed."""

    _NAMES = (
        "engine_coolant_temperature",
        "engine_speed",
        "vehicle_speed",
        "control_module_voltage",
    )

    def __init__(
        self,
        values: LiveValues,
        identity: Identity,
        codes: Sequence[str],
        may_clear: Callable[[], bool],
    ) -> None:
        self._values, self._information = values, information(identity)
        self._may_clear = may_clear
        self._confirmed = list(codes)
        named = {parameters.by_name(name).identifier for name in self._NAMES}
        self._identifiers = frozenset(named | {_STATUS})

    def identifiers(self) -> Collection[int]:
        """Parameters of service 01 that it reports."""
        return self._identifiers

    def encoded(self, identifier: int) -> bytes:
        """Data bytes of one of them, as it is now."""
        if identifier == _STATUS:
            count = len(self._confirmed)
            return bytes((count, 0x04, 0, 0))  # comprehensive components alone, complete
        row = parameters.by_identifier(identifier)[0]
        value = self._values.value(row.name)
        if row.name == "engine_speed" and value > 0.0:
            # It counts turns at the converter: other teeth, other filter, some rpm away.
            value = max(value * 1.004 - 3.0, 0.0)
        return parameters.encode(identifier, {row.name: value})

    def frozen(self) -> tuple[str | None, Mapping[int, bytes]]:
        """It freezes nothing."""
        return None, {}

    def codes(self, service: Service) -> Sequence[str]:
        """Confirmed codes; it has no others."""
        return self._confirmed if service == Service.CONFIRMED_CODES else ()

    def information(self) -> Mapping[int, bytes]:
        """Items of service 09."""
        return self._information

    def clear(self) -> bool:
        """Clear, unless the engine runs."""
        if not self._may_clear():
            return False
        self._confirmed = []
        return True
