"""The picture of a sheet laid out on paper, for SVG and PDF alike: pieces with their texts, remnant, dimensions.

Paper units as in `scene`: x to the right, y upwards. The front of the table is at the left.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely

from fittings.drawing.dimensions import across, inches
from fittings.drawing.placed_sheet import PlacedPiece, SheetDrawing
from fittings.drawing.scene import ADVANCE, ASCENT, Path, Point, Text, thinned

TEXT = 15.0  # size of dimensions, and of a piece's text where it has the room, at the usual width of a screen
SIZES = (1.0, 0.87, 0.75)  # of TEXT, tried for number and label
NUMBER_SIZES = (*SIZES, 0.65)  # for a number alone, which is bold; smaller is not drawn
FINE_IN, ROUGH_IN = 0.02, 0.3  # how far a drawn outline may stray from the true one
HATCH = 0.9  # distance of hatch lines, in sizes of the text


@dataclass(frozen=True)
class TurnedText:
    """One line of text, its middle at (x, y), turned counter-clockwise by `angle` [deg]; `strong` begins it in bold."""

    x: float
    y: float
    text: str
    size: float
    angle: float = 0.0
    strong: str = ""


@dataclass(frozen=True)
class DrawnPiece:
    """A piece in paper units. `sign` is the tick of a piece that is cut, or the cross of one that was taken off."""

    feed: int
    code: str
    title: str
    outline: tuple[Point, ...]
    holes: tuple[tuple[Point, ...], ...] = ()
    marks: tuple[Path, ...] = ()
    text: TurnedText | None = None
    sign: tuple[tuple[Point, ...], ...] = ()
    is_done: bool = False
    is_off: bool = False
    is_meant: bool = False


@dataclass(frozen=True)
class SheetPicture:
    """A finished picture: size in paper units, what lies round the pieces, the pieces, and what it shows in words."""

    width: float
    height: float
    items: tuple[Path | Text | TurnedText, ...]
    pieces: tuple[DrawnPiece, ...]
    title: str
    words: str = ""
    is_small: bool = False


def size_words(width: float, length: float) -> str:
    """ "60 × 34 in": across the table, then along it."""
    return f"{inches(width).removesuffix(' in')} × {inches(length)}"


def words_of(drawing: SheetDrawing) -> str:
    """What the picture shows, for who does not see it."""
    count = len(drawing.pieces)
    parts = [
        f"{size_words(drawing.width, drawing.shown_length)}, {count} piece{'' if count == 1 else 's'}, "
        "numbered from the front of the table, at the left."
    ]
    if drawing.remnant:
        parts.append(f"Remnant {size_words(*drawing.remnant[2:])}, behind the last piece.")
    return " ".join(parts)


def small_picture(
    drawing: SheetDrawing, *, width: float, is_done: Collection[str] = (), highlight: str | None = None
) -> SheetPicture:
    """Outlines alone, no texts, no marks: for lists of sheets."""
    pad = 2.0
    scale = (width - 2 * pad) / drawing.shown_length
    paper = _Paper(scale, pad, pad)
    pieces = tuple(
        DrawnPiece(
            piece.feed,
            piece.code,
            "",
            paper.line(_rough(piece.outline)),
            is_done=piece.code in is_done,
            is_off=piece.is_off,
            is_meant=piece.code == highlight,
        )
        for piece in drawing.pieces
    )
    items = [Path(paper.box(0, 0, drawing.shown_length, drawing.width), "outline", True)]
    if drawing.remnant:
        x, y, wide, long = drawing.remnant
        items.append(Path(_hatch(paper.box(x, y, x + long, y + wide), 12.0, None), "dimension"))
    items = [part for item in items for part in _apart(item)]
    height = drawing.width * scale + 2 * pad
    return SheetPicture(width, height, tuple(items), pieces, drawing.title, words_of(drawing), True)


def sheet_picture(
    drawing: SheetDrawing,
    *,
    width: float,
    is_done: Collection[str] = (),
    highlight: str | None = None,
    text_size: float = TEXT,
) -> SheetPicture:
    """The whole picture, as high as it needs to be.

    width      in paper units; the sheet's scale follows
    text_size  of dimensions and of pieces with the room for it, in paper units
    """
    left, right, top, bottom = 2.6 * text_size, 6.2 * text_size, 0.6 * text_size, 2.4 * text_size
    if drawing.shown_length - drawing.used_length > 0.5:
        bottom += 1.7 * text_size
    scale = (width - left - right) / drawing.shown_length
    paper = _Paper(scale, left, bottom)
    pieces = tuple(
        _piece(piece, paper, text_size, piece.code in is_done, piece.code == highlight)
        for piece in drawing.pieces
    )
    items = [*_edges(drawing, paper), *_remnant(drawing, paper, text_size)]
    items += [*_front(drawing, paper, text_size), *_dimensions(drawing, paper, text_size)]
    height = bottom + drawing.width * scale + top
    return SheetPicture(width, height, tuple(items), pieces, drawing.title, words_of(drawing))


@dataclass(frozen=True)
class _Paper:
    """Inches on the sheet to paper units."""

    scale: float
    left: float
    bottom: float

    def line(self, points) -> tuple[Point, ...]:
        array = np.asarray(points, dtype=float)[:, :2] * self.scale + (self.left, self.bottom)
        return tuple(map(tuple, array.tolist()))

    def box(self, left: float, bottom: float, right: float, top: float) -> tuple[Point, ...]:
        return self.line([(left, bottom), (right, bottom), (right, top), (left, top)])


def _rough(outline) -> list[Point]:
    """A closed outline with few points; its first point is kept."""
    closed = [*outline, outline[0]]
    return thinned(closed, ROUGH_IN)[:-1]


def _apart(item: Path) -> list[Path]:
    """A path of hatch lines, two points each, as one path a line."""
    if item.closed:
        return [item]
    return [Path(item.points[at : at + 2], item.role) for at in range(0, len(item.points), 2)]


# -- round the pieces ---------------------------------------------------------------


def _edges(drawing: SheetDrawing, paper: _Paper) -> list[Path]:
    """The sheet's edge, and the margin inside it as a thin line."""
    long, wide, margin = drawing.shown_length, drawing.width, drawing.margin
    found = [Path(paper.box(0, 0, long, wide), "outline", True)]
    if margin > 0:
        found.append(Path(paper.box(margin, margin, long - margin, wide - margin), "net", True))
    return found


