"""An answer belongs to a request only by service and identifier."""

import pytest

from bellmouth.bus.matching import fits, is_busy, is_promise, is_refusal
from tests.bus.peer import hexed


@pytest.mark.parametrize(
    ("request_hex", "reply", "belongs"),
    [
        ("010C", "410C0AF0", True),
        ("010C", "410D00", False),  # another parameter: a belated answer
        ("010C0D", "410D000C0AF0", True),  # in another order
        ("010C", "420C000AF0", False),
        ("020C00", "420C000AF0", True),
        ("020C00", "420500", False),
        ("0902", "490201", True),
        ("0902", "490401", False),
        ("03", "4300", True),
        ("03", "4700", False),
        ("010C", "7F0112", True),
        ("010C", "7F0312", False),
        ("010C", "7F01", False),
        ("010C", "41", False),
        ("010C", "", False),
        ("", "41", False),
    ],
)
def test_fits(request_hex: str, reply: str, *, belongs: bool) -> None:
    assert fits(hexed(request_hex), hexed(reply)) is belongs


def test_promises_and_refusals() -> None:
    assert is_promise(hexed("7F0178"))
    assert not is_promise(hexed("7F0112"))
    assert not is_promise(hexed("410C0AF0"))
    assert is_busy(hexed("7F0121"))
    assert not is_busy(hexed("7F0178"))
    assert is_refusal(hexed("7F0112"))
    assert not is_refusal(hexed("410C0AF0"))
