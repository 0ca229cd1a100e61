"""How a segment is formed and of what size it is, read from a frozen development. Pure: no Django, no database.

Developments frozen before there were several kinds lack `form`, `seam_length`, `holes`, `joint_length` and
`free_ends`; they are elbows, and everything follows from their edges.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise
from math import dist, pi
from typing import Any, Protocol

from fittings.drawing import seam_text
from travelers.routing import BRAKE, CONE, CYLINDER, FLAT

Segment = Mapping[str, Any]
Development = Mapping[str, Any]

ROUND_WITHIN = 0.01  # part of the radius that a round edge's points may be off
SIZE_PLACES = 3
SAME_IN = 0.005  # lengths on the metal that differ by less are one


class Finished(Protocol):
    """Something whose ends have finishes: an order line."""

    end_a: str
    end_b: str
    end_c: str


# -- the fitting ----------------------------------------------------------------


def forms_of(development: Development) -> tuple[str, ...]:
    """The different forms of a fitting's segments, in order."""
    return tuple(dict.fromkeys(form_of(segment) for segment in development["segments"]))


def ends_of(development: Development) -> tuple[str, ...]:
    """The letters of a fitting's free ends, in order.

    >>> ends_of({"free_ends": [{"end": "b"}]}), ends_of({})
    (('b',), ('a', 'b'))
    """
    free = development.get("free_ends")
    return ("a", "b") if free is None else tuple(one["end"] for one in free)


def finishes_of(line: Finished, letters: Iterable[str]) -> dict[str, str]:
    """The finish of each of these ends, as an order line names them. End C is as end B where it is blank."""
    given = {"a": line.end_a, "b": line.end_b, "c": line.end_c or line.end_b}
    return {letter: given[letter] for letter in letters}


def sizes_at(development: Development, position: int | None) -> tuple[float, ...]:
    """Inside diameters that a machine must take for a segment, or for the fitting as a whole [in]; often one.

    A segment that is not round by itself (a disc, a braked one) is as large as its fitting.
    """
    thickness = float(development.get("thickness") or 0.0)
    segments = development["segments"]
    if position is not None:
        own = tuple(dict.fromkeys(size for size in round_sizes(segments[position - 1], thickness) if size))
        if own:
            return own
    free = [one["diameter"] for one in development.get("free_ends") or () if one.get("diameter")]
    every = free or [size for segment in segments for size in round_sizes(segment, thickness) if size]
    return (max(every),) if every else ()


# -- one segment ------------------------------------------------------------------


def form_of(segment: Segment) -> str:
    return segment.get("form") or CYLINDER


def bends_of(segment: Segment) -> list[Mapping[str, Any]]:
    """The bend lines of a braked segment."""
    return [mark for mark in segment.get("marks") or () if mark["name"] == "bend"]


def round_sizes(segment: Segment, thickness: float) -> tuple[float | None, float | None]:
    """Inside diameters of a segment at its edges A and B [in]; None where an edge is no circle.

    A cylinder is rolled to one diameter however its edges are cut. Of a cone an edge counts where its points in space
    lie on a circle; a circle's length on the mean surface is π (D + t).
    """
    form = form_of(segment)
    if form == CYLINDER:
        size = round(segment["stretch_out"] / pi - thickness, SIZE_PLACES)
        return size, size
    if form != CONE:
        return None, None
    rows = [strip[side] for side in (0, 1) for strip in (segment.get("space") or ())[:1]]
    sizes = [
        round(length_of(segment[name]) / pi - thickness, SIZE_PLACES) if is_circle(row) else None
        for name, row in zip(("edge_a", "edge_b"), rows, strict=False)
    ]
    return (sizes[0], sizes[1]) if len(sizes) == 2 else (None, None)


def is_circle(points: Sequence[Sequence[float]]) -> bool:
    """Whether points all round in space lie on one circle, however far apart: its centre is that of their ring.

    >>> is_circle([(1, 0, 2), (0, 1, 2), (-1, 0, 2), (0, -1, 2), (1, 0, 2)])
    True
    >>> is_circle([(2, 0, 2), (0, 1, 2), (-2, 0, 2), (0, -1, 2), (2, 0, 2)])
    False
    """
    ring = points[:-1] if len(points) > 1 and dist(points[0], points[-1]) < 1e-2 else points
    if len(ring) < 3:
        return False
    sides = [dist(ring[k - 1], ring[k]) for k in range(len(ring))]
    around = sum(sides)
    middles = [[(a + b) / 2 for a, b in zip(ring[k - 1], ring[k], strict=True)] for k in range(len(ring))]
    centre = [
        sum(side * middle[axis] for side, middle in zip(sides, middles, strict=True)) / max(around, 1e-9)
        for axis in range(3)
    ]
    radii = [dist(point, centre) for point in ring]
    mean = sum(radii) / len(radii)
    return mean > 0 and max(radii) - min(radii) <= 2 * ROUND_WITHIN * mean


def has_throat(segment: Segment) -> bool:
    """Whether it has a throat and a heel: a pipe or a concentric cone has none, its quarters are all alike."""
    return any(mark["name"] in ("throat", "heel", "side") for mark in segment.get("marks") or ())


def side_lengths(segment: Segment) -> tuple[float, ...]:
    """Lengths at the sides, where they do not follow from throat and heel: a branch is longest there [in].

    Of a plane cut round a cylinder the side is half way between throat and heel; marks end where a hole begins.
    """
    throat, heel = segment.get("throat"), segment.get("heel")
    if throat is None or heel is None or segment.get("holes"):
        return ()
    lines = [mark["line"] for mark in segment.get("marks") or () if mark["name"] in ("side", "quarter")]
    told = (throat, heel, (throat + heel) / 2)
    found = {round(length_of(line), 3) for line in lines}
    return tuple(
        sorted((one for one in found if all(abs(one - other) >= SAME_IN for other in told)), reverse=True)
    )


def seam_place(segment: Segment) -> str:
    """Where its lengthwise seam lies; empty where it has none, or where any place round it is as good.

    A braked one has it in the middle of a flat: X runs along the width of the rectangular end, Y along its height.
    """
    form = form_of(segment)
    if form == FLAT:
        return ""
    if form == BRAKE:
        return "width side" if round(segment["start_angle"] / 90) % 2 else "height side"
    if segment.get("seam_at"):
        return segment["seam_at"]
    if any(mark["name"] == "quarter" for mark in segment.get("marks") or ()):
        return ""
    return seam_text(segment)


def form_words(segment: Segment) -> str:
    """How it is formed, in a word or two: "12 bends".

    >>> form_words({"form": "cone"}), form_words({"form": "brake", "marks": [{"name": "bend"}]})
    ('cone', '1 bend')
    """
    form = form_of(segment)
    if form == BRAKE:
        return counted(len(bends_of(segment)), "bend")
    return {CYLINDER: "round", CONE: "cone", FLAT: "flat"}[form]


def counted(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"


def length_of(points: Sequence[Sequence[float]]) -> float:
    """Length of a line through points, as the points."""
    return sum(dist(one, other) for one, other in pairwise(points))
