"""Who speaks under which CAN identifier: ISO 15765-4, 11 and 29 bit (from memory)."""

__all__ = ["EVERYBODY", "responder", "target"]

EVERYBODY = -1


def responder(identifier: int, extended: bool) -> int | None:
    """Address of the controller that replies under an identifier; None where it is no reply."""
    if not extended:
        return 0x10 + identifier - 0x7E8 if 0x7E8 <= identifier <= 0x7EF else None
    return identifier & 0xFF if identifier >> 8 == 0x18DAF1 else None


def target(identifier: int, extended: bool) -> int | None:
    """Address asked under an identifier, or ``EVERYBODY``; None where it is no request."""
    if not extended:
        if identifier == 0x7DF:
            return EVERYBODY
        return 0x10 + identifier - 0x7E0 if 0x7E0 <= identifier <= 0x7E7 else None
    if identifier == 0x18DB33F1:
        return EVERYBODY
    return identifier >> 8 & 0xFF if identifier & 0xFFFF00FF == 0x18DA00F1 else None
