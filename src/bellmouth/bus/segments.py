"""Whole messages out of frames and into frames, ISO 15765-2, by the ISO-TP library.

One state machine for each controller, fed with that controller's frames alone, so that answers
whose frames come interleaved do not eat each other's. The machines have no threads: they move
when they are fed, and when their time runs out.
"""

from collections import deque
from collections.abc import Callable

import isotp

from bellmouth.bus.link import Losses
from bellmouth.j1979.addressing import Identifiers, physical_id, response_id

__all__ = ["MARGIN_S", "N_BS_S", "N_CR_S", "PADDING", "Assembly"]

N_BS_S = 0.075  # we wait so long for a flow control frame: ISO 15765-4, from memory
N_CR_S = 0.15  # and so long for the next consecutive frame: ISO 15765-4, from memory
MARGIN_S = 0.1  # for slow adapters; our choice
PADDING = 0x55  # any value is allowed; this one has few stuff bits
_FRAME_BYTES = 8
_SINGLE, _FIRST, _CONSECUTIVE = 0x0, 0x1, 0x2  # upper half of the frame's first byte
_IN_FIRST, _IN_CONSECUTIVE = 6, 7  # bytes of the message in a frame
# Flow control: go on, as many frames as there are, as quickly as may be.
_GO_ON = bytes((0x30, 0x00, 0x00)).ljust(_FRAME_BYTES, bytes((PADDING,)))

_CUT = (
    isotp.ConsecutiveFrameTimeoutError,
    isotp.WrongSequenceNumberError,
    isotp.ReceptionInterruptedWithSingleFrameError,
    isotp.ReceptionInterruptedWithFirstFrameError,
)
_TAINTING = (*_CUT, isotp.UnexpectedConsecutiveFrameError)
_STRAY = (isotp.UnexpectedConsecutiveFrameError, isotp.UnexpectedFlowControlError)

Send = Callable[[int, bytes], None]


class Assembly:
    """Messages of one controller.

    Parameters
    ----------
    address
        The controller's.
    identifiers
        Size of the identifiers.
    send
        Puts a frame (identifier, data) on the bus.
    losses
        Where cut, damaged and stray messages are counted.

    Attributes
    ----------
    head
        The first bytes of the message that has begun, or began last.
    """

    def __init__(self, address: int, identifiers: Identifiers, send: Send, losses: Losses) -> None:
        self._losses, self._send = losses, send
        self.head = b""
        self._in: deque[isotp.CanMessage] = deque()
        self._before = b""
        self._left = 0  # bytes still to come of the message that has begun
        self._sequence = 0  # of the consecutive frame that comes next
        self._is_told = False  # the controller has been told to go on, before the library says so
        self._is_tainted = False
        self._extended = identifiers == 29
        self._request_id = physical_id(address, identifiers)
        self._response_id = response_id(address, identifiers)
        mode = isotp.AddressingMode
        self._logic = isotp.TransportLayerLogic(
            rxfn=lambda _: self._in.popleft() if self._in else None,
            txfn=self._put,
            address=isotp.Address(
                mode.Normal_29bits if self._extended else mode.Normal_11bits,
                txid=self._request_id,
                rxid=self._response_id,
            ),
            error_handler=self._note,
            params={
                "tx_padding": PADDING,
                "tx_data_min_length": _FRAME_BYTES,
                "blocksize": 0,
                "stmin": 0,
                "rx_flowcontrol_timeout": round(1000 * (N_BS_S + MARGIN_S)),
                "rx_consecutive_frame_timeout": round(1000 * (N_CR_S + MARGIN_S)),
                "logger_name": "bellmouth.bus.segments",
            },
        )
        self._logic.logger.disabled = True  # what it would say is counted

    @property
    def is_receiving(self) -> bool:
        """Whether a message has begun and is not yet whole."""
        return bool(self._logic.is_rx_active())

    def feed(self, data: bytes, *, more: bool = False) -> bytes | None:
        """Take a frame's data; a message comes back once it is whole.

        ``more``: the controller's next frame is there already and will be fed at once, so that
        the library may look at both together.
        """
        kind = data[0] >> 4 if data else None
        if kind == _FIRST and len(data) < _FRAME_BYTES:
            self._losses.damaged += 1  # a first frame is full by definition
            return None
        repeated, self._before = data == self._before, data
        if repeated and kind == _CONSECUTIVE:
            self._losses.stray += 1  # the counter would have moved: this frame came twice
            return None
        if not self._is_full(kind, data):
            self._losses.damaged += 1  # its missing bytes would be made up from padding later
            self._is_tainted = self.is_receiving
            return None
        if kind == _SINGLE and not self.is_receiving and 1 <= data[0] < len(data):
            return data[1 : 1 + data[0]]  # nothing to put together, and most answers are such
        if kind == _FIRST:
            self._is_told = self._left > -_IN_FIRST
            if self._is_told:  # the controller waits for this; the library may take its time
                self._send(self._request_id, _GO_ON)
        self._in.append(isotp.CanMessage(self._response_id, data=data, extended_id=self._extended))
        if more and kind == _CONSECUTIVE and self.is_receiving and self._left > 0:
            return None
        if kind in (_SINGLE, _CONSECUTIVE) or (kind == _FIRST and self._is_told):
            while self._in:  # it has nothing to say, and stops after each frame to say it
                self._logic.process(do_tx=False)
        else:
            self._logic.process()
        return self._whole()

    def completes(self, data: bytes) -> bool:
        """Whether a frame, not yet fed, is the one that makes the message whole."""
        return (
            0 < self._left < len(data)
            and data[0] == _CONSECUTIVE << 4 | self._sequence
            and self.is_receiving
            and not self._is_tainted
        )

    def _is_full(self, kind: int | None, data: bytes) -> bool:
        """Whether a frame holds all that it must: only a message's last may be short."""
        if kind == _FIRST:
            self._left = ((data[0] & 0x0F) << 8 | data[1]) - _IN_FIRST
            self._sequence, self.head = 1, data[2:]
        elif kind == _CONSECUTIVE and self.is_receiving:
            if len(data) < _FRAME_BYTES and len(data) - 1 < self._left:
                return False
            self._left -= _IN_CONSECUTIVE
            self._sequence = (self._sequence + 1) & 0xF
        return True

    def _put(self, message: isotp.CanMessage) -> None:
        data = bytes(message.data)
        if not (self._is_told and data == _GO_ON):
            self._send(message.arbitration_id, data)

    def _whole(self) -> bytes | None:
        found = self._logic.recv()
        if found and self._is_tainted:
            self._losses.cut += 1
            return None
        return bytes(found) if found else None

    def tick(self) -> None:
        """Let time run out where it has."""
        self._logic.process()

    def forget(self) -> None:
        """Give up a message that has begun, and count it; start afresh."""
        if self.is_receiving:
            self._losses.cut += 1
        self._before, self._is_tainted = b"", False
        self._logic.reset()

    def _note(self, error: Exception) -> None:
        # Frames do not say to which message they belong: once one is amiss, what follows may be
        # put together from two messages, until all has come to rest.
        self._is_tainted |= isinstance(error, _TAINTING)
        if isinstance(error, _CUT):
            self._losses.cut += 1
        elif isinstance(error, _STRAY):
            self._losses.stray += 1
        else:
            self._losses.damaged += 1
