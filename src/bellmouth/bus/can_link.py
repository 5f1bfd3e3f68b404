"""ISO 15765-4: requests and answers over CAN, through ``python-can`` and an ISO-TP library."""

import threading
import time
from collections.abc import Callable
from contextlib import suppress

from bellmouth.bus.gathering import ADAPTER_MARGIN_S, Gathering
from bellmouth.bus.link import Answer, Exchange, Losses
from bellmouth.bus.matching import fits, is_refusal
from bellmouth.bus.segments import MARGIN_S, N_CR_S, PADDING, Assembly
from bellmouth.bus.trouble import stays_away
from bellmouth.bus.wire import Frame, Wire, WireLostError
from bellmouth.errors import BusError
from bellmouth.j1979.addressing import (
    Identifiers,
    address_of,
    functional_id,
    physical_id,
)

__all__ = ["CanLink"]

_SINGLE_FRAME_BYTES = 7  # no request of SAE J1979 is longer
_SETTLE_S = 0.15  # quiet for so long, and nothing that was asked before is still on its way
_SETTLE_AT_MOST_S = 1.0
_LONGEST_MESSAGE_S = 5.0  # whoever still sends frames of one message then, never ends
_STRIKES = 3  # refused by the adapter so often in a row: it has lost the bus
_PAUSES_S = (0.05, 0.1, 0.2, 0.5)  # between attempts to reopen; the last one repeats


