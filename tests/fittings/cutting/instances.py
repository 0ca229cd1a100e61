"""Works to nest: invented orders of the sorts of a round-duct shop, and plain shapes. Lengths in inches.

Cut outlines come from `fittings.geometry.develop`: 24 gauge, lap 0.5, edges 0.25 and 0.375, elbows of 90° in five
pieces with R = 1.5 D. Equal outlines are one Part. `INSTANCES` are the orders, `GENERIC` the plain shapes.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable

import numpy as np
from shapely import MultiPoint

from fittings.cutting import ANY, Part, Rules, Stock, Work
from fittings.geometry import Allowances, Practice, Sheet, develop

ALTERNATING, THROAT, FREE = "alternating", "throat", "free"
RULES = Rules(gap=0.125, margin=0.25, turns=ANY)
SHEET_48 = Stock("48x120", 48.0, 120.0)
SHEET_60 = Stock("60x120", 60.0, 120.0)
COIL_60 = Stock("60 coil", 60.0, 240.0, is_coil=True)
ALLOWANCES = Allowances(lap=0.5, edge_a=0.25, edge_b=0.375)


class _Pieces:
    """Outlines counted, equal ones together."""

    def __init__(self):
        self.found: dict[tuple, list] = {}

    def add(self, name: str, count: int, outline, alternatives: Iterable = ()):
        outline = np.asarray(outline, float)
        others = [np.asarray(other, float) for other in alternatives]
        key = tuple(_rounded(one) for one in (outline, *others))
        if key in self.found:
            self.found[key][1] += count
        else:
            self.found[key] = [f"{name}#{len(self.found) + 1}", count, outline, tuple(others)]

    def parts(self) -> tuple[Part, ...]:
        return tuple(
            Part(name, count, outline, others) for name, count, outline, others in self.found.values()
        )


def _rounded(outline: np.ndarray) -> bytes:
    return (np.round(outline, 5) + 0.0).tobytes()


def developed(kind: str, stock: tuple[float, float] | None = None, **params):
    """A fitting's development in 24 gauge; `stock` is the longest and widest, beyond which there are plates."""
    longest, widest = stock or (None, None)
    sheet = Sheet("galvanized", 24, 0.0276, 1.156, longest, widest)
    return develop(kind, params, sheet=sheet, allowances=ALLOWANCES, practice=Practice())


def elbow(diameter: float, seams: str = ALTERNATING, stock=None, **more):
    params = {"diameter": diameter, "angle": 90, "pieces": 5, "radius_ratio": 1.5, "seam_at": "throat"}
    return developed("gored_elbow", stock, **params | {"stagger_seams": seams == ALTERNATING} | more)


def _outlines(development) -> list[tuple[str, np.ndarray]]:
    """Role and cut outline of all that is cut: plates where a segment is made of them."""
    return [
        (one.role, cut.cut_outline)
        for one in development.segments
        for cut in (one.plates if len(one.plates) > 1 else (one,))
    ]


def _elbows(
    pieces: _Pieces, counts: dict[float, int], /, seams: str = ALTERNATING, stock=None, **more
) -> None:
    for diameter, count in counts.items():
        own = _outlines(elbow(diameter, seams, stock, **more))
        other = _outlines(elbow(diameter, seams, stock, seam_at="heel", **more)) if seams == FREE else own
        for (role, outline), (_, second) in zip(own, other, strict=True):
            pieces.add(f"{diameter:g} {role}", count, outline, [second] if seams == FREE else ())


def _all_of(pieces: _Pieces, count: int, kind: str, **params) -> None:
    stock = (119.5, 59.5)
    for role, outline in _outlines(developed(kind, stock, **params)):
        pieces.add(f"{kind} {role}", count, outline)


def _work(pieces: _Pieces, *stock: Stock) -> Work:
    return Work(pieces.parts(), stock, RULES)


# -- orders ------------------------------------------------------------------


def gores_alternating() -> Work:
    """200 gores: elbows of 8, 10, 12, 14 in, seams alternating."""
    pieces = _Pieces()
    _elbows(pieces, {8: 10, 10: 10, 12: 10, 14: 10})
    return _work(pieces, SHEET_48)


def gores_throat() -> Work:
    """The same order, every seam at the throat."""
    pieces = _Pieces()
    _elbows(pieces, {8: 10, 10: 10, 12: 10, 14: 10}, THROAT)
    return _work(pieces, SHEET_60)


