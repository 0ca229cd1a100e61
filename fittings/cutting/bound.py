"""A proven upper limit of the utilisation that any layout of a work can reach.

Proof. Let g be the gap, m the margin, W and L a stock's width and length, u the used length of a sheet.
1. Parts lie g or more apart, so the parts grown by g / 2 do not overlap; they lie within the usable rectangle grown by
   g / 2, which is W − 2m + g wide and u − 2m + g long, since nothing lies behind u − m. So the areas of the grown
   parts on a stock's sheets add up to at most (W − 2m + g)(T − n(2m − g)): n sheets, T their used lengths together.
   Where only the last sheet is counted by its used length, T is n − 1 lengths and the least used length.
2. Whatever lies where, a grown part covers at least its measure of each band across the sheet (`bands`). The measures
   on one sheet add up to no more than the band; across the width, a band is no longer than what is used.
   A part that covers the middle of the sheet wherever it lies is alone of its sort on it.
3. If numbers add up to at most 1, so do floor((k + 1) x) / k of them (k = 1, 2, …): their floors add up to a whole
   number below k + 1. So the shares of a sheet or a band that parts take may be rounded like that.
4. A sheet's used length is at least the least length that one of its parts takes.
All this is linear in the numbers of parts on each stock, sheets and lengths: a mixed-integer programme, whose own lower
limit counts. Parts of which no layout must take all (stock may run out) may be left out where that is better. Where all
must be placed, whole numbers of large parts lie on each sheet, and that is another limit (`patterns`). The areas come
from polygons inscribed in the grown parts, and the measures from below, so no rounding lifts a part above itself.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import highspy
import numpy as np
import shapely

from .bands import Band, bands_of, covers_middle, least_cover, least_extents
from .layout import Unplaced
from .patterns import Row, Sheets, least_stock
from .programme import quiet_solver
from .work import ANY, Part, Work, area_of

_MOST_LARGE = 16  # outlines whose measures are looked for, a stock
_MOST_GROUPS = 60  # of small parts that may be left out
_ROUNDINGS = (1, 2, 3, 4)
_TOLERANCE = 1e-5
_ROUNDS = 8
_INTERVALS, _FEW_INTERVALS = 6000, 900  # of turns, shared by the outlines of a stock
_MOSTLY = 0.75  # of the area in large parts: with less the small ones fill what is left
_LARGE = 1 / 3  # of a side of the sheet
_ALIKE = 0.01  # of a measure: parts so much alike are counted together


def upper_bound(work: Work, *, unplaced: Iterable[Unplaced] | None = None) -> float:
    """No layout of the work has a higher utilisation.

    unplaced  only layouts that leave out exactly these; where not given, any that leave nothing out that has room:
              parts whose box lies on a stock without limit are all placed, others may be left out
    returns   0 to 1

    >>> square = np.array([[0, 0], [5, 0], [5, 5], [0, 5]], float)
    >>> from fittings.cutting import Rules
    >>> round(upper_bound(Work((Part('A', 8, square),), (Stock('S', 10, 10),), Rules(gap=0, margin=0))), 4)
    1.0
    """
    programme = _Programme(work, unplaced)
    if not programme.lots:
        return 0.0
    ratio = 1e-3
    for _ in range(_ROUNDS):
        area, used, limit = programme.solved(ratio)
        if programme.is_fixed:
            limit = max(limit, programme.least_stock() * (1 - 1e-6))
            return min(1.0, programme.area / limit * (1 + 1e-7)) if limit > 0 else 1.0
        if used <= 0 or area / used <= ratio * (1 + 1e-6):
            break
        ratio = area / used
    # limit: no choice has area − ratio · used above it; the least that is used turns that into a share
    return min(1.0, (ratio + max(0.0, limit) / programme.least_used) * (1 + 1e-6))


@dataclass(frozen=True)
class _Lot:
    """Equal parts, or all small ones together (then by area: one unit is one unit of area)."""

    most: float
    is_required: bool
    area: float
    grown: float
    part: Part | None = None


class _Programme:
    """The linear programme of a work, with whole numbers of sheets."""

    def __init__(self, work: Work, unplaced: Iterable[Unplaced] | None):
        self.work = work
        rules = work.rules
        self.shift = 2 * rules.margin - rules.gap
        self.stock = [one for one in work.stock if one.count is None or one.count > 0]
        self.usable = [(one.length - self.shift, one.width - self.shift) for one in self.stock]
        left = {one.part: one.count for one in unplaced or ()}
        counts = {part.id: part.count - left.get(part.id, 0) for part in work.parts}
        parts = [part for part in work.parts if counts[part.id] > 0]
        self.extents = {part.id: self._extents(part) for part in parts}
        parts = [part for part in parts if any(self.extents[part.id])]
        self.least = [
            min((size[at][0] for size in self.extents.values() if size[at]), default=math.inf) - rules.gap
            for at in range(len(self.stock))
        ]
        grown = _grown_areas(parts, rules.gap)
        large = sorted(
            (part for part in parts if self._is_large(part)),
            key=lambda part: (-grown[part.id] * counts[part.id], part.id),
        )[:_MOST_LARGE]
        required = {part.id: unplaced is not None or self._must_go(part) for part in parts}
        names = {part.id for part in large}
        self.lots = [
            _Lot(counts[part.id], required[part.id], part.area, grown[part.id], part) for part in large
        ]
        self.lots += self._small([part for part in parts if part.id not in names], counts, required, grown)
        self.area = sum(lot.most * lot.area for lot in self.lots)
        self.is_fixed = all(lot.is_required for lot in self.lots)
        self.number = sum(counts[part.id] for part in parts)
        self.is_mostly_large = sum(counts[part.id] * part.area for part in large) > _MOSTLY * self.area
        self.bands: list[list[Band]] = []
        self.covers: list[np.ndarray] = []
        self.alone: list[np.ndarray] = []
        for at in range(len(self.stock)):
            self._measure(at)

    @property
    def least_used(self) -> float:
        """The least stock that a layout with a part on it uses."""
        return min(
            stock.width * max(least, 1e-6)
            for stock, least in zip(self.stock, self._least_lengths(), strict=True)
            if math.isfinite(least)
        )

    def _least_lengths(self) -> list[float]:
        return [least + 2 * self.work.rules.margin for least in self.least]

    def _extents(self, part: Part) -> list[tuple[float, float] | None]:
        """For each stock, the least length and width that the grown part takes on it in any outline."""
        gap, found = self.work.rules.gap, []
        longest = max(float(np.hypot(*np.ptp(outline, axis=0))) for outline in part.outlines)
        if self.usable and longest + gap <= _LARGE * min(map(min, self.usable)):
            # of a box round it in any turn no side is longer than that, and it holds the area
            least = gap + min(abs(area_of(outline)) for outline in part.outlines) / longest
            return [(least, least)] * len(self.usable)
        for length, width in self.usable:
            own = [
                least_extents(outline, (length - gap, width - gap), self.work.rules.turns)
                for outline in part.outlines
            ]
            own = [(x + gap, y + gap) for x, y in filter(None, own)]
            found.append(tuple(np.min(own, axis=0)) if own else None)
        return found

    def _is_large(self, part: Part) -> bool:
        """Whether it must reach into some band, on any stock."""
        return any(
            size and (size[0] > _LARGE * length or size[1] > _LARGE * width)
            for size, (length, width) in zip(self.extents[part.id], self.usable, strict=True)
        )

    def _must_go(self, part: Part) -> bool:
        """Whether its box, as it lies or turned by a quarter, goes on a stock without limit."""
        box = np.ptp(part.outline, axis=0) + self.work.rules.gap
        ways = [box, box[::-1]] if self.work.rules.turns == ANY else [box]
        return any(
            stock.count is None and any(np.all(way <= np.array(usable) + 1e-9) for way in ways)
            for stock, usable in zip(self.stock, self.usable, strict=True)
        )

    def _small(self, parts, counts, required, grown) -> list[_Lot]:
        """Parts that go on every stock together where all must go, or in groups of nearly the same share of what they
        take; the others each alone."""
        everywhere = [part for part in parts if all(self.extents[part.id])]
        names = {part.id for part in everywhere}
        lots = [
            _Lot(counts[part.id], required[part.id], part.area, grown[part.id], part)
            for part in parts
            if part.id not in names
        ]
        must = [part for part in everywhere if required[part.id]]
        if must:
            area = sum(counts[part.id] * part.area for part in must)
            lots.append(_Lot(1.0, True, area, sum(counts[part.id] * grown[part.id] for part in must)))
        may = sorted(
            (part for part in everywhere if not required[part.id]),
            key=lambda part: (-part.area / grown[part.id], part.id),
        )
        size = math.ceil(len(may) / _MOST_GROUPS) or 1
        for at in range(0, len(may), size):
            group = may[at : at + size]
            area = sum(counts[part.id] * part.area for part in group)
            lots.append(_Lot(1.0, False, area, area * grown[group[0].id] / group[0].area))
        return lots

    def _measure(self, at: int) -> None:
        """The bands of a stock that say more than areas do, and what each lot covers of them."""
        sides = self.usable[at]
        rows = [
            row
            for row, lot in enumerate(self.lots[:_MOST_LARGE])
            if lot.part and self.extents[lot.part.id][at] and self._is_large(lot.part)
        ]
        widths = ([], [])
        for row in rows[:4]:
            for axis, extent in enumerate(self.extents[self.lots[row].part.id][at]):
                widths[axis].append(extent - sides[axis] / 2)
        bands = bands_of(sides, widths) if rows else []
        whole = np.array([band.width * sides[1 - band.axis] for band in bands])
        says_more = np.zeros(len(bands), dtype=bool)
        for row in rows:
            share = self.lots[row].grown / (sides[0] * sides[1])
            _, real = self._covers(row, sides, bands, halvings=0)
            says_more |= np.max([real / whole, *_rounded(real / whole)], axis=0) > 1.01 * share
        bands = [band for band, is_good in zip(bands, says_more, strict=True) if is_good]
        cover = np.zeros((len(self.lots), len(bands)))
        intervals = _INTERVALS if self.is_mostly_large else _FEW_INTERVALS
        for row in rows if bands else ():
            cover[row] = self._covers(row, sides, bands, most=max(72, intervals // len(rows)))[0]
        self.bands.append(bands)
        self.covers.append(cover)
        self.alone.append(
            np.array([row in rows and self._is_alone(row, at) for row in range(len(self.lots))])
        )

    def _is_alone(self, row: int, at: int) -> bool:
        """Whether a lot's part covers the middle of the sheet wherever it lies."""
        part, sides, rules = self.lots[row].part, self.usable[at], self.work.rules
        is_long = all(
            2 * extent > side for extent, side in zip(self.extents[part.id][at], sides, strict=True)
        )
        return is_long and all(
            covers_middle(_grown(outline, rules.gap), sides, rules.turns) for outline in part.outlines
        )

    def _covers(self, row: int, sides, bands, **more):
        """Least cover of a lot's part, whichever of its outlines is taken."""
        rules = self.work.rules
        found = [
            least_cover(_grown(outline, rules.gap), sides, bands, rules.turns, **more)
            for outline in self.lots[row].part.outlines
        ]
        return np.min(found, axis=0)

    def solved(self, ratio: float) -> tuple[float, float, float]:
        """The best choice: its area, its stock used, and a proven limit.

        limit  if all must go: from below, of the stock used; else from above, of area − ratio · stock used
        """
        model = quiet_solver()
        model.setOptionValue("mip_max_nodes", 300)
        model.setOptionValue("mip_rel_gap", 1e-6)
        columns: list[tuple[float, float, float]] = []  # lowest, highest, cost

        def column(low, high, cost=0.0) -> int:
            columns.append((low, high, cost))
            return len(columns) - 1

        rows: list[tuple[float, float, Mapping[int, float]]] = []
        gain = 0.0 if self.is_fixed else 1.0
        price = 1.0 if self.is_fixed else ratio
        on = {}
        for row, lot in enumerate(self.lots):
            for at in range(len(self.stock)):
                if lot.part is None or self.extents[lot.part.id][at]:
                    on[row, at] = column(0.0, lot.most, -gain * lot.area)
            own = {on[row, at]: 1.0 for at in range(len(self.stock)) if (row, at) in on}
            rows.append((lot.most if lot.is_required else 0.0, lot.most, own))
        whole, lengths = [], []
        for at, stock in enumerate(self.stock):
            most = self.number if stock.count is None else min(stock.count, self.number)
            whole.append(column(0, most if math.isfinite(self.least[at]) else 0))
            lengths.append(column(0.0, highspy.kHighsInf, price * stock.width))
            rows += self._of_stock(at, on, whole[at], lengths[at])
        for low, high, cost in columns:
            model.addVar(low, high)
            model.changeColCost(model.getNumCol() - 1, cost)
        for one in whole:
            model.changeColIntegrality(one, highspy.HighsVarType.kInteger)
        for low, high, own in rows:
            model.addRow(
                low, high, len(own), np.array(list(own), dtype=np.int32), np.array(list(own.values()))
            )
        model.run()
        info = model.getInfo()
        if model.getModelStatus() == highspy.HighsModelStatus.kInfeasible or not info.primal_solution_status:
            return 0.0, 0.0, 0.0 if self.is_fixed else math.inf
        values = np.array(model.getSolution().col_value)
        area = sum(values[one] * self.lots[row].area for (row, _), one in on.items())
        used = sum(values[one] * stock.width for one, stock in zip(lengths, self.stock, strict=True))
        limit = info.mip_dual_bound if self.is_fixed else -info.mip_dual_bound
        return float(area), float(used), float(limit)

    def least_stock(self) -> float:
        """From below, of the stock used, counted in sheets; 0 where little but areas limits what lies on them."""
        if not self.is_mostly_large or not any(self.bands):
            return 0.0
        groups = self._alike()
        first = [group[0] for group in groups]
        kinds = []
        for at, stock in enumerate(self.stock):
            if not math.isfinite(self.least[at]):
                continue
            least = min(self._least_lengths()[at], stock.length)
            rows = tuple(self._of_one_sheet(at, groups))
            takes = np.array([self._goes_on(row, at) for row in first])
            if stock.is_coil:
                kinds.append(Sheets(rows, takes, stock.width, least, stock.length, stock.count))
                continue
            kinds.append(Sheets(rows, takes, stock.width, stock.length, stock.length, stock.count))
            kinds.append(Sheets(rows, takes, stock.width, least, stock.length, 1))
        most = np.array([sum(self.lots[row].most for row in group) for group in groups], dtype=float)
        is_whole = np.array([self.lots[row].part is not None for row in first])
        return least_stock(most, is_whole, np.array([self.lots[row].grown for row in first]), kinds)

    def _goes_on(self, row: int, at: int) -> bool:
        part = self.lots[row].part
        return part is None or bool(self.extents[part.id][at])

    def _alike(self) -> list[list[int]]:
        """Lots whose parts take nearly the same, wherever they go: together they have the least of each measure."""
        groups: list[list[int]] = []
        for row, lot in enumerate(self.lots):
            for group in groups:
                other = self.lots[group[0]]
                if (
                    lot.part
                    and other.part
                    and math.isclose(lot.grown, other.grown, rel_tol=_ALIKE)
                    and all(
                        self._goes_on(row, at) == self._goes_on(group[0], at)
                        and self.alone[at][row] == self.alone[at][group[0]]
                        and np.allclose(covers[row], covers[group[0]], rtol=3 * _ALIKE, atol=0)
                        for at, covers in enumerate(self.covers)
                    )
                ):
                    group.append(row)
                    break
            else:
                groups.append([row])
        return groups

    def _of_one_sheet(self, at: int, groups: Sequence[Sequence[int]]) -> Iterator[Row]:
        """The rows of one sheet of a stock: columns are groups of lots, then its length."""
        whole, length = len(self.lots) + 1, len(self.lots)
        on = {(row, at): row for row in range(length) if self._goes_on(row, at)}
        for low, high, entries in self._of_stock(at, on, whole, length):
            own = {number: min(entries.get(row, 0.0) for row in group) for number, group in enumerate(groups)}
            own[len(groups)] = entries.get(length, 0.0)
            one = entries.get(whole, 0.0)
            yield low - one, high - one, {column: value for column, value in own.items() if value}

    def _of_stock(self, at: int, on, whole: int, length: int) -> Iterator[Row]:
        """Rows for the sheets of a stock."""
        stock, (long, wide) = self.stock[at], self.usable[at]
        least = self._least_lengths()[at]
        least = min(least, stock.length) if math.isfinite(least) else 0.0
        inf = highspy.kHighsInf
        yield -inf, 0.0, {length: 1.0, whole: -stock.length}
        if stock.is_coil:
            yield 0.0, inf, {length: 1.0, whole: -least}
        else:
            yield least - stock.length, inf, {length: 1.0, whole: -stock.length}
        lots = [row for row, one in on if one == at]
        grown = np.array([self.lots[row].grown for row in lots])

        def row_of(shares, limits: Mapping[int, float]):
            own = {on[row, at]: float(share) for row, share in zip(lots, shares, strict=True) if share > 0}
            return -inf, 0.0, {**own, **{name: -value for name, value in limits.items()}}

        yield row_of(grown, {length: wide, whole: -wide * self.shift})
        shares = np.where([self.lots[row].part is not None for row in lots], grown / (long * wide), 0.0)
        for rounded in _rounded(shares):
            yield row_of(rounded, {whole: 1.0})
        yield row_of(self.alone[at][lots].astype(float), {whole: 1.0})
        for number, band in enumerate(self.bands[at]):
            cover = self.covers[at][lots, number]
            if not np.any(cover > 0):
                continue
            if band.axis == 0:
                yield row_of(cover / (band.width * wide), {whole: 1.0})
            else:
                yield row_of(cover / band.width, {length: 1.0, whole: -self.shift})
            for rounded in _rounded(cover / (band.width * (wide if band.axis == 0 else long))):
                yield row_of(rounded, {whole: 1.0})


def _rounded(shares: np.ndarray) -> list[np.ndarray]:
    found = []
    for k in _ROUNDINGS:
        rounded = np.maximum(0.0, np.floor((k + 1) * shares - _TOLERANCE)) / k
        if np.any(rounded > shares + _TOLERANCE):
            found.append(rounded)
    return found


def _grown_areas(parts: list[Part], gap: float) -> dict[str, float]:
    """Of each part, the least area that one of its outlines takes with half the gap around it."""
    shapes = np.array([shapely.Polygon(outline) for part in parts for outline in part.outlines], dtype=object)
    areas = iter(shapely.area(shapely.buffer(shapes, gap / 2, quad_segs=12) if gap else shapes))
    return {part.id: float(min(next(areas) for _ in part.outlines)) for part in parts}


def _grown(outline: np.ndarray, gap: float) -> shapely.Polygon:
    polygon = shapely.Polygon(outline)
    return polygon.buffer(gap / 2, quad_segs=12) if gap else polygon
