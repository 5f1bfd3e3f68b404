"""What goes wrong with an adapter, said in one sentence each with what to try."""

import difflib
import errno
import re
from collections.abc import Iterable

from bellmouth.errors import BusError

__all__ = ["cannot_open", "nobody_answers", "stays_away", "unknown_interface"]

_NUMBER = re.compile(r"\[?(?:Errno|Error Code) (\d+)")
_GONE = {errno.ENOENT, errno.ENODEV, errno.ENXIO}
_FORBIDDEN = {errno.EACCES, errno.EPERM}
_PRACTICE = "start the practice car there (bellmouth practice --port N)"


def cannot_open(interface: str, channel: str | None, error: BaseException) -> BusError:
    """Why an adapter cannot be opened."""
    where = f"{interface} {channel}" if channel else interface
    number = _errno(error)
    if number == errno.ECONNREFUSED:
        return BusError(f"{where}: nothing listens there; {_PRACTICE} or correct --channel.")
    if number in _FORBIDDEN:
        return BusError(
            f"{where}: no permission to use it; let your account into the group that owns it "
            "(often dialout), log in again and try once more."
        )
    if number in _GONE:
        return BusError(f"{where}: there is no such adapter; {_look(interface)}")
    if number == errno.EBUSY:
        return BusError(f"{where}: another program holds it; close that program and try again.")
    if number == errno.ENETDOWN:
        return BusError(
            f"{where}: the interface is down; bring it up first (ip link set {channel} up type can "
            "bitrate 500000)."
        )
    return BusError(
        f"{where}: cannot be opened ({_words(error)}); check --interface and --channel, and that "
        "the adapter is plugged in."
    )


def unknown_interface(interface: str, channel: str | None, known: Iterable[str]) -> BusError:
    """There is no interface of that name."""
    where = f"{interface} {channel}" if channel else interface
    near = difflib.get_close_matches(interface, list(known), n=1)
    hint = f'did you mean "{near[0]}"?' if near else "use slcan, socketcan, kline or another."
    return BusError(f"{where}: no interface of that name; {hint}")


def _look(interface: str) -> str:
    if interface == "socketcan":
        return "list them with: ip link show type can, and correct --channel."
    return "plug it in, see which port appears (/dev/ttyACM0, /dev/ttyUSB0) and correct --channel."


def stays_away(where: str, seconds: float, error: BaseException) -> BusError:
    """An adapter that was there and has not come back."""
    return BusError(
        f"{where}: the adapter went away and was not back within {seconds:.0f} s "
        f"({_words(error)}); plug it in again and start anew."
    )


def nobody_answers(
    where: str,
    tried: str,
    *,
    heard: int,
    damaged: int,
    refused: int,
    acknowledges: bool,
    given: bool,
) -> BusError:
    """Nobody answered any question; what was noticed meanwhile says what to try.

    ``given`` is whether the user named the bit rate.
    """
    if heard:
        return BusError(
            f"{where}: there is traffic on the bus but no controller answers ({tried}); the car "
            "may speak something else: try the K line (--interface kline), or another plug."
        )
    if damaged:
        return BusError(
            f"{where}: only damaged characters arrive ({tried}); check that it is a serial-line "
            "CAN adapter, and its cable."
        )
    if refused:
        return BusError(
            f"{where}: the adapter cannot put a question on the bus ({tried}); check its plug at "
            "the car and the bit rate."
        )
    if not acknowledges:
        return BusError(
            f"{where}: what is there does not answer as a serial-line CAN adapter does; correct "
            "--interface and --channel."
        )
    found = "leave --bitrate out to have it found, " if given else ""
    return BusError(
        f"{where}: nobody answers ({tried}); switch the ignition on, check the plug at the car, "
        f"{found}or try the K line (--interface kline) on an older car."
    )


def _errno(error: BaseException | None) -> int | None:
    """Number of the system's error, which libraries hide in causes and in words."""
    while error is not None:
        number = getattr(error, "errno", None) or getattr(error, "error_code", None)
        if isinstance(number, int):
            return number
        found = _NUMBER.search(str(error))
        if found:
            return int(found[1])
        error = error.__cause__ or error.__context__
    return None


def _words(error: BaseException) -> str:
    text = _NUMBER.sub("", str(error)).replace("]", "", 1) if _NUMBER.search(str(error)) else ""
    return " ".join((text or str(error)).split()).rstrip(".") or type(error).__name__