class CanLink:
    """A car on CAN; see :class:`bellmouth.bus.link.Link` and
    :class:`bellmouth.bus.link.Onward`.

    Parameters
    ----------
    wire
        The open adapter.
    identifiers
        Size of the identifiers the car listens on.
    margin_s
        What the adapter may add to the standard's time for an answer. [s]
    patience_s
        How long an adapter that went away is tried again before :class:`BusError`. [s]
    """

    def __init__(
        self,
        wire: Wire,
        identifiers: Identifiers,
        *,
        margin_s: float = ADAPTER_MARGIN_S,
        patience_s: float = 10.0,
    ) -> None:
        self._wire = wire
        self.margin_s = margin_s
        self._identifiers = identifiers
        self._patience_s = patience_s
        self._assemblies: dict[int, Assembly] = {}
        self._lock = threading.Lock()
        self._is_uneasy = False
        self._strikes = 0
        self._begun: Gathering | None = None
        self._last: Gathering | None = None
        self._of_all: set[int] = set()  # who does not hear its own address
        self.when_away: Callable[[bool], None] | None = None

    @property
    def description(self) -> str:
        """Which standard at which speed."""
        rate = self._wire.bitrate
        speed = f"{rate / 1000:g} kbit/s" if rate else "bit rate as the adapter is set"
        return f"ISO 15765-4, {self._identifiers}-bit, {speed}"

    @property
    def losses(self) -> Losses:
        """Counted since the link was opened."""
        return self._wire.losses

    def exchange(
        self, payload: bytes, to: int | None = None, *, expect: int | None = None
    ) -> Exchange:
        """Send a request and gather the answers; see :class:`bellmouth.bus.link.Link`.

        Raises
        ------
        BusError
            If the adapter went away and stays away, or the request does not fit one frame.
        """
        return self._exchange(payload, to, expect, None)

    def exchange_onward(self, payload: bytes, to: int, then: bytes) -> Exchange:
        """Exchange, and send the next request as soon as the answer is in: see :class:`Onward`.

        The controller works on that while the caller works on the answer.

        Raises
        ------
        BusError
            As :meth:`exchange` does.
        """
        return self._exchange(payload, to, 1, then)

    def _exchange(
        self, payload: bytes, to: int | None, expect: int | None, then: bytes | None
    ) -> Exchange:
        for one in (payload,) if then is None else (payload, then):
            if not 0 < len(one) <= _SINGLE_FRAME_BYTES:
                raise BusError(f"A request of {len(one)} bytes cannot be asked; it has 1 to 7.")
        with self._lock:
            gathered = self._finish(payload, to, then) or self._whole(payload, to, expect, then)
        return Exchange(gathered.sent_s, tuple(gathered.answers.values()))

    def ask_of_all(self, address: int) -> None:
        """See :class:`bellmouth.bus.link.Addressing`."""
        self._of_all.add(address)

    def _finish(self, payload: bytes, to: int | None, then: bytes | None) -> Gathering | None:
        """What was begun, if that is what is wanted now; else it is got out of the way."""
        begun, self._begun = self._begun, None
        if begun is None:
            return None
        is_wanted = (begun.request, begun.to) == (payload, to)
        gathered = self._watched(lambda: self._gather(begun, then if is_wanted else None), begun)
        return gathered if is_wanted else None

    def _whole(
        self, payload: bytes, to: int | None, expect: int | None, then: bytes | None
    ) -> Gathering:
        """Send a request and gather its answers."""

        def ask() -> Gathering:
            self._settle()
            return self._gather(self._request(payload, to, expect), then)

        return self._watched(ask, self._gathering(payload, to, expect))

    def _watched(self, work: Callable[[], Gathering], without: Gathering) -> Gathering:
        """What comes of some work, judged; nothing comes of it where the adapter went away."""
        before = self._wire.refused
        try:
            gathered = work()
        except WireLostError:
            gathered = without
            gathered.answers.clear()
            self._recover()
        self._judge(gathered, refused=self._wire.refused > before)
        return gathered

    def _request(self, payload: bytes, to: int | None, expect: int | None) -> Gathering:
        gathered = self._last = self._gathering(payload, to, expect)
        gathered.of_all = to in self._of_all
        ids = self._identifiers
        own = None if gathered.of_all else to
        identifier = functional_id(ids) if own is None else physical_id(own, ids)
        data = bytes((len(payload),)) + payload
        self._send(identifier, data.ljust(8, bytes((PADDING,))))
        return gathered

    def _gather(self, gathered: Gathering, then: bytes | None = None) -> Gathering:
        """Wait for the answers; ``then`` goes out once there is one and nothing more is wanted."""
        heard_s = gathered.sent_s
        while not gathered.is_complete:
            left = 0.0  # what has arrived is taken, however late it is fetched
            if self._wire.next_identifier is None:
                left = max(self._deadline_s(gathered, heard_s) - time.monotonic(), 0.0)
            frame = self._wire.receive(left)
            if frame is None:
                self._tick()
                if left <= 0:
                    break
                continue
            # Of a message's last frame, the next request goes out before the library sees it.
            is_last = then is not None and self._is_last(frame, gathered, heard_s)
            heard_s = frame.at_s
            if is_last and then is not None:
                self._begin(then, gathered.to)
            answer = self._assemble(frame)
            if answer is not None:
                gathered.take(answer)
            elif is_last:
                break  # whole, and yet not: what comes now belongs to the next request
        if then is not None and gathered.is_complete and self._begun is None and self._is_ready():
            self._begin(then, gathered.to)
        return gathered

    def _is_last(self, frame: Frame, gathered: Gathering, heard_s: float) -> bool:
        """Whether a frame surely ends the answer that is waited for, and nobody else speaks."""
        source = self._source(frame)
        assembly = None if source is None else self._assemblies.get(source)
        return (
            assembly is not None
            and assembly.completes(frame.data)
            and source == gathered.to
            and frame.at_s - heard_s < N_CR_S
            and fits(gathered.request, assembly.head)
            and self._is_ready(but=assembly)
        )

    def _is_ready(self, but: Assembly | None = None) -> bool:
        """Whether another request may go out: no trouble, and no message is under way."""
        speaks = (one.is_receiving for one in self._assemblies.values() if one is not but)
        return not self._is_uneasy and not any(speaks)

    def _begin(self, payload: bytes, to: int | None) -> None:
        """Send a request whose answer the next exchange gathers."""
        with suppress(WireLostError):  # the next exchange meets it again, and recovers
            self._begun = self._request(payload, to, 1)

    def _deadline_s(self, gathered: Gathering, heard_s: float) -> float:
        if not self._is_receiving:
            return gathered.deadline_s
        more = min(heard_s, gathered.sent_s + _LONGEST_MESSAGE_S) + N_CR_S + MARGIN_S
        return max(gathered.deadline_s, more)

    def _gathering(self, payload: bytes, to: int | None, expect: int | None) -> Gathering:
        now = time.monotonic()
        return Gathering(payload, now, to, expect, self.losses, self.margin_s)

    def _send(self, identifier: int, data: bytes) -> None:
        self._wire.send(identifier, data, extended=self._identifiers == 29)

    def _assemble(self, frame: Frame) -> Answer | None:
        source = self._source(frame)
        if source is None:
            return None
        if source not in self._assemblies:
            self._assemblies[source] = Assembly(source, self._identifiers, self._send, self.losses)
        more = self._wire.next_identifier == frame.identifier
        whole = self._assemblies[source].feed(frame.data, more=more)
        return None if whole is None else Answer(source, whole, frame.at_s)

    @property
    def _is_receiving(self) -> bool:
        return any(one.is_receiving for one in self._assemblies.values())

    def _source(self, frame: Frame) -> int | None:
        if frame.extended != (self._identifiers == 29):
            return None
        return address_of(frame.identifier, extended=frame.extended)

    def _tick(self) -> None:
        for one in self._assemblies.values():
            one.tick()

    def start_counting(self) -> None:
        """Let whatever is under way arrive, and count losses from here on.

        Raises
        ------
        BusError
            If the adapter went away and stays away.
        """
        with self._lock:
            self._begun = None
            self._is_uneasy = True
            try:
                self._settle()
            except WireLostError:
                self._recover()
            self.losses.unanswered = self.losses.stray = 0

    def _settle(self) -> None:
        """Throw away what came unasked; after trouble, wait until nothing more comes.

        A belated message of several frames is taken in whole: a controller that is left waiting
        for flow control cannot hear the next request.
        """
        now, waits = time.monotonic(), self._is_uneasy or self._is_receiving
        until, at_most = now + (_SETTLE_S if waits else 0.0), now + _SETTLE_AT_MOST_S
        while True:
            frame = self._wire.receive(min(until, at_most) - time.monotonic())
            if time.monotonic() >= (at_most if frame is not None else min(until, at_most)):
                break
            if frame is None:
                continue
            if self._source(frame) is not None:
                self.losses.stray += self._is_stray(self._assemble(frame))
                if self._is_uneasy or self._is_receiving:
                    until = frame.at_s + _SETTLE_S
        for one in self._assemblies.values():
            one.forget()
        self._is_uneasy = False

    def _is_stray(self, answer: Answer | None) -> bool:
        """Whether what came after the answer is a whole message that nobody asked for."""
        is_others = answer and self._last and self._last.is_of_another(answer)
        return answer is not None and not is_others

    def _judge(self, gathered: Gathering, *, refused: bool) -> None:
        """Count what is missing; an adapter that refuses again and again is opened anew."""
        self.losses.refused += sum(is_refusal(a.payload) for a in gathered.answers.values())
        if gathered.is_complete or (gathered.answers and gathered.expect is None):
            self._strikes = 0
            return
        self.losses.unanswered += 1
        self._is_uneasy = True
        self._strikes = self._strikes + 1 if refused else 0
        if self._strikes >= _STRIKES:
            self._strikes = 0
            self._recover()

    def _recover(self) -> None:
        """Open the adapter again, with longer and longer pauses, as long as patience lasts."""
        until = time.monotonic() + self._patience_s
        attempt = 0
        while True:
            try:
                self._wire.reopen()
            except BusError as failure:
                if self.when_away is not None:
                    self.when_away(True)
                if time.monotonic() >= until:
                    raise stays_away(self._wire.where) from failure
                time.sleep(_PAUSES_S[min(attempt, len(_PAUSES_S) - 1)])
                attempt += 1
            else:
                break
        if self.when_away is not None:
            self.when_away(False)
        self.losses.reopened += 1
        self._begun = None
        self._is_uneasy = True

    def keep_alive(self) -> None:
        """Nothing: CAN has no session to keep up."""

    def close(self) -> None:
        """Let go of the adapter."""
        with self._lock:
            self._wire.close()