def _remnant(drawing: SheetDrawing, paper: _Paper, size: float) -> list[Path | TurnedText]:
    """Hatched, named with its size, its first edge dashed: there it is sheared off."""
    if not drawing.remnant:
        return []
    x, y, wide, long = drawing.remnant
    corners = paper.box(x, y, x + long, y + wide)
    middle = ((corners[0][0] + corners[2][0]) / 2, (corners[0][1] + corners[2][1]) / 2)
    name = f"Remnant {drawing.remnant_code}".strip()
    options = [f"{name}, {size_words(wide, long)}", size_words(wide, long), "Remnant"]
    text = gap = None
    for words in options:
        for angle in (0.0, 90.0):
            box = _text_box(middle, math.radians(angle), len(words), size)
            if text is None and shapely.box(*corners[0], *corners[2]).contains(box):
                text, gap = TurnedText(*middle, words, size, angle), box
    hatch = _hatch(corners, HATCH * size, gap)
    found: list[Path | TurnedText] = _apart(Path(hatch, "dimension"))
    found.append(Path(corners, "hidden", True))
    return [*found, text] if text else found


def _hatch(corners: Sequence[Point], step: float, gap) -> tuple[Point, ...]:
    """Slanting lines inside a box, two points each, none through the gap."""
    (left, bottom), _, (right, top), _ = corners
    high = top - bottom
    starts = np.arange(left - high + step / 2, right, step)
    lines = shapely.linestrings([[(x, bottom), (x + high, top)] for x in starts]) if len(starts) else []
    cut = shapely.intersection(lines, shapely.box(left, bottom, right, top))
    if gap is not None:
        cut = shapely.difference(cut, gap)
    parts = shapely.get_parts(cut)
    parts = parts[shapely.length(parts) > 0.5]
    return tuple(map(tuple, shapely.get_coordinates(parts).tolist()))


def _front(drawing: SheetDrawing, paper: _Paper, size: float) -> list[Path | TurnedText]:
    """A heavy line at the edge towards the front of the table, and its words beside it."""
    x, low, high = paper.left - 0.45 * size, paper.bottom, paper.bottom + drawing.width * paper.scale
    words = "Front of the table" if not drawing.offset else f"Front edge, {inches(drawing.offset)} along"
    if len(words) * ADVANCE * size > high - low:
        words = "Front"
    return [
        Path(((x, low), (x, high)), "seam"),
        TurnedText(paper.left - 1.3 * size, (low + high) / 2, words, size, 90.0),
    ]


