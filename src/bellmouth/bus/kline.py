"""Link to an older car over the K line: ISO 14230-4, fast or slow start, sessions kept alive.

Payloads are in the form of CAN, as everywhere in :mod:`bellmouth.bus`; the K line's own is joined
and turned here (:mod:`bellmouth.j1979.kline_messages`). A frame whose checksum or length is wrong
is counted as damaged and spoils its whole exchange: no value of it is handed on.
"""

from collections.abc import Callable
from typing import TYPE_CHECKING, Literal

from bellmouth.bus.kline_gathering import KLineGathering, tells
from bellmouth.bus.kline_wire import Wake, Wire, open_port
from bellmouth.bus.link import Answer, Exchange, Losses, Woken
from bellmouth.bus.trouble import stays_away
from bellmouth.errors import BellmouthError, BusError
from bellmouth.j1979.iso14230 import (
    EVERY_CONTROLLER,
    START_COMMUNICATION,
    STOP_COMMUNICATION,
    TESTER,
    TESTER_PRESENT,
    TIMING,
    KeyBytes,
    Message,
    Timing,
)
from bellmouth.j1979.kline_messages import hides_losses, join_replies, split_request
from bellmouth.j1979.messages import NEGATIVE, Service

if TYPE_CHECKING:
    from collections.abc import Iterator

__all__ = ["KLineLink", "open_kline"]

_WHO_IS_THERE = b"\x01\x00"
_MONITOR_STATUS = b"\x01\x01"
_COUNT = 0x7F  # of confirmed codes, in its first byte
_SURE = 4  # the same answer so many times running; at one message in a hundred lost, 1 in 10^8
_MOST_REPEATS = 8
_PAUSE_S = 0.2  # between attempts to open the port again
_HEARD_AGAIN = "session started again"


def open_kline(
    channel: str,
    *,
    wake: Wake = "auto",
    timing: Timing = TIMING,
    slack_s: float = 0.1,
    patience_s: float = 10.0,
) -> "KLineLink":
    """Open a serial device and start a session, the fast way first, then the slow one.

    Parameters
    ----------
    channel
        Such as ``/dev/ttyUSB0``, or a practice car's pseudo-terminal.
    wake, timing, slack_s
        See :class:`bellmouth.bus.kline_wire.Wire`.
    patience_s
        See :class:`KLineLink`. [s]

    Raises
    ------
    BusError
        If the device cannot be opened, nobody answers, or the car speaks something else.
    """
    wire = Wire(open_port(channel), channel, wake=wake, timing=timing, slack_s=slack_s)
    try:
        return KLineLink(wire, patience_s=patience_s)
    except BaseException:
        wire.close()
        raise


