"""A practice car behind a serial-line CAN adapter, on loopback TCP or a pseudo-terminal.

Other programs open it as they would a USB adapter: ``python-can``'s ``slcan`` interface takes
:attr:`SlcanServer.channel`, which is ``socket://127.0.0.1:PORT`` or the terminal's path. One
thread carries everything. One client at a time: whoever connects next takes the adapter over, as
whoever plugs in the cable does.

Not imitated: how long frames take on the bus and on the serial line, and the bus's own errors.
"""

import socket
import time

from bellmouth.errors import BusError
from bellmouth.j1979.addressing import Identifiers
from bellmouth.practice.answering import Answering
from bellmouth.practice.faulty import Disturbance, Passage
from bellmouth.practice.frames import Frame
from bellmouth.practice.isotp_node import CanCar
from bellmouth.practice.serving import Serving, Terminal, read_some, write_some
from bellmouth.practice.slcan import Adapter, frame_line

__all__ = ["HOST", "SlcanServer"]

HOST = "127.0.0.1"  # loopback alone: a practice car is nobody else's business

_MOST_WAITING_BYTES = 4096  # for a client that does not read; then the adapter's memory is full


class SlcanServer(Serving):
    """Serves a car until closed; also a context manager.

    Parameters
    ----------
    car
        What answers.
    port
        TCP port on loopback; 0 picks a free one.
    pty
        A pseudo-terminal instead of TCP.
    bit_rate
        Speed of the car's bus. A client at another sees an empty bus. [bit/s]
    identifiers
        Size of the identifiers the car listens on.
    disturbance
        How bad the wire between adapter and computer is; None for a good one.
    padding, strict
        See ``CanCar``.

    Raises
    ------
    BusError
        If the port is taken or may not be had.
    """

    def __init__(
        self,
        car: Answering,
        *,
        port: int = 0,
        pty: bool = False,
        bit_rate: int = 500_000,
        identifiers: Identifiers = 11,
        disturbance: Disturbance | None = None,
        padding: int = 0xAA,
        strict: bool = True,
    ) -> None:
        super().__init__("practice-slcan", "slcan")
        self._can = CanCar(car, identifiers=identifiers, padding=padding, strict=strict)
        self._adapter = Adapter(bit_rate)
        self._disturbance = disturbance
        self._to_car: Passage[Frame] = Passage(disturbance)
        self._to_computer: Passage[Frame] = Passage(disturbance)
        self._port = port
        self._out = bytearray()
        self._listener: socket.socket | None = None
        self._client: socket.socket | None = None
        self._terminal: Terminal | None = None
        self.clients = 0
        try:
            if pty:
                self._terminal = Terminal()
            else:
                self._listen()
        except BaseException:
            self.close()
            raise
        self._channel = self._terminal.path if self._terminal else f"socket://{HOST}:{self._port}"
        self._begin()

    @property
    def port(self) -> int:
        """TCP port it listens on; 0 on a pseudo-terminal."""
        return self._port

    @property
    def channel(self) -> str:
        """What ``python-can``'s ``slcan`` interface takes as its channel."""
        return self._channel

    def unplug(self) -> None:
        """Pull the cable: the client's connection breaks, and nobody can connect (TCP alone)."""
        with self._lock:
            self._drop_client()
            if self._listener is not None:
                # Closed alone it would go on listening while another thread waits upon it.
                self._listener.shutdown(socket.SHUT_RDWR)
                self._listener.close()
                self._listener = None
        self._wake()

    def plug(self) -> None:
        """Put the cable back: the same port listens again (TCP alone)."""
        with self._lock:
            if self._listener is None and self._terminal is None:
                self._listen()
        self._wake()

    def _release(self) -> None:
        self._drop_client()
        for end in (self._listener, self._terminal):
            if end is not None:
                end.close()
        self._listener = self._terminal = None

    def _listen(self) -> None:
        listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        try:
            # Without it, the port of a client gone a moment ago would be taken for a minute.
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            listener.bind((HOST, self._port))
            listener.listen(1)
        except (OSError, OverflowError) as error:
            listener.close()
            reason = getattr(error, "strerror", None) or str(error)
            raise BusError(
                f"Port {self._port} on {HOST} cannot be used ({reason.lower()}); give another with "
                "--port, or leave it out and a free one is picked."
            ) from error
        listener.setblocking(False)
        self._listener = listener
        self._port = int(listener.getsockname()[1])

    def _wanted(self) -> tuple[list[int], list[int], float | None]:
        end = self._end()
        # A client that sends and does not read is left waiting, not served from memory.
        full = len(self._out) >= _MOST_WAITING_BYTES
        readers = [end] if end is not None and not full else []
        writers = [end] if end is not None and self._out else []
        if self._listener is not None:
            readers.append(self._listener.fileno())
        now = time.monotonic()
        waits = (self._can.wait_s(), self._to_car.wait_s(now), self._to_computer.wait_s(now))
        return readers, writers, min((w for w in waits if w is not None), default=None)

    def _end(self) -> int | None:
        """Where the computer's characters come from, if there is one."""
        if self._terminal is not None:
            return self._terminal.end
        return self._client.fileno() if self._client is not None else None

    def _serve(self, ready: list[int]) -> None:
        end = self._end()
        if end is not None and end in ready:
            self._read(end)
        if self._listener is not None and self._listener.fileno() in ready:
            self._accept(self._listener)
        for frame, damaged in self._to_car.take(time.monotonic()):
            if not damaged:  # the adapter refuses a damaged line, so the car never hears of it
                self._can.take(frame)
        for frame in self._can.give():
            if self._adapter.hears:
                self._to_computer.put(frame, time.monotonic())
        for frame, damaged in self._to_computer.take(time.monotonic()):
            self._tell(frame, damaged=damaged)
        end = self._end()
        if end is not None and self._out and not write_some(end, self._out):
            self._drop_client()

    def _read(self, end: int) -> None:
        data = read_some(end)
        if data is None:
            return
        if not data:
            self._drop_client()
            return
        self._out += self._adapter.feed(data)
        now = time.monotonic()
        for frame in self._adapter.sent:
            self._to_car.put(frame, now)
        self._adapter.sent.clear()

    def _tell(self, frame: Frame, *, damaged: bool) -> None:
        line = frame_line(frame)
        if damaged and self._disturbance is not None:
            line = self._disturbance.damaged_line(line)
        if len(self._out) + len(line) < _MOST_WAITING_BYTES:
            self._out += line + b"\r"
        else:
            self._adapter.overrun = True

    def _accept(self, listener: socket.socket) -> None:
        try:
            client, _ = listener.accept()
        except OSError:
            return  # gone again before it was let in
        self._drop_client()
        client.setblocking(False)
        client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._client = client
        self.clients += 1

    def _drop_client(self) -> None:
        """The computer has gone: the adapter is as if just plugged in."""
        if self._client is not None:
            self._client.close()
            self._client = None
        self._adapter.reset()
        self._out.clear()
        self._to_car.clear()
        self._to_computer.clear()
