"""When a capture could read nothing: the car silent, the adapter away, the computer asleep."""

from dataclasses import dataclass

from bellmouth.bus.link import Woken

__all__ = ["Gaps"]

# Whoever switches off and starts again takes longer; trims and idle hardly move meanwhile. [s]
_MOMENT_S = 4.0
# A silence no longer than this is answers that were lost, not the ignition. [s]
_LOST_S = 1.0


@dataclass
class _Gap:
    """From when (and how surely) to when, None while it lasts. [s]

    ``ran`` whether the engine ran before, ``ran_on`` whether it did after, None while unknown.
    """

    from_s: float
    give_or_take_s: float = 0.0
    to_s: float | None = None
    ran: bool = False
    ran_on: bool | None = None

    @property
    def is_moment(self) -> bool:
        """Whether contact was lost for a moment, and the ignition stayed on."""
        return (
            self.ran
            and bool(self.ran_on)
            and self.to_s is not None
            and self.to_s - self.from_s < _MOMENT_S
        )


class Gaps:
    """Keeps account of the times without readings. All times are since the beginning. [s]

    Attributes
    ----------
    quiet_since_s
        When it was noticed that the car has been silent; None while it answers.
    is_away
        Whether the adapter is gone now.
    """

    def __init__(self) -> None:
        self.quiet_since_s: float | None = None
        self.is_away = False
        self._quiet: list[_Gap] = []
        self._away: list[_Gap] = []
        self._slept: list[_Gap] = []
        self._unanswered_s: float | None = None

    def unanswered(self, asked_s: float) -> None:
        """Nobody answered what was asked then."""
        self._unanswered_s = asked_s

    def woke(
        self, heard_s: float, at_s: float, link: Woken | None, begun_s: float
    ) -> tuple[float, float] | None:
        """Between which times the car woke that answers at one time and did so last at another.

        ``link`` is what a link over which cars must be woken knows of it, on a clock that showed
        ``begun_s`` at the beginning. None where the car was not silent for long: an answer was
        lost.
        """
        low_s, self._unanswered_s = self._unanswered_s, None
        if low_s is None or at_s - heard_s <= _LOST_S:
            return None
        if link is not None and link.awake_s - begun_s > low_s:
            return max(low_s, link.asleep_s - begun_s), min(at_s, link.awake_s - begun_s)
        return low_s, at_s

    def fell_silent(self, now_s: float, at_s: float, give_or_take_s: float, *, ran: bool) -> None:
        """The car went quiet at some time, as is noticed now; whether its engine ran before."""
        if self.quiet_since_s is None:
            self.quiet_since_s = now_s
            self._quiet.append(_Gap(at_s, give_or_take_s, ran=ran))

    def answers(self, now_s: float) -> None:
        """The car answers."""
        if self.quiet_since_s is not None:
            self.quiet_since_s = None
            self._quiet[-1].to_s = now_s

    def read_speed(self, *, runs: bool) -> None:
        """An engine speed was read; the first after a silence says what that silence was."""
        last = self._quiet[-1] if self._quiet else None
        if last is not None and last.to_s is not None and last.ran_on is None:
            last.ran_on = runs

    def adapter(self, *, is_away: bool, since_s: float, now_s: float) -> None:
        """The adapter is gone, since the last reading at the latest, or back."""
        if is_away and not self.is_away:
            self._away.append(_Gap(since_s))
        elif self.is_away and not is_away:
            self._away[-1].to_s = now_s
        self.is_away = is_away

    def slept(self, from_s: float, seconds: float) -> None:
        """The computer slept for so long, after the reading at a time. [s]"""
        self._slept.append(_Gap(from_s, to_s=from_s + seconds))

    def told(self) -> list[str]:
        """What there is to say of them, whole sentences in the order of time."""
        moments = [gap for gap in self._quiet if gap.is_moment]
        said = [(gap.from_s, _silence(gap)) for gap in self._quiet if not gap.is_moment]
        said += [
            (gap.from_s, f"The adapter was away from {gap.from_s:.1f} s to {gap.to_s:.1f} s.")
            for gap in self._away
            if gap.to_s is not None
        ]
        said += [
            (gap.from_s, f"The computer slept from {gap.from_s:.1f} s to {gap.to_s:.1f} s.")
            for gap in self._slept
        ]
        if moments:
            said.append((moments[0].from_s, _moments(moments)))
        return [sentence for _, sentence in sorted(said)]


def _silence(gap: _Gap) -> str:
    why = (
        "while the engine ran: contact was lost, or the ignition switched off"
        if gap.ran
        else "as it does when the ignition is switched off"
    )
    sure = f"{gap.from_s:.2f} s (give or take {gap.give_or_take_s:.2f} s)"
    quiet = f"The car went quiet at {sure}, {why}."
    return (
        quiet if gap.to_s is None else " ".join((quiet, f"It answered again at {gap.to_s:.1f} s."))
    )


def _moments(gaps: list[_Gap]) -> str:
    longest = max(gaps, key=lambda gap: (gap.to_s or 0.0) - gap.from_s)
    span = f"{longest.from_s:.1f} s to {longest.to_s:.1f} s"
    if len(gaps) == 1:
        return (
            f"Contact was lost for a moment, from {span}, and the engine ran on: look at plug and "
            "cable."
        )
    return (
        f"Contact was lost {len(gaps)} times for a moment, the longest from {span}, and the engine "
        "ran on: look at plug and cable."
    )
