"""Which wire a practice car hangs on, and what a client has to be told to reach it."""

from dataclasses import dataclass, field
from typing import Protocol

from bellmouth.errors import BusError
from bellmouth.j1979.addressing import Identifiers
from bellmouth.practice.answering import Answering
from bellmouth.practice.faulty import Disturbance
from bellmouth.practice.slcan import BIT_RATES

__all__ = ["Served", "WireChoice", "serve"]

_IN_PROCESS = "virtual"
_TO_MANY = "udp_multicast"  # goes out to whoever listens on the network


class Served(Protocol):
    """A car on a wire. ``interface`` and ``channel`` are what a client is told."""

    @property
    def interface(self) -> str:
        """``slcan``, ``kline`` or another of ``python-can``'s."""
        ...

    @property
    def channel(self) -> str:
        """Address of the wire."""
        ...

    @property
    def failure(self) -> BusError | None:
        """Why it serves no longer; None while it does."""
        ...

    def close(self) -> None:
        """Stop serving."""
        ...


@dataclass(frozen=True)
class WireChoice:
    """Where a practice car listens: SLCAN on loopback TCP unless something else is chosen.

    Attributes
    ----------
    port
        TCP port for SLCAN; None or 0 picks a free one.
    pty, kline
        SLCAN, or the K line, on a pseudo-terminal.
    interface, channel
        A bus of ``python-can``'s that other programs reach, such as socketcan and vcan0.
    bit_rate, identifiers
        Of the car's CAN bus; ``bit_rate`` None is 500 kbit/s, or as the interface is set.
    disturbance
        How bad the wire is.
    """

    port: int | None = None
    pty: bool = False
    kline: bool = False
    interface: str | None = None
    channel: str | None = None
    bit_rate: int | None = None
    identifiers: Identifiers = 11
    disturbance: Disturbance | None = field(default=None, compare=False)

    def __post_init__(self) -> None:
        chosen = {
            "--port": self.port is not None, "--pty": self.pty, "--kline": self.kline,
            "--interface": self.interface is not None,
        }  # fmt: skip
        names = [name for name, given in chosen.items() if given]
        if len(names) > 1:
            raise BusError(f"{' and '.join(names)}: a practice car hangs on one wire; choose one.")
        if (self.interface is None) != (self.channel is None):
            raise BusError("--interface and --channel go together, such as socketcan and vcan0.")
        if self.interface == _IN_PROCESS:
            raise BusError(
                "The interface virtual stays inside one program, so no other could reach this "
                "car; use --port or --pty."
            )
        if self.interface == _TO_MANY:
            raise BusError(
                f"The interface {_TO_MANY} sends to other machines; a practice car stays on this "
                "one. Use --port or --pty."
            )
        if self.kline and self.bit_rate is not None:
            raise BusError("--bitrate is for CAN; leave it out, the K line has its own speed.")
        rates = BIT_RATES.values()
        if self.interface is None and self.bit_rate is not None and self.bit_rate not in rates:
            raise BusError(
                f"--bitrate {self.bit_rate}: a serial-line adapter has no such speed; use one of "
                f"{', '.join(str(rate) for rate in rates)}."
            )


def serve(car: Answering, choice: WireChoice) -> Served:
    """Hang a car on the chosen wire and serve it until closed.

    Raises
    ------
    BusError
        If the wire may not be had.
    """
    if choice.kline:
        from bellmouth.practice.kline import KLineServer  # noqa: PLC0415

        return KLineServer(car, disturbance=choice.disturbance)
    if choice.interface is not None and choice.channel is not None:
        from bellmouth.practice.virtual import BusServer  # noqa: PLC0415

        return BusServer(
            car,
            interface=choice.interface,
            channel=choice.channel,
            bit_rate=choice.bit_rate,
            identifiers=choice.identifiers,
            disturbance=choice.disturbance,
        )
    from bellmouth.practice.server import SlcanServer  # noqa: PLC0415

    return SlcanServer(
        car,
        port=choice.port or 0,
        pty=choice.pty,
        bit_rate=choice.bit_rate or 500_000,
        identifiers=choice.identifiers,
        disturbance=choice.disturbance,
    )
