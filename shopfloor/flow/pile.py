"""The geometry of a pile: slats from the ground up, on one scale of hours for all bays, the line at what a bay clears.

Heights are per cent of the bay's height, y counted from the top, as SVG wants them. Pure numbers; the template draws.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

HEADROOM = 26.0
"""Per cent kept free above the highest pile for its figure: 5.3 of the 20.2 u that a bay is high on a 16:9 screen."""
LINE_THICK = 1.5
"""Per cent. Half of the line's thickness, with a little air."""
THINNEST = 1.1
"""Per cent. Thinner slats are drawn together as one of about this thickness."""
GAP = 0.35
"""Per cent of bay height between two slats."""
TALLEST = 2.5
"""A pile is cut off at so many times the highest line, with a break mark: below that, the others would be lines."""
ORDER = {"running": 0, "ready": 1, "held": 2}


@dataclass(frozen=True, slots=True)
class Slat:
    """The work that one fitting still needs at an operation [h]. state is running, ready or held."""

    hours: float
    state: str
    fittings: int = 1


@dataclass(frozen=True, slots=True)
class DrawnSlat:
    y: float
    height: float
    state: str
    is_over: bool
    fittings: int


@dataclass(frozen=True)
class Pile:
    """A bay's pile as drawn. `top` is the top of its slats; `line` is None where no station does the work."""

    slats: tuple[DrawnSlat, ...]
    line: float | None
    top: float
    is_cut: bool

    @property
    def figure(self) -> float:
        """Where the figure stands: on the pile, or on the line where the line would cross it."""
        if self.line is not None and self.top - HEADROOM < self.line <= self.top:
            return round(self.line - LINE_THICK, 2)
        return self.top

    @property
    def cut_at(self) -> float:
        """Where the break mark of a cut pile begins; it rises to `cut_low`."""
        return HEADROOM + 7.0

    @property
    def cut_low(self) -> float:
        return HEADROOM + 2.0


def scale_top(piles_hours: Sequence[float], clears_hours: Sequence[float]) -> float:
    """The hours that the full height of every bay stands for [h].

    >>> scale_top([2.0, 5.0], [4.0, 4.0]), scale_top([200.0], [4.0]), scale_top([], [])
    (5.0, 10.0, 1.0)
    """
    highest = max(piles_hours, default=0.0)
    line = max(clears_hours, default=0.0)
    return max(min(highest, TALLEST * line) if line > 0 else highest, line, 1.0)


def pile(slats: Iterable[Slat], *, clears_hours: float, top_hours: float) -> Pile:
    """Draw a pile: running at the bottom, then ready in the order given, held on top.

    slats         one a fitting, those of a state in the order in which they stand
    clears_hours  what the bay's stations clear within the horizon [h]
    top_hours     the hours that the bay's height stands for [h], > 0
    """
    per_hour = (100.0 - HEADROOM) / top_hours
    room = top_hours
    ordered = sorted(slats, key=lambda slat: ORDER.get(slat.state, 1))
    drawn: list[DrawnSlat] = []
    reached = 0.0
    is_cut = False
    group_hours, group_fittings, group_state, group_over = 0.0, 0, "", False

    def put() -> None:
        nonlocal group_hours, group_fittings
        if not group_fittings:
            return
        height = group_hours * per_hour
        drawn.append(
            DrawnSlat(
                round(100.0 - reached * per_hour, 2),
                round(max(height - min(GAP, height / 3), 0.05), 2),
                group_state,
                group_over,
                group_fittings,
            )
        )
        group_hours, group_fittings = 0.0, 0

    for slat in ordered:
        hours = max(0.0, slat.hours)
        if reached + hours > room * 1.0001:
            hours = max(0.0, room - reached)
            is_cut = True
        over = slat.state != "held" and reached + hours > clears_hours + 1e-9
        if group_fittings and (slat.state != group_state or over != group_over):
            put()
        group_state, group_over = slat.state, over
        group_hours += hours
        group_fittings += slat.fittings
        reached += hours
        if group_hours * per_hour >= THINNEST:
            put()
        if is_cut:
            break
    put()
    line = round(100.0 - clears_hours * per_hour, 2) if clears_hours > 0 else None
    top = round(100.0 - reached * per_hour, 2)
    return Pile(tuple(drawn), line, top, is_cut)
