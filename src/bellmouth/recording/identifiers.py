"""Who is asked under which CAN identifier; who answers, :mod:`bellmouth.j1979.addressing` says."""

from bellmouth.j1979.addressing import address_of, functional_id, physical_id

__all__ = ["EVERYBODY", "responder", "target"]

EVERYBODY = -1
_REQUEST_TO_RESPONSE_11 = 8  # ISO 15765-4, from memory


def responder(identifier: int, extended: bool) -> int | None:
    """Address of the controller that replies under an identifier; None where it is no reply."""
    return address_of(identifier, extended=extended)


def target(identifier: int, extended: bool) -> int | None:
    """Address asked under an identifier, or ``EVERYBODY``; None where it is no request."""
    if identifier == functional_id(29 if extended else 11):
        return EVERYBODY
    if not extended:
        return address_of(identifier + _REQUEST_TO_RESPONSE_11, extended=False)
    address = identifier >> 8 & 0xFF
    return address if identifier == physical_id(address, 29) else None