def gores_and_discs() -> Work:
    """570 gores and discs: elbows of 4 to 14 in, seams alternating, and flat end caps."""
    pieces = _Pieces()
    _elbows(pieces, {4: 20, 5: 18, 6: 20, 7: 12, 8: 14, 10: 10, 12: 8, 14: 6})
    for diameter, count in {4: 10, 6: 8, 8: 6, 10: 4, 14: 2}.items():
        _all_of(pieces, count, "end_cap", diameter=diameter, depth=1.0)
    return _work(pieces, SHEET_48)


def gores_free() -> Work:
    """800 small gores: elbows of 4 to 9 in, the seam at throat or heel as it packs better."""
    pieces = _Pieces()
    _elbows(pieces, {4: 35, 5: 30, 6: 30, 7: 25, 8: 25, 9: 15}, FREE)
    return _work(pieces, SHEET_60)


def mixed_small() -> Work:
    """349 small parts: elbows, reducers, caps, saddles."""
    pieces = _Pieces()
    _elbows(pieces, {4: 8, 5: 6, 6: 10, 7: 4, 8: 6})
    for wide, narrow, length, count in (
        (6, 4, 6, 12),
        (8, 6, 6, 14),
        (8, 5, 8, 8),
        (10, 6, 8, 10),
        (10, 8, 6, 9),
    ):
        _all_of(pieces, count, "reducer", diameter_a=wide, diameter_b=narrow, length=length)
    for diameter, count in {4: 16, 5: 12, 6: 18, 8: 14, 10: 8}.items():
        _all_of(pieces, count, "end_cap", diameter=diameter, depth=1.0)
    saddles = ((10, 4, 6, 16), (12, 6, 8, 14), (14, 8, 10, 10), (8, 5, 6, 18))
    for diameter, branch, length, count in saddles:
        _all_of(
            pieces,
            count,
            "saddle",
            diameter=diameter,
            branch_diameter=branch,
            branch_length=diameter / 2 + length - 3,
        )
    return _work(pieces, SHEET_48)


def mixed_wide() -> Work:
    """219 mixed parts of 4 to 60 in: elbows, reducers, caps, saddles, short pipes."""
    pieces = _Pieces()
    _elbows(pieces, {4: 6, 6: 6, 8: 5, 10: 4, 14: 3, 18: 1, 36: 1}, stock=(119.5, 59.5))
    for wide, narrow, length, count in ((8, 6, 8, 10), (12, 8, 10, 8), (16, 12, 12, 4), (24, 18, 16, 2)):
        _all_of(pieces, count, "reducer", diameter_a=wide, diameter_b=narrow, length=length)
    for diameter, count in {4: 10, 6: 10, 8: 8, 12: 6, 18: 2, 24: 2}.items():
        _all_of(pieces, count, "end_cap", diameter=diameter, depth=1.0)
    for diameter, branch, length, count in ((12, 6, 10, 8), (16, 8, 12, 6), (24, 12, 18, 3)):
        _all_of(pieces, count, "saddle", diameter=diameter, branch_diameter=branch, branch_length=length)
    for diameter, length, count in ((5, 12, 4), (8, 20, 3), (15, 30, 1), (60, 12, 1)):
        _all_of(pieces, count, "pipe", diameter=diameter, length=length)
    return _work(pieces, SHEET_60)


def plates_40_48() -> Work:
    """Plates of elbows of 40 and 48 in, and elbows of 10 in."""
    pieces = _Pieces()
    _elbows(pieces, {40: 3, 48: 2, 10: 12}, stock=(119.5, 59.5))
    return _work(pieces, SHEET_60)


def plates_54_72() -> Work:
    """Plates of elbows of 54, 60 and 72 in, staggered seams."""
    pieces = _Pieces()
    _elbows(pieces, {54: 2, 60: 2, 72: 1}, stock=(119.5, 59.5))
    return _work(pieces, SHEET_60)


def plates_and_small() -> Work:
    """Plates of elbows of 40 and 48 in, with enough elbows of 10 in to go beside them."""
    pieces = _Pieces()
    _elbows(pieces, {40: 2, 48: 2, 10: 40}, stock=(119.5, 59.5))
    return _work(pieces, SHEET_60)


def plates_of_nine() -> Work:
    """Plates of elbows of 54, 60 and 72 in, which are made in nine pieces."""
    pieces = _Pieces()
    _elbows(pieces, {54: 2, 60: 2, 72: 1}, stock=(119.5, 59.5), pieces=9)
    return _work(pieces, SHEET_60)