class KLineLink:
    """A session on a K line; implements :class:`bellmouth.bus.link.Link`.

    ``most_parameters`` is how many parameters one request can hold. A request with more is asked
    one by one, and each comes back as an answer of its own with its own time. ``is_checked``: every
    message carries a checksum.

    Parameters
    ----------
    wire
        The open port.
    patience_s
        How long an adapter that went away is tried again before :class:`BusError`. [s]

    Raises
    ------
    BusError
        If nobody answers, or the car speaks something else.
    """

    most_parameters = 1
    is_checked = True

    def __init__(self, wire: Wire, *, patience_s: float = 10.0) -> None:
        self._wire = wire
        self._patience_s = patience_s
        self._clock: Callable[[], float] = wire.clock
        self._losses = Losses()
        self.when_away: Callable[[bool], None] | None = None
        self._last_s = -float("inf")  # when the line last carried anything of this session
        self._session: Literal["up", "doubtful", "down"] = "down"
        self._woken: Woken | None = None
        self._asleep_s = -float("inf")  # when a try to wake the car began that nobody heard
        self._fast = True
        self._controllers: int | None = None  # how many, where that has been told
        self._alone: dict[int, bool] = {}  # who hears what is asked of its own address
        try:
            is_up = self._start()
        except OSError as error:  # pyserial's errors are among them
            raise stays_away(wire.where) from error
        self._woken = None  # it was awake before anybody asked
        if not is_up:
            raise BusError(
                f"{wire.where}: nobody answers, neither to the fast start nor to the slow one; "
                "switch the ignition on, check the plug at the car, or try CAN."
            )

    @property
    def description(self) -> str:
        """Which standard at which speed."""
        way = "fast" if self._fast else "slow"
        return f"ISO 14230-4, {way} start, 10.4 kbit/s"

    @property
    def losses(self) -> Losses:
        """Counted since the link was opened."""
        return self._losses

    @property
    def woken(self) -> Woken | None:
        """See :class:`bellmouth.bus.link.Wakeful`."""
        return self._woken

    def exchange(
        self, payload: bytes, to: int | None = None, *, expect: int | None = None
    ) -> Exchange:
        """Send a request and gather the answers; see :class:`bellmouth.bus.link.Link`.

        Raises
        ------
        BusError
            If the adapter went away and stays away.
        """
        sent_s, answers = self._clock(), list[Answer]()
        try:
            for number, part in enumerate(split_request(payload)):
                exchange = self._ask_surely(part, to, expect)
                sent_s = sent_s if number else exchange.sent_s
                answers += exchange.answers
        except OSError:
            self._losses.unanswered += 1
            self._recover()
        if payload == _WHO_IS_THERE and to is None and expect is None:
            self._controllers = max(self._controllers or 0, len(answers)) or None
        return Exchange(sent_s, tuple(answers))

    def keep_alive(self) -> None:
        """Say that the tester is still there, where the line has been still for half of P3.

        Raises
        ------
        BusError
            If the adapter went away and stays away.
        """
        if self._clock() - self._last_s > self._wire.timing.request_most / 2:
            try:
                if self._session == "up" and not self._is_heard():
                    self._session = "doubtful"
            except OSError:
                self._recover()

    def close(self) -> None:
        """End the session and let go of the port."""
        try:
            if self._session != "down":
                self._ask(bytes((STOP_COMMUNICATION,)), None, self._controllers)
        except (BellmouthError, OSError):
            pass  # the port is closed all the same, and the car ends the session by itself
        finally:
            self._wire.close()

    def _recover(self) -> None:
        """Open the port again, as long as patience lasts; the session starts with what is next."""
        self._session = "down"
        until = self._clock() + self._patience_s
        while True:
            try:
                self._wire.reopen()
            except BusError as failure:
                if self.when_away is not None:
                    self.when_away(True)
                if self._clock() >= until:
                    raise stays_away(self._wire.where) from failure
                self._wire.sleep_until(self._clock() + _PAUSE_S)
            else:
                if self.when_away is not None:
                    self.when_away(False)
                self._losses.reopened += 1
                return

    def _start(self) -> bool:
        """Wake the car: the fast way, then the slow one; later the one that worked."""
        first = self._last_s == -float("inf")
        if (first or self._fast) and self._start_fast():
            self._fast = True
        elif (first or not self._fast) and self._start_slowly():
            self._fast = False
        else:
            return False
        self._last_s = self._clock()
        self._session = "up"
        return True

    def _start_fast(self) -> bool:
        began_s, spoilt = self._wire.wake_fast(), self._losses.total()
        # Who takes up a pulse has seen all of its low part.
        low_s = self._wire.timing.fast_low
        awake_s = self._clock() if began_s is None else began_s + low_s
        start = bytes((START_COMMUNICATION,))
        exchange = self._ask(start, None, self._controllers, woken=True)
        keys = [KeyBytes(*a.payload[1:3]) for a in exchange.answers if len(a.payload) == 3]
        for key in keys:
            self._check(key)
        self._controllers = len(keys) or self._controllers
        whole = began_s is not None and self._losses.total() == spoilt
        self._tried(began_s if whole else None, awake_s, heard=bool(keys))
        return bool(keys)

    def _start_slowly(self) -> bool:
        began_s = self._clock()
        keys = self._wire.wake_slowly(EVERY_CONTROLLER)
        if keys is not None:
            self._check(keys)
        self._tried(began_s, self._clock(), heard=keys is not None)
        return keys is not None

    def _tried(self, began_s: float | None, awake_s: float, *, heard: bool) -> None:
        """It was tried to wake the car from one time to another, and whether it came to. [s]"""
        if heard:
            self._woken = Woken(self._asleep_s, awake_s)
            began_s = None
        self._asleep_s = -float("inf") if began_s is None else began_s

    def _check(self, keys: KeyBytes) -> None:
        if not keys.is_iso_14230:
            spoken = "ISO 9141-2" if keys.is_iso_9141 else "something else"
            raise BusError(
                f"{self._wire.where}: this car's key bytes are {keys.first:02X} "
                f"{keys.second:02X}; it speaks {spoken}, not ISO 14230-4, and cannot be read here."
            )

    def _is_up(self) -> bool:
        """Whether there is a session, started again where it has run out."""
        if self._clock() - self._last_s > self._wire.timing.request_most:
            self._session = "down"
        elif self._session == "doubtful":
            self._session = "up" if self._is_heard() else "down"
        if self._session == "up":
            return True
        if self._start():
            self._losses.seen[_HEARD_AGAIN] = self._losses.seen.get(_HEARD_AGAIN, 0) + 1
            return True
        return False

    def _is_heard(self) -> bool:
        # Whoever refuses to be told that we are here has heard it all the same.
        return bool(self._ask(bytes((TESTER_PRESENT,)), None, self._controllers).answers)

    def _ask_surely(self, request: bytes, to: int | None, expect: int | None) -> Exchange:
        """Ask; where a lost message would not show, ask until the answer is sure."""
        if not self._is_up():
            self._losses.unanswered += 1
            return Exchange(self._clock(), ())
        exchange = self._ask(request, to, expect)
        if exchange.answers and hides_losses(request):
            exchange = Exchange(exchange.sent_s, self._make_sure(request, to, expect, exchange))
        wanted = 1 if to is not None or expect is None else expect
        if len(exchange.answers) < wanted:
            self._losses.unanswered += 1
        if not exchange.answers:
            self._session = "doubtful"
        return exchange

    def _make_sure(
        self, request: bytes, to: int | None, expect: int | None, first: Exchange
    ) -> tuple[Answer, ...]:
        """Answers that are right by the car's own count, or were the same several times running."""
        found = {answer.source: (answer, self._worth(request, answer)) for answer in first.answers}
        for _ in range(_MOST_REPEATS):
            if all(times >= _SURE for _, times in found.values()):
                break
            for answer in self._ask(request, to, expect).answers:
                before, times = found.get(answer.source, (None, 0))
                if before is not None and before.payload == answer.payload:
                    found[answer.source] = (before, times + 1)
                    continue
                self._losses.cut += before is not None
                found[answer.source] = (answer, self._worth(request, answer))
        sure = tuple(answer for answer, times in found.values() if times >= _SURE)
        self._losses.cut += len(found) - len(sure)
        return sure

    def _worth(self, request: bytes, answer: Answer) -> int:
        """How many times the same an answer counts: enough at once, where the car's count agrees.

        Parameter 01 holds the number of confirmed codes.
        """
        if answer.payload[0] == NEGATIVE:
            return _SURE
        if request[0] != Service.CONFIRMED_CODES:
            return 1
        counted = self._ask(_MONITOR_STATUS, answer.source, 1).answers
        agrees = any(
            len(one.payload) == 6 and one.payload[2] & _COUNT == answer.payload[1]
            for one in counted
        )
        return _SURE if agrees else 1

    def _ask(
        self, request: bytes, to: int | None, expect: int | None, *, woken: bool = False
    ) -> Exchange:
        """One request and its answers, once.

        ISO 14230-4 has every question go to all (from memory), and some controllers hear no other.
        Where there are several, the answers of the rest take time: one that is found to hear its
        own address is asked by that.
        """
        if to is None or self._controllers == 1 or self._alone.get(to) is False:
            return self._once(request, to, expect, woken=woken)
        exchange = self._once(request, to, expect, by_address=True)
        if to in self._alone or tells(exchange):
            self._alone[to] = True
            return exchange
        of_all = self._once(request, to, expect)
        if tells(of_all):
            self._alone[to] = False
        return of_all if of_all.answers else exchange

    def _once(
        self,
        request: bytes,
        to: int | None,
        expect: int | None,
        *,
        by_address: bool = False,
        woken: bool = False,
    ) -> Exchange:
        if not woken:
            self._wire.sleep_until(self._last_s + self._wire.timing.request_least)
        self._losses.stray += self._wire.clear()
        target = to if to is not None and by_address else EVERY_CONTROLLER
        sent_s = self._clock()
        self._wire.send(Message(target, TESTER, request, functional=not by_address))
        self._last_s = self._clock()
        answering = expect if to is None else 1 if by_address else self._controllers
        gathering = KLineGathering(request, answering, to)
        if not self._gather(gathering):
            return Exchange(sent_s, ())
        return Exchange(sent_s, tuple(self._join(gathering, to)))

    def _gather(self, gathering: KLineGathering) -> bool:
        """Take messages until all are there or time is up; False where one was damaged."""
        timing, whole = self._wire.timing, True
        deadline = self._clock() + timing.answer_most
        while not gathering.is_enough:
            try:
                message = self._wire.receive(deadline)
            except BellmouthError:
                self._losses.damaged += 1
                whole = False
                self._wire.wait_for_silence()
                continue
            if message is None:
                return whole
            now = self._last_s = self._clock()
            if not gathering.take(message, now):
                self._losses.stray += 1
            deadline = now + (timing.pending_most if gathering.promised else timing.answer_most)
        return whole

    def _join(self, gathering: KLineGathering, to: int | None) -> "Iterator[Answer]":
        for source, messages in gathering.messages.items():
            if to not in (None, source):
                continue
            try:
                payload = join_replies(messages)
            except BellmouthError:
                self._losses.cut += 1
                continue
            self._losses.refused += payload[0] == NEGATIVE
            yield Answer(source, payload, gathering.times[source])
