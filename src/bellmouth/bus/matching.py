"""Does this reply answer that request? Service and identifiers must agree, whatever the wire."""

from bellmouth.j1979.messages import BUSY, NEGATIVE, POSITIVE, RESPONSE_PENDING, Service

__all__ = ["fits", "is_busy", "is_promise", "is_refusal"]

_WITH_IDENTIFIER = frozenset({Service.CURRENT_DATA, Service.FREEZE_FRAME})


def fits(request: bytes, reply: bytes) -> bool:
    """Whether a reply, negative ones included, can be the answer to a request.

    For services 01 and 02 the first identifier answered must be one of those asked (a controller
    may answer in another order, or leave some out), for 09 it must be the item asked. The rest of
    the content is the client's to judge.
    """
    if len(request) == 0 or len(reply) == 0:
        return False
    if reply[0] == NEGATIVE:
        return len(reply) == 3 and reply[1] == request[0]
    if reply[0] != request[0] + POSITIVE:
        return False
    if request[0] in _WITH_IDENTIFIER:
        step = 1 if request[0] == Service.CURRENT_DATA else 2
        return len(reply) > 1 and reply[1] in request[1::step]
    if request[0] == Service.VEHICLE_INFORMATION:
        return reply[1:2] == request[1:2]
    return True


def is_refusal(reply: bytes) -> bool:
    """Whether a reply is negative."""
    return reply[:1] == bytes((NEGATIVE,))


def is_busy(reply: bytes) -> bool:
    """Whether a reply only asks to ask again (negative, code 21)."""
    return is_refusal(reply) and reply[2:3] == bytes((BUSY,))


def is_promise(reply: bytes) -> bool:
    """Whether a reply only promises a later one (negative, code 78)."""
    return is_refusal(reply) and reply[2:3] == bytes((RESPONSE_PENDING,))
