"""An attempt on a time line: when each step began, and how each measured time lies in its window.

Drawn here as inline SVG, in the page's colours; nothing is told by colour alone.
"""

from collections.abc import Mapping, Sequence
from typing import Any
from xml.sax.saxutils import escape

from bellmouth.pages.card_words import Words

__all__ = ["attempt_svg"]

_WIDE, _ROW, _BARE, _TOP, _LEFT, _RIGHT = 360, 62, 24, 64, 6, 6
#: Beside a longer title no measured time has room; the table has it.
_TITLE = 36
#: In a narrower window its two ends are one text.
_APART = 80
_SHAPES = {"met": "✓", "missed": "✗", "cannot tell": "?"}


def attempt_svg(judgement: Mapping[str, Any], says: Mapping[str, str], words: Words) -> str:
    """The picture of a judgement document; ``says`` has each step's words by its name."""
    lines: Sequence[Mapping[str, Any]] = judgement["steps"]
    tops = [_TOP]
    for line in lines:
        tops.append(tops[-1] + (_ROW if _is_drawn(line) else _BARE))
    alt = "; ".join(f"{_words(line, says)}: {words.text(line['judgement'])}" for line in lines)
    parts = [
        f'<svg class="attempt" viewBox="0 0 {_WIDE} {tops[-1]}" role="img" '
        f'aria-label="{escape(alt, {chr(34): "&quot;"})}">',
        *_strip(lines, words),
    ]
    for index, line in enumerate(lines):
        told = words.text(line["judgement"])
        parts += _row(line, f"{_words(line, says)}: {told}", index, tops[index], words)
    return "".join([*parts, "</svg>"])


def _is_drawn(line: Mapping[str, Any]) -> bool:
    """Whether there is a window or a measured time to be drawn."""
    least, most = line["window"]
    return line["measured"] is not None or bool(least) or most is not None


def _words(line: Mapping[str, Any], says: Mapping[str, str]) -> str:
    name, _, more = str(line["step"]).partition(": ")
    word = says.get(name, name.replace("_", " "))
    return f"{word}: {says.get(more, more.replace('_', ' '))}" if more else word


def _strip(lines: Sequence[Mapping[str, Any]], words: Words) -> list[str]:
    """The whole attempt to scale, with each step's number where it began."""
    at = [(i, line["at_s"]) for i, line in enumerate(lines, 1) if line["at_s"] is not None]
    if not at:
        return []
    first, last = min(s for _, s in at), max(s for _, s in at)
    scale = (_WIDE - _LEFT - _RIGHT - 12) / max(last - first, 1.0)
    parts = [f'<path class="axis" d="M{_LEFT} 40H{_WIDE - _RIGHT}"/>']
    beyond = [-100.0, -100.0]
    for number, seconds in at:
        x = _LEFT + 6 + (seconds - first) * scale
        parts.append(f'<path class="tick" d="M{x:.1f} 34v12"/>')
        # Numbers that stand close together take two lines by turns.
        line = next((one for one in (0, 1) if x - beyond[one] >= 18), None)
        if line is not None:
            parts.append(f'<text class="n" x="{x:.1f}" y="{28 - 15 * line}">{number}</text>')
            beyond[line] = x
    parts.append(
        f'<text class="soft" x="{_WIDE - _RIGHT}" y="58" text-anchor="end">'
        f"{words.figure(last - first)} s</text>"
    )
    return parts


def _row(line: Mapping[str, Any], told: str, index: int, top: int, words: Words) -> list[str]:
    shape = _SHAPES.get(line["judgement"], "?")
    told = f"{index + 1} {shape} {told}"
    kind = str(line["judgement"]).replace(" ", "-")
    parts = [f'<text class="{kind}" x="{_LEFT}" y="{top + 15}">{escape(told)}</text>']
    least, most = line["window"]
    measured = line["measured"]
    if not _is_drawn(line):
        return parts
    ends = [least or 0.0, most or 0.0, *(measured[k] or 0.0 for k in ("value",) if measured)]
    whole = 1.15 * max(*ends, 1.0)
    scale = (_WIDE - _LEFT - _RIGHT) / whole
    y = top + 22
    right = _WIDE - _RIGHT if most is None else _LEFT + most * scale
    left = _LEFT + (least or 0.0) * scale
    parts.append(f'<path class="axis" d="M{_LEFT} {y + 8}H{_WIDE - _RIGHT}"/>')
    parts.append(
        f'<rect class="window" x="{left:.1f}" y="{y}" width="{max(right - left, 3):.1f}" '
        'height="16"/>'
    )
    parts += _limits(least, most, left, right, y + 30, words)
    if measured is not None and measured["value"] is not None:
        parts += _measured(measured, scale, y)
        if len(told) <= _TITLE and measured["high"] is not None:
            parts.append(
                f'<text class="value" x="{_WIDE - _RIGHT}" y="{top + 15}" text-anchor="end">'
                f"{words.figure(measured['value'])} s</text>"
            )
    return parts


def _limits(
    least: float | None, most: float | None, left: float, right: float, y: int, words: Words
) -> list[str]:
    """The window's ends in figures under it, where they do not run into each other."""
    ends = []
    if least and right - left >= _APART:
        ends.append((left, "start", f"{_figure(least, words)} s"))
    if most is not None:
        low = f"{_figure(least, words)} … " if least and right - left < _APART else ""
        ends.append((right, "end" if right > 60 else "start", f"{low}{_figure(most, words)} s"))
    return [
        f'<text class="soft" x="{x:.1f}" y="{y}" text-anchor="{anchor}">{text}</text>'
        for x, anchor, text in ends
    ]


def _figure(seconds: float, words: Words) -> str:
    """A window's end as its procedure has it, no finer than that."""
    return words.figure(seconds, places=len(f"{seconds:g}".partition(".")[2]))


def _measured(measured: Mapping[str, Any], scale: float, y: int) -> list[str]:
    x = _LEFT + measured["value"] * scale
    low = _LEFT + (measured["low"] if measured["low"] is not None else 0.0) * scale
    edge = _WIDE - _RIGHT
    high = edge if measured["high"] is None else min(_LEFT + measured["high"] * scale, edge)
    low = max(low, _LEFT)
    span = f'<path class="span" d="M{low:.1f} {y + 8}H{high:.1f}"/>'
    if measured["high"] is None:
        # Longer than was seen: no point on the line is what was measured.
        return [span, f'<path class="dot" d="M{edge - 12} {y}l12 8l-12 8z"/>']
    return [
        span,
        f'<path class="dot" d="M{x:.1f} {y - 2}l6 10l-6 10l-6 -10z"/>',
    ]
