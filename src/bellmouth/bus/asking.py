"""Every question passes here: only services that read, silence noticed, answers made sure of."""

import time
from dataclasses import replace

from bellmouth.bus.link import Answer, Exchange, Link, Losses, Onward
from bellmouth.bus.matching import is_busy
from bellmouth.bus.reports import Silence
from bellmouth.j1979.messages import Service

__all__ = ["READ_SERVICES", "Asker"]

#: All that is ever sent, but for the clearing of codes, which has a method of its own.
READ_SERVICES = frozenset(
    {
        Service.CURRENT_DATA,
        Service.FREEZE_FRAME,
        Service.CONFIRMED_CODES,
        Service.PENDING_CODES,
        Service.VEHICLE_INFORMATION,
        Service.PERMANENT_CODES,
    }
)

_READING = frozenset(bytes((one,)) for one in READ_SERVICES)
_WHO_IS_THERE = b"\x01\x00"
_QUIET_AFTER = 2  # unanswered in a row; then everybody is asked whether anybody is there
_TRIES = 3  # unanswered in a row before an item is given up
_TRIES_ON_A_BAD_LINK = 10
_MOST_ASKED = 16
_BUSY_S = 0.2  # before who was busy is asked again; our choice
_ROUNDS, _ROUNDS_ON_A_BAD_LINK = 2, 6


class Asker:
    """A link with its manners watched.

    Attributes
    ----------
    link
        The wire.
    malformed, unconfirmed, belated
        Answers whose content contradicts the standard; values that a second answer did not bear
        out on a link that shows damage; answers in the order of an earlier request.
    silence
        Since when nobody answers, or None.
    """

    def __init__(self, link: Link) -> None:
        self.link = link
        self._onward = link if isinstance(link, Onward) else None
        self._is_checked = bool(getattr(link, "is_checked", False))
        self.malformed = 0
        self.unconfirmed = 0
        self.belated = 0
        self.silence: Silence | None = None
        self._last_answer_s: float | None = None
        self._first_unanswered_s: float | None = None
        self._unanswered = 0
        self._is_lossy = False

    @property
    def losses(self) -> Losses:
        """The link's counts and this side's together."""
        wire = self.link.losses
        seen = dict(wire.seen)
        if self.unconfirmed:
            seen["values not borne out by a second answer"] = self.unconfirmed
        return replace(
            wire,
            malformed=wire.malformed + self.malformed,
            stray=wire.stray + self.belated,
            seen=seen,
        )

    @property
    def is_wary(self) -> bool:
        """Whether answers have come late, twice or unasked on this link."""
        return self.belated > 0 or self.link.losses.stray > 0

    @property
    def is_damaged(self) -> bool:
        """Whether this link has ever lost or spoilt anything on the way."""
        wire = self.link.losses
        return self._is_lossy or bool(wire.damaged or wire.cut or wire.stray or wire.reopened)

    def ask(
        self,
        payload: bytes,
        to: int | None = None,
        *,
        expect: int | None = None,
        then: bytes | None = None,
    ) -> Exchange:
        """Ask once; ``then`` is what the same controller is most likely asked next.

        Where the link can, that is sent as soon as the answer is in. It costs an answer's time if
        the next question is another one.

        Raises
        ------
        ValueError
            If the service is none of :data:`READ_SERVICES`: nothing else is ever sent.
        BusError
            If the adapter is gone.
        """
        for one in (payload,) if then is None else (payload, then):
            if one[:1] not in _READING:
                raise ValueError(f"service {one[:1].hex()} does more than read; it is never sent")
        if then is not None and to is not None and self._onward is not None:
            exchange = self._onward.exchange_onward(payload, to, then)
        else:
            exchange = self.link.exchange(payload, to, expect=expect)
        self._note(exchange)
        if not exchange.answers and self._unanswered == _QUIET_AFTER and self.silence is None:
            self._look_around()
        return exchange

    def clear(self) -> Exchange:
        """Send the one request that changes something: clear (service 04), to all."""
        exchange = self.link.exchange(bytes((Service.CLEAR,)))
        self._note(exchange)
        return exchange

    def _look_around(self) -> None:
        """Nobody answered twice: is the car gone, or does it only not know these parameters?"""
        exchange = self.link.exchange(_WHO_IS_THERE)  # the second answer would come unasked
        if exchange.answers:
            self._note(exchange)
        elif self._last_answer_s is not None and self._first_unanswered_s is not None:
            self.silence = Silence(self._last_answer_s, self._first_unanswered_s)

    def _note(self, exchange: Exchange) -> None:
        if exchange.answers:
            self._last_answer_s = max(one.received_s for one in exchange.answers)
            self._unanswered, self._first_unanswered_s, self.silence = 0, None, None
            return
        self._unanswered += 1
        if self._first_unanswered_s is None:
            self._first_unanswered_s = time.monotonic()

    def ask_surely(self, payload: bytes, to: int) -> bytes | None:
        """Ask one controller until it has said the same twice; None where it does not.

        For what does not change meanwhile: codes, identity, masks. A wrong digit that slipped
        through the wire is not said twice. Where the wire itself checks every message (the K
        line's checksum), and never had to, once is enough.
        """
        said: list[bytes] = []
        unanswered = 0
        for _ in range(_MOST_ASKED):
            answers = self.ask(payload, to, expect=1).answers
            reply = next((a.payload for a in answers if a.source == to), None)
            if reply is None:
                unanswered += 1
                if unanswered >= (_TRIES_ON_A_BAD_LINK if self.is_damaged else _TRIES):
                    break
            elif is_busy(reply):  # no answer yet, however often it is said
                time.sleep(_BUSY_S)
            elif reply in said or (self._is_checked and not self.is_damaged):
                return reply
            else:
                self._is_lossy |= unanswered > 0  # it knows this, and kept silent before
                said.append(reply)
                unanswered = 0
            if self.silence is not None and not self.is_damaged:
                break
        return None

    def ask_everybody(self, payload: bytes) -> dict[int, Answer]:
        """First answer of each controller; asked of all, several times, each with all the time.

        Twice on a good link; more often where something was lost, not all answered each time, or
        nobody did.
        """
        found: dict[int, Answer] = {}
        rounds: list[set[int]] = []
        while len(rounds) < _ROUNDS_ON_A_BAD_LINK:
            answers = self.ask(payload).answers
            rounds.append({one.source for one in answers})
            for answer in answers:
                found.setdefault(answer.source, answer)
            agreed = all(one == set(found) for one in rounds)
            self._is_lossy |= bool(found) and not agreed
            if len(rounds) >= _ROUNDS and agreed and found and not self.is_damaged:
                break
        return found
