"""Link to an older car over the K line: ISO 14230-4, fast or slow start, sessions kept alive.

Payloads are in the form of CAN, as everywhere in :mod:`bellmouth.bus`; the K line's own is joined
and turned here (:mod:`bellmouth.j1979.kline_messages`). A frame whose checksum or length is wrong
is counted as damaged and spoils its whole exchange: no value of it is handed on.
"""

from collections.abc import Callable
from contextlib import contextmanager
from typing import TYPE_CHECKING

from bellmouth.bus.kline_wire import Wake, Wire, open_port
from bellmouth.bus.link import Answer, Exchange, Losses
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
from bellmouth.j1979.kline_messages import (
    join_replies,
    messages_of,
    split_request,
)
from bellmouth.j1979.messages import NEGATIVE, POSITIVE, RESPONSE_PENDING

if TYPE_CHECKING:
    from collections.abc import Iterator

__all__ = ["KLineLink", "open_kline"]

_ECHOED_SERVICES = (0x01, 0x02, 0x09)  # whose replies repeat the parameter or item
_HEARD_AGAIN = "session started again"


def open_kline(
    channel: str,
    *,
    wake: Wake = "auto",
    timing: Timing = TIMING,
    slack_s: float = 0.05,
) -> "KLineLink":
    """Open a serial device and start a session, the fast way first, then the slow one.

    Parameters
    ----------
    channel
        Such as ``/dev/ttyUSB0``, or a practice car's pseudo-terminal.
    wake, timing, slack_s
        See :class:`bellmouth.bus.kline_wire.Wire`.

    Raises
    ------
    BusError
        If the device cannot be opened, nobody answers, or the car speaks something else.
    """
    wire = Wire(open_port(channel), channel, wake=wake, timing=timing, slack_s=slack_s)
    try:
        return KLineLink(wire)
    except BaseException:
        wire.close()
        raise


