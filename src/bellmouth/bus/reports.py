"""What a car said, as plain frozen objects: samples, codes, monitors, identity, silence."""

from collections.abc import Mapping
from dataclasses import dataclass, field

__all__ = [
    "Cleared",
    "Clearing",
    "Codes",
    "Controller",
    "FreezeFrame",
    "Identity",
    "Sample",
    "Silence",
]


@dataclass(frozen=True)
class Controller:
    """One controller that answered.

    Attributes
    ----------
    address
        Diagnostic address: 0x10 is usually the engine's.
    name
        What it calls itself (service 09 item 0A), or None where it does not say.
    supported
        Parameters of service 01 that it claims and has not refused since.
    """

    address: int
    name: str | None
    supported: frozenset[int]


@dataclass(frozen=True)
class Sample:
    """Values of one controller at one time.

    Attributes
    ----------
    time_s
        Middle between the moment the request was sent and the moment the answer was complete, on
        this machine's monotonic clock. [s]
    half_width_s
        The values were true somewhere within ``time_s`` plus or minus this. [s]
    source
        Address of the controller, or None when nobody answered.
    values
        Values by parameter's name, each in its unit; None where the car says "not available".
        Empty when nobody answered.
    missing
        Identifiers that were asked for and not given: no answer, left out, refused, or an answer
        that was not believed.
    """

    time_s: float
    half_width_s: float
    source: int | None
    values: Mapping[str, float | None]
    missing: tuple[int, ...] = ()


@dataclass(frozen=True)
class Silence:
    """The bus went quiet, as it does when the ignition is switched off.

    Attributes
    ----------
    last_answer_s
        When the last answer was complete, on this machine's monotonic clock. [s]
    first_unanswered_s
        When time ran out for the first request after it that nobody answered. [s]
    """

    last_answer_s: float
    first_unanswered_s: float

    @property
    def time_s(self) -> float:
        """Best guess of when it went quiet: the middle of the two. [s]"""
        return (self.last_answer_s + self.first_unanswered_s) / 2

    @property
    def half_width_s(self) -> float:
        """It went quiet within ``time_s`` plus or minus this. [s]"""
        return (self.first_unanswered_s - self.last_answer_s) / 2


@dataclass(frozen=True)
class Codes:
    """Trouble codes by controller's address.

    A controller that does not answer a service is left out of that mapping: silence is not "no
    codes".
    """

    confirmed: Mapping[int, tuple[str, ...]] = field(default_factory=dict)
    pending: Mapping[int, tuple[str, ...]] = field(default_factory=dict)
    permanent: Mapping[int, tuple[str, ...]] = field(default_factory=dict)

    @property
    def everything(self) -> tuple[str, ...]:
        """Every code once, in order of first mention."""
        found: dict[str, None] = {}
        for kind in (self.confirmed, self.pending, self.permanent):
            for codes in kind.values():
                found |= dict.fromkeys(codes)
        return tuple(found)


@dataclass(frozen=True)
class FreezeFrame:
    """What a controller saw when it set a code (service 02)."""

    source: int
    frame: int
    code: str
    values: Mapping[str, float | None]


@dataclass(frozen=True)
class Identity:
    """What one controller says of itself (service 09).

    Attributes
    ----------
    source
        Its address.
    vehicle_number
        The identification number, all but its first three and last two characters masked unless
        asked for in full; None where it does not say.
    calibrations
        Calibration identifications (item 04), one a calibration.
    verifications
        Calibration verification numbers (item 06), eight hexadecimal digits each.
    name
        The controller's name (item 0A).
    mark
        What tells the number from others where it is masked (`recording.of_car`); empty without
        one.
    """

    source: int
    vehicle_number: str | None
    calibrations: tuple[str, ...]
    verifications: tuple[str, ...]
    name: str | None
    mark: str = ""


@dataclass(frozen=True)
class Clearing:
    """What a clear would lose, read from the car just now, and what speaks against it.

    Attributes
    ----------
    codes, freeze_frames
        What the car holds.
    ready
        Names of the monitors that are complete now and would have to complete again.
    warm_ups, distance_km
        Since the codes were last cleared; None where the car does not say.
    against
        Why it must not be cleared now, one sentence each; empty when it may.
    untold
        Controllers that did not say which codes they hold: a clear goes to them all the same.
    """

    codes: Codes
    freeze_frames: tuple[FreezeFrame, ...]
    ready: tuple[str, ...]
    warm_ups: float | None
    distance_km: float | None
    against: tuple[str, ...]
    untold: tuple[int, ...] = ()


@dataclass(frozen=True)
class Cleared:
    """Which controllers cleared, and which refused and why."""

    cleared: tuple[int, ...]
    refused: Mapping[int, str]
