"""The flange of a throttle body with the turn of each bolt, as a picture and in plain letters."""

import math

from markupsafe import Markup, escape

from bellmouth.work.card import Tightening

__all__ = ["flange_letters", "flange_svg", "turns"]

# Where the first bolt sits, counted clockwise: top for three, top left for an even number. [deg]
_FIRST_DEG = {3: 0.0, 4: -45.0, 6: -30.0}


def turns(tightening: Tightening) -> tuple[tuple[int, float, float], ...]:
    """Each bolt's turn and its place: x to the right, y upwards, on a circle of radius 1."""
    first = math.radians(_FIRST_DEG.get(tightening.bolts, 0.0))
    step = 2 * math.pi / tightening.bolts
    found = []
    for turn, bolt in enumerate(tightening.order, 1):
        angle = first + (bolt - 1) * step
        found.append((turn, math.sin(angle), math.cos(angle)))
    return tuple(found)


def flange_svg(tightening: Tightening, title: str) -> Markup:
    """The flange as SVG: bore, outline, path from turn to turn, figures in the bolts."""
    places = [(turn, 50 + 35 * x, 50 - 35 * y) for turn, x, y in turns(tightening)]
    path = " ".join(f"{x:.1f},{y:.1f}" for _, x, y in places)
    bolts = "".join(
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="10.5" fill="white" stroke="black" '
        f'stroke-width="1.8"/><text x="{x:.1f}" y="{y + 4.6:.1f}" font-size="13.5" '
        f'font-weight="bold" text-anchor="middle" fill="black">{turn}</text>'
        for turn, x, y in places
    )
    return Markup(  # noqa: S704 - our own drawing; the title is escaped
        f'<svg viewBox="0 0 100 100" role="img" aria-label="{escape(title)}" class="flange" '
        'font-family="sans-serif"><circle cx="50" cy="50" r="48.5" fill="white" stroke="black" '
        'stroke-width="1.5"/><circle cx="50" cy="50" r="19" fill="none" stroke="black" '
        'stroke-width="1"/><line x1="31" y1="50" x2="69" y2="50" stroke="black" '
        f'stroke-width="1"/><polyline points="{path}" fill="none" stroke="black" '
        f'stroke-width="0.8" stroke-dasharray="3 2.5"/>{bolts}</svg>'
    )


def flange_letters(tightening: Tightening) -> tuple[str, ...]:
    """The flange in five lines of letters, for a terminal."""
    rows = [[" "] * 11 for _ in range(5)]
    rows[2][4:7] = "(-)"
    for turn, x, y in turns(tightening):
        rows[round(2 - 2 * y)][round(5 + 5 * x)] = str(turn)
    return tuple("".join(row).rstrip() for row in rows)
