"""Which bit rate and which identifiers this car's CAN bus has, found by asking.

In the order of ISO 15765-4 (from memory): 500 kbit/s with 11-bit and with 29-bit identifiers, then
250 kbit/s with both. A wrong bit rate looks exactly like an empty bus, so silence at one only
means that the next is tried.
"""

from typing import get_args

from bellmouth.bus.can_link import CanLink
from bellmouth.bus.gathering import ADAPTER_MARGIN_S, P2_S
from bellmouth.bus.link import Losses
from bellmouth.bus.trouble import nobody_answers
from bellmouth.bus.wire import Wire
from bellmouth.j1979.addressing import Identifiers

__all__ = ["BIT_RATES", "detect"]

BIT_RATES = (500_000, 250_000)  # [bit/s]
_WITHOUT_BIT_RATE = frozenset({"virtual", "socketcan"})  # in-process; or set when it is brought up
_TRIES = 3  # of each combination, so that one lost frame hides nobody
# For wireless and other slow adapters; they are known by the first answer. Our choice. [s]
_LATE_MARGIN_S = 1.0
_WHO_IS_THERE = b"\x01\x00"  # every controller supports parameter 00


def detect(
    interface: str,
    channel: str | None,
    bitrate: int | None = None,
    *,
    margin_s: float = ADAPTER_MARGIN_S,
) -> CanLink:
    """Open the adapter and find out how the car talks.

    Parameters
    ----------
    interface, channel
        As ``python-can`` names them.
    bitrate
        The only bit rate to try, or None for all of :data:`BIT_RATES`. [bit/s]
    margin_s
        See :class:`bellmouth.bus.can_link.CanLink`. [s]

    Raises
    ------
    BusError
        If the adapter cannot be opened, or nobody answers at any combination.
    """
    rates: tuple[int | None, ...] = (bitrate,)
    if bitrate is None and interface not in _WITHOUT_BIT_RATE:
        rates = BIT_RATES
    heard = damaged = refused = 0
    wire = Wire(interface, channel, rates[0], Losses())
    for rate in rates:
        if wire.bitrate != rate:
            wire = Wire(interface, channel, rate, Losses())
        link = _identifiers(wire, margin_s)
        if link is not None:
            return link
        heard, damaged = heard + wire.heard, damaged + wire.losses.damaged
        refused += wire.refused + wire.errors  # nobody there took what was asked
        wire.close()
    raise nobody_answers(
        wire.where,
        _tried(rates),
        heard=heard,
        damaged=damaged,
        refused=refused,
        acknowledges=wire.acknowledges,
        given=bitrate is not None,
    )


def _identifiers(wire: Wire, margin_s: float) -> CanLink | None:
    for identifiers in get_args(Identifiers):
        link = CanLink(wire, identifiers, margin_s=margin_s)
        try:
            answered = _answers(link, margin_s)
        except BaseException:
            wire.close()
            raise
        if answered:
            link.start_counting()  # questions in the wrong tongue are no losses
            return link
    return None


def _answers(link: CanLink, margin_s: float) -> bool:
    """Whether anybody answers, and whether always late: then the link waits as long from here on.

    The first question is waited for longest, since nothing that was asked before can be taken for
    its answer. One late answer may be this machine's fault, two are the adapter's or the car's.
    """
    link.margin_s = max(margin_s, _LATE_MARGIN_S)
    took_s = _took(link)
    late_s = P2_S + margin_s
    if took_s is not None and took_s > late_s and (_took(link) or late_s) > late_s:
        return True
    link.margin_s = margin_s
    return took_s is not None or any(_took(link) is not None for _ in range(_TRIES - 1))


def _took(link: CanLink) -> float | None:
    """How long the first answer took, None where there is none. [s]"""
    exchange = link.exchange(_WHO_IS_THERE, expect=1)
    return min((one.received_s - exchange.sent_s for one in exchange.answers), default=None)


def _tried(rates: tuple[int | None, ...]) -> str:
    speeds = " and ".join(f"{rate / 1000:g}" for rate in rates if rate)
    at = f" at {speeds} kbit/s" if speeds else ""
    return f"tried 11-bit and 29-bit identifiers{at}"
