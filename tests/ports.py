"""TCP ports for servers that go away and come back on the same one."""

import itertools
import os
import socket

__all__ = ["kept_port"]

#: Below those that the system gives out by itself (Linux: 32768 on), so that nobody who asks for
#: any port is given this one while its server is away; each process begins elsewhere.
_FIRST, _COUNT = 20_000, 12_000
_NEXT = itertools.count(os.getpid() * 101)


def kept_port() -> int:
    """A port of this machine that nobody has, nor is given while its server is away."""
    for number in itertools.islice(_NEXT, _COUNT):
        port = _FIRST + number % _COUNT
        with socket.socket() as found:
            try:
                found.bind(("127.0.0.1", port))
            except OSError:
                continue
        return port
    raise RuntimeError("every port is taken")
