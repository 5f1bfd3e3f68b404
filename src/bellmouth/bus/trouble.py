"""What goes wrong with an adapter, said in one sentence each with what to try."""

import difflib
import errno
import re
from collections.abc import Iterable
from pathlib import Path

from bellmouth.errors import BusError

__all__ = [
    "cannot_open",
    "no_such_bit_rate",
    "nobody_answers",
    "stays_away",
    "unknown_interface",
]

_NUMBER = re.compile(r"\[?(?:Errno|Error Code) (\d+)\]?")
# pyserial leaves the number of what it caught in its words only.
_PAIR = re.compile(r"\((\d+), '")
_UNRESOLVED = re.compile(r"\[Errno -\d+\]")  # a name that is none: gaierror has numbers of its own
_UNDRIVEN = re.compile(
    r"\binstall|not found|Cannot import|only supported on|driver|not be loaded", re.I
)
_GONE = {errno.ENOENT, errno.ENODEV, errno.ENXIO}
_FORBIDDEN = {errno.EACCES, errno.EPERM}
_GROUP_MAY = 0o060
_PLAIN = {
    errno.ECONNREFUSED: "nothing listens there; start the practice car there (bellmouth practice "
    "--port N) or correct --channel.",
    errno.EBUSY: "another program holds it; close that program and try again.",
    errno.ENOTTY: "that is no serial port; correct --channel (/dev/ttyACM0, /dev/ttyUSB0).",
    errno.EISDIR: "that is a folder, not a serial port; correct --channel (/dev/ttyACM0, "
    "/dev/ttyUSB0).",
    errno.EAFNOSUPPORT: "this computer's system has no SocketCAN; use a serial-line adapter "
    "(--interface slcan), or load its kernel module (sudo modprobe can can_raw).",
}


def cannot_open(interface: str, channel: str | None, error: BaseException) -> BusError:
    """Why an adapter cannot be opened."""
    where = f"{interface} {channel}" if channel else interface
    known = _known(interface, channel, _errno(error))
    if known is None and not channel:
        known = "--channel is missing; name the port, device or number of the adapter."
    if known is None and _UNRESOLVED.search(str(error)):
        known = "no machine of that name; correct --channel (socket://127.0.0.1:PORT)."
    if known is None and channel and channel.startswith("socket://") and _has_no_port(channel):
        known = "the port is missing; write --channel socket://127.0.0.1:PORT."
    if known is None and _is_undriven(error):
        known = (
            f"the driver of such an adapter is not installed here ({_words(error)}); install what "
            "its maker gives, or use an adapter that needs no driver (--interface slcan)."
        )
    if known is not None:
        return BusError(f"{where}: {known}")
    return BusError(
        f"{where}: cannot be opened ({_words(error)}); check --interface and --channel, and that "
        "the adapter is plugged in."
    )


def _known(interface: str, channel: str | None, number: int | None) -> str | None:
    """What the system's error means here and what to try; None where that is not known."""
    if number in _FORBIDDEN:
        return _forbidden(channel)
    if number in _GONE:
        return f"there is no such adapter; {_look(interface)}"
    if number == errno.ENETDOWN:
        return (
            f"the interface is down; bring it up first (ip link set {channel} up type can "
            "bitrate 500000)."
        )
    return _PLAIN.get(number or 0)


def _forbidden(channel: str | None) -> str:
    """Whom the port belongs to, where that can be seen, is whom to join."""
    group = _group(channel)
    if group is None:
        return (
            "no permission to use it; let your account into the group that owns it (often "
            "dialout), log in again and try once more."
        )
    return (
        f'no permission to use it; it belongs to the group "{group}": let your account into that '
        f"(sudo usermod -aG {group} YOUR-NAME), log in again and try once more."
    )


def _group(channel: str | None) -> str | None:
    """Group of a port that its members may use; None where there is none, or it is root's."""
    try:
        import grp  # noqa: PLC0415 - not on every system

        seen = Path(channel or "").stat()
        name = grp.getgrgid(seen.st_gid).gr_name
    except (ImportError, OSError, ValueError, KeyError):
        return None
    return name if seen.st_mode & _GROUP_MAY == _GROUP_MAY and name != "root" else None


def _has_no_port(channel: str) -> bool:
    return not re.search(r":\d+(/|\?|$)", channel.removeprefix("socket://"))


def _is_undriven(error: BaseException) -> bool:
    """Whether it is the library of the adapter's maker that is not there."""
    return isinstance(error, NameError) or bool(_UNDRIVEN.search(str(error)))


def no_such_bit_rate(where: str, bit_rate: int, known: Iterable[int]) -> BusError:
    """A bit rate that no adapter of this kind can be set to."""
    return BusError(
        f"{where}: {bit_rate} bit/s is none of the speeds of a serial-line CAN adapter "
        f"({', '.join(map(str, known))}); correct --bitrate, or leave it out to have it found."
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


def stays_away(where: str) -> BusError:
    """An adapter that was there and has not come back."""
    return BusError(
        f"{where}: the adapter went away and did not come back; plug it in again and start anew."
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
            f"{where}: the adapter cannot put a question on the bus ({tried}); switch the ignition "
            "on, check its plug at the car and the bit rate."
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
        found = _NUMBER.search(str(error)) or _PAIR.search(str(error))
        if found:
            return int(found[1])
        error = error.__cause__ or error.__context__
    return None


def _words(error: BaseException) -> str:
    text = " ".join(_NUMBER.sub("", str(error)).split())
    return text.rstrip(".") or type(error).__name__
