"""The client: asks a car over any link and believes only answers that fit the question."""

from collections.abc import Callable, Mapping, Sequence
from types import TracebackType
from typing import Self

from bellmouth.bus import clearing, records
from bellmouth.bus.asking import Asker
from bellmouth.bus.habits import Habits
from bellmouth.bus.link import Addressing, Link, Losses, Pluggable, Wakeful, Woken
from bellmouth.bus.reports import (
    Cleared,
    Clearing,
    Codes,
    Controller,
    FreezeFrame,
    Identity,
    Sample,
    Silence,
)
from bellmouth.bus.sampling import Doubt, Sampler
from bellmouth.errors import BusError
from bellmouth.j1979 import parameters
from bellmouth.j1979.addressing import ENGINE
from bellmouth.j1979.codes import MonitorStatus
from bellmouth.j1979.messages import MOST_PARAMETERS

__all__ = ["Client"]

_ENGINE_SPEED = 0x0C
_WHO_IS_THERE = b"\x01\x00"


class Client:
    """A conversation with one car. Sends services 01, 02, 03, 07, 09 and 0A; 04 only to clear.

    Opening finds out who is there and what they claim to know. Not for several threads at once.
    Also a context manager that closes the link.

    Parameters
    ----------
    link
        The wire; :func:`bellmouth.bus.opening.open_client` opens one by the names users know.

    Raises
    ------
    BusError
        If nobody answers, or the adapter goes away and stays away.
    """

    def __init__(self, link: Link) -> None:
        self._link = link
        self._asker = Asker(link)
        self._doubt = Doubt(self._seen_damage)
        self._most = int(getattr(link, "most_parameters", MOST_PARAMETERS))
        self._claimed: dict[int, frozenset[int]] = {}
        self._names: dict[int, str | None] = {}
        self._samplers: dict[int, Sampler] = {}
        self._unread: list[int] = []
        for address in self._who_is_there():
            self._learn(address, self._most)
        if not self._claimed:
            raise BusError(
                f"The car answers ({link.description}), but too much is lost on the way to read "
                "anything; check the adapter, its cable and its plug at the car."
            )

    def _seen_damage(self) -> int:
        """What puts readings in doubt: that some came damaged, where what got through undamaged
        could not be told from it by a checksum; and answers that contradict the standard."""
        is_checked = bool(getattr(self._link, "is_checked", False))
        damaged = 0 if is_checked else self._link.losses.damaged
        return damaged + self._asker.malformed

    def _who_is_there(self) -> list[int]:
        there = sorted(self._asker.ask_everybody(_WHO_IS_THERE))
        if not there:
            raise BusError(
                f"Nobody answers ({self._link.description}); switch the ignition on and check the "
                "plug at the car."
            )
        return there

    def _learn(self, address: int, most: int) -> None:
        """Read what a controller claims to know, its name, and its full scales."""
        asker, unanswered = self._asker, self._link.losses.unanswered
        claimed = records.supported_parameters(asker, address)
        if not claimed and asker.is_damaged:
            claimed = records.supported_parameters(asker, address)
        if not claimed:
            claimed = self._claimed_to_all(address, unanswered)
        if not claimed:
            self._unread.append(address)
            return
        self._claimed[address] = claimed
        self._names[address] = records.read_name(asker, address)
        sampler = Sampler(asker, address, Habits(most, claimed), self._doubt)
        sampler.maxima = records.read_maxima(asker, address, claimed)
        sampler.longer = records.read_further_banks(asker, address, claimed)
        self._samplers[address] = sampler

    def _claimed_to_all(self, address: int, unanswered: int) -> frozenset[int]:
        """What a controller claims to know that answers only what is asked of all.

        ISO 15765-4 has every one hear its own identifier, too (from memory); some do not. Then
        so many questions were unanswered before it was tried, and no loss.
        """
        if not isinstance(self._link, Addressing):
            return frozenset()
        self._link.ask_of_all(address)
        claimed = records.supported_parameters(self._asker, address)
        if claimed:
            self._link.losses.unanswered = unanswered
        return claimed

    @property
    def description(self) -> str:
        """Which standard at which speed, such as ``ISO 15765-4, 11-bit, 500 kbit/s``."""
        return self._link.description

    @property
    def controllers(self) -> tuple[Controller, ...]:
        """Who answers, the engine's controller first: 0x10, or whichever knows engine speed."""

        def rank(address: int) -> tuple[bool, bool, int, int]:
            claimed = self._claimed[address]
            return _ENGINE_SPEED not in claimed, address != ENGINE, -len(claimed), address

        return tuple(
            Controller(
                address,
                self._names.get(address),
                self._claimed[address] - set(self._samplers[address].habits.refused),
            )
            for address in sorted(self._claimed, key=rank)
        )

    @property
    def most_parameters(self) -> int:
        """How many parameters one request can hold on this link; 1 on a K line."""
        return self._most

    @property
    def losses(self) -> Losses:
        """What went wrong so far, the link's counts and the client's together."""
        return self._asker.losses

    @property
    def silence(self) -> Silence | None:
        """Since when the car has been quiet, as it is with the ignition off; None while it answers.

        Two requests in a row and a question to everybody went unanswered. If a frame happened to
        be lost just before, the ignition may have gone off a little later than this says.
        """
        return self._asker.silence

    @property
    def woken(self) -> Woken | None:
        """When the car was woken last, on a link where it must be; None on any other."""
        return self._link.woken if isinstance(self._link, Wakeful) else None

    @property
    def notes(self) -> tuple[str, ...]:
        """What is worth saying: parameters claimed and refused, controllers not understood."""
        refused = [
            f"Controller {address:02X} lists {_spelt(one)} and does not give it ({why}); it is "
            "asked no more."
            for address, sampler in self._samplers.items()
            for one, why in sampler.habits.refused.items()
            if one in self._claimed[address]
        ]
        unscaled = [
            f"Controller {address:02X} lists {_spelt(one)}, by which it may scale pressures and "
            "airflow in its own way, and does not tell it; check the adapter and start anew."
            for address, sampler in self._samplers.items()
            for one in records.MAXIMA
            if one in self._claimed[address] and not _is_told(one, sampler.maxima)
        ]
        unread = [
            f"Controller {address:02X} answers, but what it knows could not be read; it is left "
            "out. Check the adapter and its cable, and try again."
            for address in self._unread
        ]
        return (*unread, *unscaled, *refused)

    def read(
        self,
        identifiers: Sequence[int],
        controller: int | None = None,
        *,
        then: Sequence[int] = (),
    ) -> Sample:
        """Values of some parameters of one controller (service 01).

        Up to six that the controller takes together are asked in one request; more take several,
        and the sample's interval covers them all. One question each: where an answer is lost,
        what it held is ``missing``, and the caller may ask again.

        Parameters
        ----------
        identifiers
            Parameters of service 01.
        controller
            Its address, or None for the engine's.
        then
            What will be read next, if that is known: on a CAN link that never lost anything it is
            asked for before this returns, so that the car works on it while the caller works on
            this. Whoever comes late for it has its time less exactly; nothing else is lost.

        Raises
        ------
        BellmouthError
            If an identifier is not in the table.
        BusError
            If there is no such controller, or the adapter went away and stays away.
        """
        return self._sampler(controller).read(identifiers, then)

    def _sampler(self, controller: int | None) -> Sampler:
        address = self.controllers[0].address if controller is None else controller
        if address not in self._samplers:
            there = ", ".join(f"{one.address:02X}" for one in self.controllers)
            raise BusError(f"No controller {address:02X} answers; these do: {there}.")
        return self._samplers[address]

    def codes(self) -> Codes:
        """Confirmed, pending and permanent trouble codes (services 03, 07, 0A)."""
        return records.read_codes(self._asker, self._addresses)

    def freeze_frames(self, identifiers: Sequence[int] | None = None) -> tuple[FreezeFrame, ...]:
        """Freeze frame 0 of every controller that holds one (service 02).

        ``identifiers`` says which parameters; None means all that the controller kept.
        """
        frames = (
            records.read_freeze_frame(
                self._asker, one.address, identifiers, maxima=one.maxima, longer=one.longer
            )
            for one in map(self._samplers.__getitem__, self._addresses)
        )
        return tuple(frame for frame in frames if frame is not None)

    def monitors(self) -> Mapping[int, MonitorStatus]:
        """Monitor status since codes were cleared (parameter 01), by controller's address."""
        return records.read_monitors(self._asker, self._addresses)

    def identity(self, *, mask_vin: bool = True) -> tuple[Identity, ...]:
        """What each controller says of itself (service 09)."""
        return tuple(
            records.read_identity(self._asker, address, mask_vin=mask_vin)
            for address in self._addresses
        )

    def would_clear(self) -> Clearing:
        """What :meth:`clear` would lose, and what speaks against it; clears nothing."""
        engine = self.controllers[0]
        return clearing.what_would_be_lost(
            self._samplers[engine.address],
            engine,
            self.codes(),
            self.freeze_frames(()),
            records.read_monitors(self._asker, self._addresses),
            (*self._addresses, *self._unread),
        )

    def clear(self, confirmed: Clearing) -> Cleared:
        """Clear (service 04), having shown someone ``confirmed`` and been told to go on.

        Raises
        ------
        BusError
            While the engine runs or the car moves, or where the car does not say.
        """
        engine = self.controllers[0]
        return clearing.clear(self._asker, self._samplers[engine.address], engine, confirmed)

    def watch_adapter(self, told: Callable[[bool], None] | None) -> None:
        """Have ``told`` called with True while the adapter is away and False when it is back.

        It is called while a question waits, maybe more than once, and must ask nothing itself.
        None ends it.
        """
        if isinstance(self._link, Pluggable):
            self._link.when_away = told

    @property
    def _addresses(self) -> tuple[int, ...]:
        return tuple(one.address for one in self.controllers)

    def close(self) -> None:
        """Let go of the car."""
        self._link.close()

    def __enter__(self) -> Self:
        """The client itself."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Let go of the car."""
        self.close()


def _is_told(identifier: int, values: Mapping[str, float | None]) -> bool:
    return all(row.name in values for row in parameters.by_identifier(identifier))


def _spelt(identifier: int) -> str:
    if identifier not in parameters.identifiers():
        return f"parameter {identifier:02X}"
    return f"parameter {identifier:02X} ({parameters.by_identifier(identifier)[0].name})"