def elbows_24_sheets() -> Work:
    """150 gores of 24 in elbows, alternating, on sheets that a gore more than half fills lengthwise."""
    pieces = _Pieces()
    _elbows(pieces, {24: 30})
    return _work(pieces, SHEET_60)


def elbows_24_coil() -> Work:
    """The same from coil, at most 240 in long."""
    pieces = _Pieces()
    _elbows(pieces, {24: 30})
    return _work(pieces, COIL_60)


INSTANCES: dict[str, Callable[[], Work]] = {
    "gores alternating": gores_alternating,
    "gores throat": gores_throat,
    "gores and discs": gores_and_discs,
    "gores free": gores_free,
    "mixed small": mixed_small,
    "mixed wide": mixed_wide,
    "plates 40 48": plates_40_48,
    "plates 54 72": plates_54_72,
    "plates and small": plates_and_small,
    "plates of nine": plates_of_nine,
    "elbows 24 sheets": elbows_24_sheets,
    "elbows 24 coil": elbows_24_coil,
}


# -- plain shapes ------------------------------------------------------------


def rectangle(width: float, height: float) -> np.ndarray:
    return np.array([[0, 0], [width, 0], [width, height], [0, height]], float)


def disc(diameter: float, sides: int = 96) -> np.ndarray:
    turn = np.arange(sides) * 2 * math.pi / sides
    return diameter / 2 * np.column_stack([np.cos(turn), np.sin(turn)])


def convex(rng: np.random.Generator, size: float) -> np.ndarray:
    """The hull of random points in a box of at most `size`."""
    points = rng.random((12, 2)) * size * (0.5 + 0.5 * rng.random(2))
    return np.array(MultiPoint(points).convex_hull.normalize().exterior.coords)[:-1][::-1]


def star(rng: np.random.Generator, size: float, corners: int = 11) -> np.ndarray:
    """A polygon seen whole from its middle, mostly not convex; within a circle of diameter `size`."""
    steps = 0.5 + rng.random(corners)
    turn = np.cumsum(steps) / steps.sum() * 2 * math.pi
    radius = size / 2 * (0.35 + 0.65 * rng.random(corners))
    return np.column_stack([radius * np.cos(turn), radius * np.sin(turn)])


def _shapes(name: str, count: int, make: Callable[[np.random.Generator], np.ndarray], *, of: int, seed: int):
    rng = np.random.default_rng(seed)
    return tuple(Part(f"{name} {at + 1}", count, make(rng)) for at in range(of))


def rectangles(seed: int = 1) -> Work:
    """120 rectangles of 24 sizes."""
    parts = _shapes("rectangle", 5, lambda rng: rectangle(*(2 + 28 * rng.random(2))), of=24, seed=seed)
    return Work(parts, (SHEET_48,), RULES)


def discs(seed: int = 1) -> Work:
    """200 discs of 10 sizes."""
    parts = _shapes("disc", 20, lambda rng: disc(3 + 15 * rng.random()), of=10, seed=seed)
    return Work(parts, (SHEET_60,), RULES)


def convex_mixed(seed: int = 1) -> Work:
    """160 convex polygons of 40 shapes."""
    parts = _shapes("convex", 4, lambda rng: convex(rng, 4 + 20 * rng.random()), of=40, seed=seed)
    return Work(parts, (SHEET_48,), RULES)


def stars(seed: int = 1) -> Work:
    """150 polygons that are not convex, of 30 shapes."""
    parts = _shapes("star", 5, lambda rng: star(rng, 6 + 18 * rng.random()), of=30, seed=seed)
    return Work(parts, (SHEET_48,), RULES)


def equal_gores_5000() -> Work:
    """5,000 equal middle gores of an 8 in elbow."""
    outline = elbow(8, THROAT).segments[1].cut_outline
    return Work((Part("8 middle_gore", 5000, outline),), (SHEET_60,), RULES)


def mixed_500(seed: int = 1) -> Work:
    """500 mixed parts: the small ones, and polygons of many shapes."""
    rng = np.random.default_rng(seed)
    more = tuple(
        Part(f"shape {at + 1}", 1, (convex if at % 2 else star)(rng, 4 + 16 * rng.random()))
        for at in range(151)
    )
    return Work(mixed_small().parts + more, (SHEET_48,), RULES)


GENERIC: dict[str, Callable[[], Work]] = {
    "rectangles": rectangles,
    "discs": discs,
    "convex": convex_mixed,
    "stars": stars,
    "5000 equal gores": equal_gores_5000,
    "500 mixed": mixed_500,
}