def _dimensions(drawing: SheetDrawing, paper: _Paper, size: float) -> list[Path | Text]:
    """Length under the sheet, what is used of it under the pieces, width behind it."""
    left, right = paper.left, paper.left + drawing.shown_length * paper.scale
    low, high = paper.bottom, paper.bottom + drawing.width * paper.scale
    found: list[Path | Text] = []
    y = low - 1.4 * size
    if drawing.shown_length - drawing.used_length > 0.5:
        used = left + drawing.used_length * paper.scale
        found += across(left, used, y, f"used {inches(drawing.used_length)}", size)
        found.append(Path(((used, low - 0.3 * size), (used, y - 0.4 * size)), "dimension"))
        y -= 1.7 * size
    found += across(left, right, y, inches(drawing.shown_length), size)
    for x in (left, right):
        found.append(Path(((x, low - 0.3 * size), (x, y - 0.4 * size)), "dimension"))
    x, middle = right + 1.1 * size, (low + high) / 2
    gap = 0.8 * size
    for end, sign in ((low, 1), (high, -1)):
        found.append(Path(((x, end), (x, middle - sign * gap)), "dimension"))
        half, back = 0.2 * size, end + sign * 0.75 * size
        found.append(Path(((x, end), (x - half, back), (x + half, back)), "arrow", True))
        found.append(Path(((right + 0.3 * size, end), (x + 0.4 * size, end)), "dimension"))
    words = inches(drawing.width)
    found.append(Text(right + 0.5 * size, middle - ASCENT * size / 2, words, size, anchor="start"))
    return found


# -- the pieces ---------------------------------------------------------------------


def _piece(piece: PlacedPiece, paper: _Paper, size: float, is_done: bool, is_meant: bool) -> DrawnPiece:
    fine = max(FINE_IN, 0.15 / paper.scale)
    outline = paper.line(thinned([*piece.outline, piece.outline[0]], fine)[:-1])
    holes = tuple(paper.line(thinned([*hole, hole[0]], fine)[:-1]) for hole in piece.holes)
    has_sign = is_done or piece.is_off
    place = _place(piece, outline, holes, size, has_sign)
    text, sign, box = None, (), None
    if place:
        x, y, high, turn, full = place
        words = _words(piece, full)
        letters = len(words) + (2 if has_sign else 0)
        box = _text_box((x, y), turn, letters, high)
        along = (math.cos(turn), math.sin(turn))
        shift = ADVANCE * high if has_sign else 0.0
        if words:
            text = TurnedText(
                x + along[0] * shift, y + along[1] * shift, words, high, math.degrees(turn), str(piece.feed)
            )
        if has_sign:
            begin = -letters * ADVANCE * high / 2
            sign = _sign(is_done and not piece.is_off, (x, y), along, begin, high)
    marks = [] if piece.is_off else [mark for mark in piece.marks if len(mark.line) > 1]
    lines = [(paper.line(mark.line), "mark" if mark.angle is None else "fold") for mark in marks]
    title = f"{piece.feed}: {', '.join(word for word in (piece.label, piece.code, *piece.lines) if word)}"
    state = ", taken off" if piece.is_off else ", done" if is_done else ""
    return DrawnPiece(
        piece.feed,
        piece.code,
        title + state,
        outline,
        holes,
        tuple(_broken(lines, box)),
        text,
        sign,
        is_done,
        piece.is_off,
        is_meant,
    )


def _words(piece: PlacedPiece, full: int) -> str:
    """Number and label, the number alone, or nothing."""
    return ("", str(piece.feed), f"{piece.feed} {piece.label}".strip())[full]


def _broken(lines: Sequence[tuple[tuple[Point, ...], str]], gap) -> list[Path]:
    """Marks, broken where the text stands."""
    if gap is None or not lines:
        return [Path(points, role) for points, role in lines]
    cut = shapely.difference([shapely.LineString(points) for points, _ in lines], gap)
    return [
        Path(tuple(map(tuple, shapely.get_coordinates(part).tolist())), role)
        for whole, (_, role) in zip(cut, lines, strict=True)
        for part in shapely.get_parts(whole)
        if part.length > 0.5
    ]


def _sign(
    is_tick: bool, middle: Point, along: Point, begin: float, size: float
) -> tuple[tuple[Point, ...], ...]:
    """A tick, or a cross, in the first cell of a text box that begins so far along the line from its middle."""
    lines = (
        [((0.05, -0.02), (0.28, -0.3), (0.62, 0.34))]
        if is_tick
        else [((0.08, -0.28), (0.58, 0.28)), ((0.08, 0.28), (0.58, -0.28))]
    )
    ax, ay = along

    def placed(u: float, v: float) -> Point:
        u = begin + u * size
        return (middle[0] + ax * u - ay * v * size, middle[1] + ay * u + ax * v * size)

    return tuple(tuple(placed(u, v) for u, v in line) for line in lines)


