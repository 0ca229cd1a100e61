"""A drawing as a list of primitives, between the geometry and what it is written as.

A scene is laid out on paper: x to the right, y upwards, in paper units (1 unit is 1 pt in a PDF and 1 user unit in an
SVG), so that text keeps its legible size whatever the size of the fitting. Roles say what a line means; SVG makes them
CSS classes, PDF line weights that part in black and white.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import shapely

Point = tuple[float, float]

ROLES = (
    "outline",  # an edge that is seen
    "joint",  # between two segments
    "hidden",  # an edge behind
    "centre",  # axes and centres
    "seam",  # the lengthwise seam of a segment
    "dimension",  # dimension and extension lines
    "arrow",  # filled arrowheads
    "text",  # numbers of dimensions
    "label",  # words and position numbers
    "picked",  # filled: the segment that is meant
    "cut",  # what the table cuts
    "net",  # the pattern without allowances
    "mark",  # throat, heel, side
    "fold",  # where a piece is braked
    "hole",  # cut out of a pattern
    "contour",  # of a shaded body: its rims and where it turns away
    "meet",  # of a shaded body: its joints and creases
)
FILLED = ("arrow", "picked")
ADVANCE = 0.65  # every advance of the mono face used for numbers, em
ASCENT = 0.75  # cap height of the faces used, em


@dataclass(frozen=True)
class Path:
    """A polyline; curves are sampled. `points` are paper units."""

    points: tuple[Point, ...]
    role: str
    closed: bool = False


@dataclass(frozen=True)
class Text:
    """One line of text: (x, y) is on its base line at the `anchor` (start, middle, end); `size` in paper units."""

    x: float
    y: float
    text: str
    size: float
    role: str = "text"
    anchor: str = "middle"

    @property
    def width(self) -> float:
        return len(self.text) * ADVANCE * self.size


@dataclass(frozen=True)
class Facet:
    """A filled polygon of a shaded body; `shade` is its grey from 0, black, to 1, white. Later items cover it."""

    points: tuple[Point, ...]
    shade: float


Item = Path | Text | Facet


@dataclass(frozen=True)
class Scene:
    """A finished drawing: its size in paper units, its items, and what it shows in words."""

    width: float
    height: float
    items: tuple[Item, ...]
    title: str

    def texts(self) -> list[str]:
        return [item.text for item in self.items if isinstance(item, Text)]


def runs(scene: Scene) -> list[tuple[str | float, list[Path | Facet]]]:
    """What is drawn at one go: paths by role, in order of first appearance, or facets by shade.

    Where there are facets, later items cover earlier ones, and only those that follow each other go together.
    """
    drawn = [item for item in scene.items if not isinstance(item, Text)]
    if not any(isinstance(item, Facet) for item in drawn):
        found: dict[str | float, list[Path | Facet]] = {}
        for item in drawn:
            found.setdefault(item.role, []).append(item)
        return list(found.items())
    ordered: list[tuple[str | float, list[Path | Facet]]] = []
    for item in drawn:
        key = item.shade if isinstance(item, Facet) else item.role
        if not ordered or ordered[-1][0] != key:
            ordered.append((key, []))
        ordered[-1][1].append(item)
    return ordered


def bounds(items: Iterable[Item]) -> tuple[float, float, float, float]:
    """Left, bottom, right, top of everything, text boxes included."""
    xs: list[float] = []
    ys: list[float] = []
    for item in items:
        if not isinstance(item, Text):
            for x, y in item.points:
                xs.append(x)
                ys.append(y)
        else:
            start = {"start": 0.0, "middle": 0.5, "end": 1.0}[item.anchor]
            xs += (item.x - start * item.width, item.x + (1 - start) * item.width)
            ys += (item.y - 0.22 * item.size, item.y + ASCENT * item.size)
    if not xs:
        return (0.0, 0.0, 1.0, 1.0)
    return (min(xs), min(ys), max(xs), max(ys))


def moved(items: Iterable[Item], dx: float, dy: float) -> tuple[Item, ...]:
    found: list[Item] = []
    for item in items:
        if isinstance(item, Path):
            found.append(Path(tuple((x + dx, y + dy) for x, y in item.points), item.role, item.closed))
        elif isinstance(item, Facet):
            found.append(Facet(tuple((x + dx, y + dy) for x, y in item.points), item.shade))
        else:
            found.append(Text(item.x + dx, item.y + dy, item.text, item.size, item.role, item.anchor))
    return tuple(found)


def fitted(
    build: Callable[[float], Sequence[Item]],
    *,
    model_width: float,
    model_height: float,
    width: float,
    height: float,
    pad: float,
    title: str,
) -> Scene:
    """The scene that `build` makes at the largest scale [paper units/in] that fits width × height.

    Text does not grow with the scale, so the room that it takes is found by building; what cannot fit at a quarter of
    the free scale makes the scene larger than asked, and whoever places it shrinks it whole.
    """
    wide, high = width - 2 * pad, height - 2 * pad
    most = min(wide / max(model_width, 1e-9), high / max(model_height, 1e-9))
    scale = most  # from above: at a large scale numbers stand inside their lines and take no room beside
    for _ in range(6):
        items = build(scale)
        left, bottom, right, top = bounds(items)
        room_wide = wide - (right - left - scale * model_width)
        room_high = high - (top - bottom - scale * model_height)
        better = min(room_wide / max(model_width, 1e-9), room_high / max(model_height, 1e-9))
        better = max(better, most / 4)
        if abs(better - scale) < 0.004 * scale:
            break
        scale = better
    items = build(scale)
    left, bottom, right, top = bounds(items)
    width, height = max(width, right - left + 2 * pad), max(height, top - bottom + 2 * pad)
    dx = (width - right - left) / 2
    dy = (height - top - bottom) / 2
    return Scene(width, height, moved(items, dx, dy), title)


def trimmed(scene: Scene, pad: float) -> Scene:
    """The scene no higher than what is drawn in it, with `pad` above and below."""
    _, bottom, _, top = bounds(scene.items)
    return Scene(scene.width, top - bottom + 2 * pad, moved(scene.items, 0.0, pad - bottom), scene.title)


def turned(point: Point, angle: float) -> Point:
    """A point turned about the origin, angle [rad] counter-clockwise."""
    cosine, sine = math.cos(angle), math.sin(angle)
    return (point[0] * cosine - point[1] * sine, point[0] * sine + point[1] * cosine)


def arc(radius: float, start: float, end: float, *, step: float = math.radians(4)) -> tuple[Point, ...]:
    """Points of an arc about the origin, angles [rad]."""
    count = max(2, math.ceil(abs(end - start) / step)) + 1
    return tuple(
        (
            radius * math.cos(start + (end - start) * i / (count - 1)),
            radius * math.sin(start + (end - start) * i / (count - 1)),
        )
        for i in range(count)
    )


def thinned(points: Sequence[Sequence[float]], least: float) -> list[Point]:
    """Points with those dropped that stray less than `least` from the line between the kept neighbours."""
    if len(points) < 3:
        return [(float(x), float(y)) for x, y in points]
    line = shapely.simplify(shapely.linestrings(points), least, preserve_topology=False)
    return [(x, y) for x, y in shapely.get_coordinates(line).tolist()]