class KLineLink:
    """A session on a K line; implements :class:`bellmouth.bus.link.Link`.

    ``most_parameters`` is how many parameters one request can hold. A request with more is asked
    one by one, and each comes back as an answer of its own with its own time.

    Raises
    ------
    BusError
        If nobody answers, or the car speaks something else.
    """

    most_parameters = 1

    def __init__(self, wire: Wire) -> None:
        self._wire = wire
        self._clock: Callable[[], float] = wire.clock
        self._losses = Losses()
        self._last_s = -float("inf")  # when the line last carried anything of this session
        self._is_doubtful = False
        self._fast = True
        with self._speaking():
            if not self._start():
                raise BusError(
                    f"{wire.channel}: nobody answers on the K line, neither to the fast start nor "
                    "to the slow one; switch the ignition on and check that the adapter is in the "
                    "car's socket, or try CAN."
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

    def exchange(
        self, payload: bytes, to: int | None = None, *, expect: int | None = None
    ) -> Exchange:
        """Send a request and gather the answers; see :class:`bellmouth.bus.link.Link`.

        Raises
        ------
        BusError
            If the adapter is gone.
        """
        with self._speaking():
            exchanges = [self._ask_surely(part, to, expect) for part in split_request(payload)]
        answers = tuple(answer for one in exchanges for answer in one.answers)
        return Exchange(exchanges[0].sent_s, answers)

    def keep_alive(self) -> None:
        """Say that the tester is still there, where the line has been still for half of P3.

        Raises
        ------
        BusError
            If the adapter is gone.
        """
        if self._clock() - self._last_s > self._wire.timing.request_most / 2:
            with self._speaking():
                if not self._is_doubtful:
                    self._is_doubtful = not self._is_heard()

    def close(self) -> None:
        """End the session and let go of the port."""
        try:
            if self._clock() - self._last_s < self._wire.timing.request_most:
                self._ask(bytes((STOP_COMMUNICATION,)), None, 1)
        except (BellmouthError, OSError):
            pass  # the port is closed all the same, and the car ends the session by itself
        finally:
            self._wire.close()

    @contextmanager
    def _speaking(self) -> "Iterator[None]":
        """The port's own errors as a sentence."""
        try:
            yield
        except OSError as error:  # pyserial's errors are among them
            raise BusError(
                f"{self._wire.channel}: the adapter does not answer any more; plug it in again."
            ) from error

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
        self._is_doubtful = False
        return True

    def _start_fast(self) -> bool:
        self._wire.wake_fast()
        exchange = self._ask(bytes((START_COMMUNICATION,)), None, None, woken=True)
        keys = [KeyBytes(*a.payload[1:3]) for a in exchange.answers if len(a.payload) == 3]
        for key in keys:
            self._check(key)
        return bool(keys)

    def _start_slowly(self) -> bool:
        keys = self._wire.wake_slowly(EVERY_CONTROLLER)
        if keys is not None:
            self._check(keys)
        return keys is not None

    def _check(self, keys: KeyBytes) -> None:
        if not keys.is_iso_14230:
            spoken = "ISO 9141-2" if keys.is_iso_9141 else "something else"
            raise BusError(
                f"{self._wire.channel}: this car's key bytes are {keys.first:02X} "
                f"{keys.second:02X}; it speaks {spoken}, not ISO 14230-4, and cannot be read here."
            )

    def _is_up(self) -> bool:
        """Whether there is a session, started again where it has run out."""
        lapsed = self._clock() - self._last_s > self._wire.timing.request_most
        if not lapsed and self._is_doubtful:
            lapsed = not self._is_heard()
        self._is_doubtful = False
        if not lapsed:
            return True
        if self._start():
            self._losses.seen[_HEARD_AGAIN] = self._losses.seen.get(_HEARD_AGAIN, 0) + 1
            return True
        return False

    def _is_heard(self) -> bool:
        # Whoever refuses to be told that we are here has heard it all the same.
        return bool(self._ask(bytes((TESTER_PRESENT,)), None, None).answers)

    def _ask_surely(self, request: bytes, to: int | None, expect: int | None) -> Exchange:
        """Ask; where nobody can know how many messages answer, ask twice and compare."""
        if not self._is_up():
            self._losses.unanswered += 1
            return Exchange(self._clock(), ())
        exchange = self._ask(request, to, expect)
        if messages_of(request) is None and any(a.payload[0] != NEGATIVE for a in exchange.answers):
            again = {a.source: a.payload for a in self._ask(request, to, expect).answers}
            sure = tuple(a for a in exchange.answers if again.get(a.source) == a.payload)
            self._losses.cut += len(exchange.answers) - len(sure)
            exchange = Exchange(exchange.sent_s, sure)
        if not exchange.answers:
            self._losses.unanswered += 1
            self._is_doubtful = True
        return exchange

    def _ask(
        self, request: bytes, to: int | None, expect: int | None, *, woken: bool = False
    ) -> Exchange:
        """One request and its answers, once."""
        if not woken:
            self._wire.sleep_until(self._last_s + self._wire.timing.request_least)
        self._losses.stray += self._wire.clear()
        target = EVERY_CONTROLLER if to is None else to
        sent_s = self._clock()
        self._wire.send(Message(target, TESTER, request, functional=to is None))
        gathering = _Gathering(request, 1 if to is not None else expect)
        whole = self._gather(gathering)
        self._last_s = self._clock()
        if not whole:
            return Exchange(sent_s, ())
        return Exchange(sent_s, tuple(self._join(gathering)))

    def _gather(self, gathering: "_Gathering") -> bool:
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
            now = self._clock()
            if not gathering.take(message, now):
                self._losses.stray += 1
            deadline = now + (timing.pending_most if gathering.promised else timing.answer_most)
        return whole

    def _join(self, gathering: "_Gathering") -> "Iterator[Answer]":
        for source, messages in gathering.messages.items():
            try:
                payload = join_replies(messages)
            except BellmouthError:
                self._losses.cut += 1
                continue
            self._losses.refused += payload[0] == NEGATIVE
            yield Answer(source, payload, gathering.times[source])


class _Gathering:
    """The messages that answer one request, by controller."""

    def __init__(self, request: bytes, expect: int | None) -> None:
        self._request = request
        self._expect = expect
        self._each = messages_of(request)
        self.messages: dict[int, list[bytes]] = {}
        self.times: dict[int, float] = {}
        self.promised: set[int] = set()

    def take(self, message: Message, now: float) -> bool:
        """Take a message; False where it answers nothing that was asked."""
        if message.target != TESTER or message.functional or not self._fits(message.data):
            return False
        source, data = message.source, message.data
        if data[0] == NEGATIVE and data[2] == RESPONSE_PENDING:
            self.promised.add(source)
            return True
        had = self.messages.setdefault(source, [])
        if self._each == 1 and had:
            return False
        had.append(data)
        self.times[source] = now
        self.promised.discard(source)
        return True

    @property
    def is_enough(self) -> bool:
        """Whether as many controllers as are expected have said all that they can say."""
        if self._expect is None or self._each is None or self.promised:
            return False
        whole = [m for m in self.messages.values() if m[0][0] == NEGATIVE or len(m) >= self._each]
        return len(whole) >= self._expect

    def _fits(self, data: bytes) -> bool:
        asked = self._request
        if data[:1] == bytes((NEGATIVE,)):
            return len(data) == 3 and data[1] == asked[0]
        if data[0] != asked[0] + POSITIVE:
            return False
        return asked[0] not in _ECHOED_SERVICES or data[1:2] == asked[1:2]