def _text_box(middle: Point, turn: float, letters: int, size: float):
    """The box of a line of text about its middle, turned [rad]."""
    half, up = letters * ADVANCE * size / 2 + 0.2 * size, 0.62 * size
    ax, ay = math.cos(turn), math.sin(turn)
    corners = [
        (middle[0] + ax * u - ay * v, middle[1] + ay * u + ax * v)
        for u, v in ((-half, -up), (half, -up), (half, up), (-half, up))
    ]
    return shapely.Polygon(corners)


def _place(
    piece: PlacedPiece,
    outline: Sequence[Point],
    holes: Sequence[Sequence[Point]],
    size: float,
    has_sign: bool,
) -> tuple[float, float, float, float, int] | None:
    """Where the text stands: its middle, size, turn [rad], and how much of it: 2 number and label, 1 number, 0 none."""
    x, y = outline[0]
    own = np.array(outline) - (x, y)
    holes_own = tuple(np.round(np.array(hole) - (x, y), 1).tobytes() for hole in holes)
    letters = tuple(len(_words(piece, full)) + (2 if has_sign else 0) for full in (2, 1, 0))
    found = _place_of(np.round(own, 1).tobytes(), holes_own, letters, size)
    if found is None:
        return None
    dx, dy, high, turn, which = found
    return (x + dx, y + dy, high, turn, 2 - which)


@lru_cache(maxsize=2048)
def _place_of(
    outline: bytes, holes: tuple[bytes, ...], letters: tuple[int, ...], size: float
) -> tuple[float, float, float, float, int] | None:
    """Equal pieces that lie equally turned have their text at the same place: worked out once. Points as bytes."""

    def points(data: bytes) -> np.ndarray:
        return np.frombuffer(data).reshape(-1, 2)

    piece = shapely.make_valid(shapely.Polygon(points(outline), [points(hole) for hole in holes]))
    if piece.geom_type != "Polygon":
        piece = max(shapely.get_parts(piece), key=lambda part: part.area, default=shapely.Polygon())
    if piece.is_empty:
        return None
    middles = _middles(piece, size)
    frame = shapely.get_coordinates(shapely.minimum_rotated_rectangle(piece))
    sides = frame[1:3] - frame[:2]
    long = sides[int(np.argmax(np.hypot(*sides.T)))]
    own = (math.atan2(long[1], long[0]) + math.pi / 2 - 1e-6) % math.pi - math.pi / 2 + 1e-6
    turns = [0.0] + [own] * (abs(own) > 1e-3) + [math.pi / 2]
    shapely.prepare(piece)
    for which, count in enumerate(letters):
        if not count:
            continue
        for turn in turns:
            for part in NUMBER_SIZES if which else SIZES:
                high = part * size
                boxes = shapely.polygons(_boxes(middles, turn, count, high))
                fits = np.flatnonzero(shapely.contains_properly(piece, boxes))
                if len(fits):
                    best = middles[fits[0]]
                    return (float(best[0]), float(best[1]), high, turn, which)
    return None


def _middles(piece, size: float) -> np.ndarray:
    """Places to try, the roomiest first, shape (n, 2)."""
    roomiest = shapely.get_coordinates(shapely.maximum_inscribed_circle(piece, tolerance=0.1 * size))[:1]
    near = shapely.get_coordinates([shapely.point_on_surface(piece), shapely.centroid(piece)])
    left, bottom, right, top = piece.bounds
    grid = np.array(
        [
            (left + u * (right - left), bottom + v * (top - bottom))
            for u in (0.5, 0.3, 0.7, 0.15, 0.85)
            for v in (0.5, 0.3, 0.7, 0.15, 0.85)
        ]
    )
    spots = np.vstack([near[1:], roomiest, near[:1], grid])
    return spots[shapely.contains_properly(piece, shapely.points(spots))]


def _boxes(middles: np.ndarray, turn: float, letters: int, size: float) -> np.ndarray:
    half, up = letters * ADVANCE * size / 2 + 0.2 * size, 0.62 * size
    along = np.array([math.cos(turn), math.sin(turn)])
    over = np.array([-along[1], along[0]])
    corners = [u * half * along + v * up * over for u, v in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    return middles[:, None, :] + np.array(corners)[None, :, :]


def numbered(picture: SheetPicture) -> int:
    """How many pieces have their number in the picture."""
    return sum(piece.text is not None for piece in picture.pieces)


__all__ = [
    "DrawnPiece",
    "SheetPicture",
    "TurnedText",
    "numbered",
    "sheet_picture",
    "size_words",
    "small_picture",
    "words_of",
]
