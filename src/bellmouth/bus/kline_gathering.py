"""The messages of a K line that answer one request, sorted by who said them."""

from bellmouth.bus.link import Exchange
from bellmouth.j1979.iso14230 import TESTER, Message
from bellmouth.j1979.kline_messages import messages_of
from bellmouth.j1979.messages import NEGATIVE, POSITIVE, RESPONSE_PENDING

__all__ = ["KLineGathering", "tells"]

_ECHOED_SERVICES = (0x01, 0x02, 0x09)  # whose replies repeat the parameter or item


def tells(exchange: Exchange) -> bool:
    """Whether anybody answered, other than by a refusal."""
    return any(answer.payload[0] != NEGATIVE for answer in exchange.answers)


class KLineGathering:
    """The messages that answer one request, by controller.

    Attributes
    ----------
    messages
        Data of each controller's messages, as they came.
    times
        When each controller's last one was complete. [s]
    promised
        Controllers that have asked to wait for their answer.

    ``expect`` is how many controllers answer, where that is known; ``to`` is the one without whose
    answer it is not enough.
    """

    def __init__(self, request: bytes, expect: int | None, to: int | None = None) -> None:
        self._request = request
        self._expect = expect
        self._to = to
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
        whole = {
            source
            for source, m in self.messages.items()
            if m[0][0] == NEGATIVE or len(m) >= self._each
        }
        return len(whole) >= self._expect and (self._to is None or self._to in whole)

    def _fits(self, data: bytes) -> bool:
        asked = self._request
        if data[:1] == bytes((NEGATIVE,)):
            return len(data) == 3 and data[1] == asked[0]
        if data[0] != asked[0] + POSITIVE:
            return False
        return asked[0] not in _ECHOED_SERVICES or data[1:2] == asked[1:2]
