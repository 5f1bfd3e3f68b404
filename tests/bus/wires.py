"""Links to a stub car, to a peer and to a practice server, patient enough for a busy machine."""

import itertools
from collections.abc import Iterator
from contextlib import contextmanager

from bellmouth.bus.can_link import CanLink
from bellmouth.bus.detect import detect
from bellmouth.bus.link import Losses
from bellmouth.bus.wire import Wire
from bellmouth.j1979.addressing import Identifiers
from tests.bus.peer import Peer

__all__ = ["MARGIN_S", "channels", "link_to", "slcan_link"]

MARGIN_S = 0.5  # a busy machine is slower than any adapter
channels = itertools.count()


@contextmanager
def link_to(
    peer: Peer, identifiers: Identifiers = 11, margin_s: float = MARGIN_S
) -> Iterator[CanLink]:
    """A link on the peer's in-process bus."""
    link = CanLink(Wire("virtual", peer.channel, None, Losses()), identifiers, margin_s=margin_s)
    try:
        yield link
    finally:
        link.close()


@contextmanager
def slcan_link(channel: str, bitrate: int | None = None) -> Iterator[CanLink]:
    """A link through a serial-line adapter, found by itself."""
    link = detect("slcan", channel, bitrate, margin_s=MARGIN_S / 2)
    try:
        yield link
    finally:
        link.close()
