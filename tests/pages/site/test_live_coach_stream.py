"""What a browser that looks on at a followed attempt is sent, and what when it comes back."""

import asyncio
import json
from types import SimpleNamespace
from typing import Any

import pytest

from bellmouth.pages.site.pulse import Pulse
from bellmouth.pages.site.view_live_coach import _told

CUES = [{"text": "three"}, {"text": "two"}, {"text": "one"}]
POINTS = [["pedal", 0.1, 0.0], ["pedal", 0.2, 5.0]]


def _coached() -> Any:
    trace = SimpleNamespace(since=lambda count: (len(POINTS), POINTS[count:]))
    return SimpleNamespace(
        cues=CUES, trace=trace, pulse=Pulse(), over=True, progress=dict, windows=list,
        wish=SimpleNamespace(ident="0123456789abcdef"),
    )  # fmt: skip


def _events(last: str) -> list[str]:
    async def gone() -> bool:
        return False

    async def heard() -> list[str]:
        request: Any = SimpleNamespace(headers={"last-event-id": last}, is_disconnected=gone)
        return [one async for one in _told(request, _coached(), None)]

    return asyncio.run(heard())


def _said(event: str) -> tuple[str, dict[str, Any]]:
    head, data = event.strip().splitlines()
    return head.removeprefix("id: "), json.loads(data.removeprefix("data: "))


def test_it_comes_back_before_the_page_gives_up() -> None:
    """A browser's own 3 s are longer than the page waits: every broken connection was an attempt
    that is void."""
    again, *_ = _events("")
    assert again.startswith("retry: ")
    assert int(again.removeprefix("retry: ")) <= 1000
    assert again.endswith("\n\n")


def test_who_comes_back_gets_no_cue_and_no_point_twice() -> None:
    """Points sent twice drew a line back over the picture."""
    _, first = _events("")
    mark, told = _said(first)
    assert [told["cues"], told["trace"]] == [CUES, POINTS]
    _, later = _events(mark)
    assert [_said(later)[1][name] for name in ("cues", "trace")] == [[], []]


@pytest.mark.parametrize("last", ["3", "x-y", "3-1-1"])
def test_what_is_no_mark_of_ours_begins_anew(last: str) -> None:
    _, first = _events(last)
    assert _said(first)[1]["cues"] == CUES
