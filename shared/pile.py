"""A pile of work as shapes: a slat a fitting, as thick as the hours that it still needs; a line across.

Pure: no Django. Shapes are in user units of an SVG 100 wide and `height` high, y downwards, floor at bottom.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

WIDTH = 100
UNITS_PER_HOUR = 10
THIN_PART = 0.012


@dataclass(frozen=True)
class Slat:
    """A rectangle across the bay; `css` is its classes, `title` what it stands for."""

    y: float
    height: float
    css: str
    title: str


@dataclass(frozen=True)
class Pile:
    """All shapes of one bay. `line_y` is None where no station works; `is_over`: it is above its line."""

    height: float
    slats: tuple[Slat, ...]
    line_y: float | None
    is_over: bool
    is_fine: bool


def pile(work: Iterable[tuple[float, str, str]], *, clears_hours: float | None, scale_hours: float) -> Pile:
    """The shapes of a bay.

    work          (hours, state, title) a fitting, the next to be worked on first; it lies at the bottom
    clears_hours  what the bay's stations clear by the end of the shift [h]; None where there is none
    scale_hours   hours that the full height stands for, the same for all bays [h], > 0
    returns       slats from the bottom up; one that reaches over the line is cut at it

    >>> [slat.css for slat in pile([(2, "ready", ""), (2, "ready", "")], clears_hours=3, scale_hours=5).slats]
    ['slat', 'slat', 'slat is-over']
    """
    height = scale_hours * UNITS_PER_HOUR
    slats: list[Slat] = []
    below = 0.0
    thinnest = height
    for hours, state, title in work:
        css = f"slat is-{state}" if state in ("running", "held") else "slat"
        above = below + hours
        thinnest = min(thinnest, hours * UNITS_PER_HOUR)
        if clears_hours is None or above <= clears_hours:
            slats.append(_slat(below, above, height, css, title))
        elif below >= clears_hours:
            slats.append(_slat(below, above, height, css + " is-over", title))
        else:
            slats.append(_slat(below, clears_hours, height, css, title))
            slats.append(_slat(clears_hours, above, height, css + " is-over", title))
        below = above
    line_y = None if clears_hours is None else round(height - clears_hours * UNITS_PER_HOUR, 2)
    is_over = clears_hours is not None and below > clears_hours
    return Pile(round(height, 2), tuple(slats), line_y, is_over, thinnest < THIN_PART * height)


def _slat(below: float, above: float, height: float, css: str, title: str) -> Slat:
    return Slat(
        round(height - above * UNITS_PER_HOUR, 2), round((above - below) * UNITS_PER_HOUR, 2), css, title
    )
