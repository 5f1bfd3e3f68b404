"""Open a car by the names that users know: ``--interface``, ``--channel``, ``--bitrate``."""

from typing import TYPE_CHECKING

from bellmouth.bus.client import Client
from bellmouth.bus.link import Link
from bellmouth.errors import BusError

if TYPE_CHECKING:
    from bellmouth.bus.can_link import CanLink

__all__ = ["KLINE", "open_client", "open_link"]

KLINE = "kline"


def open_link(interface: str, channel: str | None, bitrate: int | None = None) -> Link:
    """A link to the car; see :func:`open_client`."""
    if interface != KLINE:
        from bellmouth.bus.detect import detect  # noqa: PLC0415 - loads the CAN libraries

        found: CanLink = detect(interface, channel, bitrate)
        return found
    if not channel:
        raise BusError("kline: --channel is missing; give the serial port, such as /dev/ttyUSB0.")
    if bitrate is not None:
        raise BusError("kline: --bitrate is for CAN; leave it out, the K line has its own speed.")
    from bellmouth.bus.kline import open_kline  # noqa: PLC0415 - loads the serial library

    return open_kline(channel)


def open_client(interface: str, channel: str | None, bitrate: int | None = None) -> Client:
    """A conversation with the car.

    Parameters
    ----------
    interface
        Any interface of ``python-can``'s (``slcan``, ``socketcan``, ``virtual`` …), or ``kline``
        for an older car on a serial K line.
    channel
        Port, device or address, as that interface wants it.
    bitrate
        Of the CAN bus, or None to have it found. [bit/s]

    Raises
    ------
    BusError
        If there is no such adapter, it may not be used, or nobody answers.
    """
    link = open_link(interface, channel, bitrate)
    try:
        return Client(link)
    except BaseException:
        link.close()
        raise
