"""Values of one controller now (service 01): asked together, believed only where they fit.

On a link that shows damage a value that jumps is asked again and given only if the second answer
bears it out, see :class:`Doubt`.
"""

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from bellmouth.bus.asking import Asker
from bellmouth.bus.habits import Habits
from bellmouth.bus.link import Exchange
from bellmouth.bus.reports import Sample
from bellmouth.errors import BellmouthError
from bellmouth.j1979 import parameters
from bellmouth.j1979.messages import Data, Negative, Request, Service, decode_response
from bellmouth.j1979.messages import encode_request as encode

__all__ = ["Doubt", "Sampler"]

_RELATIVE = 0.01  # two readings one after the other agree within this and one step
_ASKED_AGAIN = 3  # at most, where the answer is that to an earlier request
_RECENT_S = 1.0  # how old a reading may be to bear out the next
_DOUBT_S = 30.0  # a link is doubted so long after it last showed damage
_FOR_GOOD = frozenset({0x11, 0x12, 0x31})  # refusals that will be the same next time
_TOO_MUCH = frozenset({0x11, 0x12, 0x13, 0x31})  # refusals that fewer parameters may avoid

Raw = dict[int, bytes]


class Doubt:
    """Whether a link shows damage, and which readings another one bears out.

    A serial line has no checksum: a digit turned into another digit cannot be told from a true
    one. But such a reading is seldom borne out by the next: two readings of one parameter within
    a second must agree to one step and one per cent, codes and flags exactly.

    Parameters
    ----------
    damage
        Counts damage, never falling.
    clock
        Monotonic seconds.
    """

    def __init__(
        self, damage: Callable[[], int], clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._damage, self._clock = damage, clock
        self._seen = 0
        self._until_s = -1.0
        self._last: dict[tuple[int, int], tuple[float, bytes]] = {}

    @property
    def is_on(self) -> bool:
        """Whether readings need to be borne out now."""
        damage, now = self._damage(), self._clock()
        if damage > self._seen:
            self._seen, self._until_s = damage, now + _DOUBT_S
        return now < self._until_s

    def forgive(self) -> None:
        """What was damage was a controller's way, and there is an end to it."""
        self._seen, self._until_s = self._damage(), -1.0

    def remember(self, source: int, raw: Raw) -> None:
        """These are the last readings now."""
        now = self._clock()
        for one, data in raw.items():
            self._last[source, one] = (now, data)

    def unsure(self, source: int, raw: Raw) -> list[int]:
        """Those of some readings that the last ones do not bear out; all become the last ones."""
        now, found = self._clock(), []
        for one, data in raw.items():
            at, before = self._last.get((source, one), (now - 2 * _RECENT_S, b""))
            if now - at > _RECENT_S or not agree(one, before, data):
                found.append(one)
        self.remember(source, raw)
        return found


def agree(identifier: int, one: bytes, other: bytes) -> bool:
    """Whether two replies of a parameter agree to one step and one per cent, codes exactly."""
    if one == other:
        return True
    if not one or not other:
        return False
    first, second = parameters.decode(identifier, one), parameters.decode(identifier, other)
    for row in parameters.by_identifier(identifier):
        a, b = first[row.name], second[row.name]
        if a is None or b is None or row.kind != "number":
            if a != b:
                return False
        elif abs(a - b) > row.resolution * 1.001 + _RELATIVE * min(abs(a), abs(b)):
            return False
    return True


@dataclass
class _Round:
    """What one reading has gathered so far."""

    sent_s: float
    done_s: float
    source: int | None = None
    raw: Raw = field(default_factory=dict)

    def add(self, exchange: Exchange, raw: Raw, source: int | None) -> None:
        self.done_s = max([self.done_s, *(one.received_s for one in exchange.answers)])
        self.raw |= raw
        self.source = self.source if source is None else source


class _Wording(NamedTuple):
    """How a set of parameters was asked: the request, and the companion nobody wants."""

    part: tuple[int, ...]
    request: tuple[int, ...]
    companion: int | None


def _in_order(given: Raw, part: Sequence[int]) -> bool:
    places = [part.index(one) for one in given]
    return places == sorted(places)


class Sampler:
    """Reads one controller.

    Parameters
    ----------
    asker
        Carries the questions.
    address
        The controller's.
    habits
        What is known of it; grows.
    doubt
        Shared by all controllers on a link.

    Attributes
    ----------
    maxima, longer
        What replaces its full scales, and which of its replies are longer than usual
        (:mod:`bellmouth.bus.records`); to be set by whoever read them.
    """

    def __init__(self, asker: Asker, address: int, habits: Habits, doubt: Doubt) -> None:
        self._asker, self.address = asker, address
        self._doubt = doubt
        self.habits = habits
        self.maxima: Mapping[str, float | None] = {}
        self.longer: frozenset[int] = frozenset()
        self._begun: _Wording | None = None

    def read(self, identifiers: Sequence[int], then: Sequence[int] = ()) -> Sample:
        """Values now; see :meth:`bellmouth.bus.client.Client.read`."""
        for one in (*identifiers, *then):
            parameters.by_identifier(one)  # an unknown one is the caller's mistake
        now = time.monotonic()
        gathered: _Round | None = None
        parts = self.habits.plan(identifiers)
        onward = [*parts[1:], next(iter(self.habits.plan(then)), ())]
        for part, following in zip(parts, onward, strict=False):
            asked = self._ask_fully(part, following)
            if gathered is None:
                gathered = asked
            else:
                gathered.done_s = asked.done_s
                gathered.raw |= asked.raw
                gathered.source = gathered.source or asked.source
            if self._asker.silence is not None:
                break
        gathered = gathered or _Round(now, now)
        believed = self._believed(gathered.raw)
        return self._sample(gathered, believed, identifiers)

    def _sample(self, gathered: _Round, raw: Raw, identifiers: Sequence[int]) -> Sample:
        values: dict[str, float | None] = {}
        for one in identifiers:
            if one in raw:
                values |= parameters.decode(one, raw[one], self.maxima)
        return Sample(
            time_s=(gathered.sent_s + gathered.done_s) / 2,
            half_width_s=(gathered.done_s - gathered.sent_s) / 2,
            source=gathered.source,
            values=values,
            missing=tuple(one for one in dict.fromkeys(identifiers) if one not in raw),
        )

    def _believed(self, raw: Raw) -> Raw:
        """The readings without those that jumped and that a second answer does not bear out."""
        if not self._doubt.is_on:
            self._doubt.remember(self.address, raw)
            return raw
        unsure = self._doubt.unsure(self.address, raw)
        if not unsure:
            return raw
        again: Raw = {}
        for part in self.habits.plan(unsure):
            again |= self._ask(part)[1]
        self._doubt.remember(self.address, again)
        refuted = {one for one in unsure if not agree(one, raw[one], again.get(one, b""))}
        self._asker.unconfirmed += len(refuted)
        return {one: data for one, data in raw.items() if one not in refuted}

    def _ask_fully(self, part: tuple[int, ...], following: tuple[int, ...] = ()) -> _Round:
        """Ask a request; where that many were never answered whole, ask what is missing alone."""
        exchange, raw, reply = self._ask(part, following)
        gathered = _Round(exchange.sent_s, time.monotonic())
        if raw:
            gathered.done_s = max(one.received_s for one in exchange.answers)
        gathered.add(exchange, raw, self.address if exchange.answers else None)
        missing = [one for one in part if one not in raw]
        is_spoilt = reply is None and bool(exchange.answers)
        if self.habits.is_proven(part):
            missing = self.habits.suspects(missing) if is_spoilt else []
        if not missing or len(part) == 1:
            return gathered
        if isinstance(reply, Negative) and reply.code not in _TOO_MUCH:
            return gathered
        for one in missing:
            if self._asker.silence is not None:
                break
            single, found, _ = self._ask((one,))
            gathered.add(single, found, self.address if single.answers else None)
        if not raw and gathered.raw and not is_spoilt:
            self.habits.failed(part)
        return gathered

    def _ask(
        self, part: tuple[int, ...], following: tuple[int, ...] = ()
    ) -> tuple[Exchange, Raw, Data | Negative | None]:
        """One request and what can be believed of its answer, put again where that was belated."""
        for _ in range(_ASKED_AGAIN):
            request, companion = self._wording(part)
            exchange, raw, reply = self._ask_once(request, self._onward(part, following))
            if not raw:
                if companion is not None and isinstance(reply, Negative):
                    self.habits.failed(request)  # perhaps one too many
                break
            orderly = not self.habits.in_order or _in_order(raw, request)
            if orderly and (companion is None or companion in raw):
                raw.pop(companion or -1, None)
                break
            if not orderly and not self._asker.link.losses.stray:
                self.habits.out_of_order()
            else:
                self._asker.belated += 1
            raw = {}
        if raw:
            self.habits.gave(part, raw)
        return exchange, raw, reply

    def _wording(self, part: tuple[int, ...]) -> tuple[tuple[int, ...], int | None]:
        """How a set is asked: as it was begun, if it was."""
        begun, self._begun = self._begun, None
        if begun is not None and begun.part == part:
            return begun.request, begun.companion
        return self.habits.request(part, wary=self._asker.is_wary)

    def _onward(self, part: tuple[int, ...], following: tuple[int, ...]) -> bytes | None:
        """What may be sent before this part's answer is looked at, on a link without a flaw."""
        settled = self.habits.is_proven(part) and self.habits.is_proven(following)
        if not following or not settled or self._asker.is_wary or self._doubt.is_on:
            return None
        self._begun = _Wording(following, *self.habits.request(following, wary=False))
        return encode(Request(Service.CURRENT_DATA, self._begun.request))

    def _ask_once(
        self, part: tuple[int, ...], then: bytes | None = None
    ) -> tuple[Exchange, Raw, Data | Negative | None]:
        """One request and what its answer holds, if that is whole."""
        payload = encode(Request(Service.CURRENT_DATA, part))
        exchange = self._asker.ask(payload, self.address, expect=1, then=then)
        payloads = [a.payload for a in exchange.answers if a.source == self.address]
        if not payloads:
            if len(part) == 1 and self._asker.silence is None:
                self.habits.kept_silent(part[0])
            return exchange, {}, None
        reply = self._decoded(payloads[0], part)
        if reply is None and len(part) == 1:
            good = not self._asker.is_damaged
            if self.habits.spoilt(part[0], wire_is_good=good) and good:
                self._doubt.forgive()
        if isinstance(reply, Negative):
            if len(part) == 1 and reply.code in _FOR_GOOD:
                self.habits.denied(part[0], reply.meaning)
            return exchange, {}, reply
        return exchange, dict(reply.replies) if reply is not None else {}, reply

    def _decoded(self, payload: bytes, part: tuple[int, ...]) -> Data | Negative | None:
        """The reply, or None (and counted) where it is no whole answer to what was asked."""
        try:
            reply = decode_response(payload, self.longer)
        except BellmouthError:
            self._asker.malformed += 1
            return None
        if isinstance(reply, Negative):
            return reply
        given = [one for one, _ in reply.replies] if isinstance(reply, Data) else []
        if not isinstance(reply, Data) or not given or len(set(given)) < len(given):
            self._asker.malformed += 1
            return None
        if not set(given) <= set(part):
            self._asker.belated += 1  # an answer to what was asked before
            return None
        return reply
