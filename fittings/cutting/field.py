"""A stock seen along one of its sides: the variants of all parts, the columns of rows that may stand there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from .layout import Placement
from .profiles import Variant, variants
from .skyline import fill
from .stacks import best_stack, drop, lifts, stack_gains
from .work import Part, Rules, Stock

FINEST, COARSEST = 1 / 32, 1 / 4
CELLS = 3000  # of the longer side, about
FULLEST_ROWS = 0.62  # of its column that a row takes at least
NEARLY = 0.9985  # a column so much narrower than another is the same
MANY = 300  # variants of parts, beyond which fewer columns and rows are looked at
MOST_CLASSES, FEW_CLASSES = 30, 20
MOST_ROWS, FEW_ROWS = 160, 110
FINE_UNITS = 3000  # height units along the longer side
ROUGH = 2  # of them together, where only what a stack is worth is asked
FEW = 100  # variants, up to which each unit is looked at alone all the same
MOST_PRICED = 64  # rows of a column then

Placed = tuple[float, float, float]  # variant, cell, base


@dataclass(eq=False)
class Column:
    """Columns of one width: the rows that go there and how they stand upon each other."""

    width: int
    variant: np.ndarray
    repeat: np.ndarray
    at: np.ndarray
    steps: np.ndarray
    heights: np.ndarray


@dataclass(eq=False)
class Field:
    """One stock and one direction of the skyline. `lies` True: the skyline runs across the width, heights along."""

    stock: Stock
    parts: Sequence[Part]
    rules: Rules
    lies: bool
    columns: list[Column] = field(default_factory=list)

    def __post_init__(self):
        self.inset = self.rules.margin - self.rules.gap / 2
        along, across = self.stock.length - 2 * self.inset, self.stock.width - 2 * self.inset
        self.domain, self.limit = (across, along) if self.lies else (along, across)
        self.step = min(COARSEST, max(FINEST, max(self.stock.length, self.stock.width) / CELLS))
        self.cells_all = int(self.domain / self.step + 1e-9)
        self.unit = max(self.domain, self.limit) / FINE_UNITS
        self.variants: list[Variant] = [
            one
            for one in variants(
                self.parts, gap=self.rules.gap, turns=self.rules.turns, step=self.step, quarter=self.lies
            )
            if one.cells <= self.cells_all and one.height <= self.limit + 1e-9
        ]
        self.area = np.array([abs(part.area) for part in self.parts])
        if self.variants:
            self.cells = np.array([one.cells for one in self.variants])
            self.first = np.concatenate([[0], np.cumsum(self.cells)[:-1]])
            self.lower = np.concatenate([one.lower for one in self.variants])
            self.upper = np.concatenate([one.upper for one in self.variants])
            self.height = np.array([one.height for one in self.variants])
            self.part = np.array([one.part for one in self.variants])
            self.varea = self.area[self.part]
            self.columns = self._columns()

    @property
    def whole(self) -> int:
        """Cells of a column that has the sheet to itself, a little less than there are: divisions go by a grid."""
        return int(0.995 * self.cells_all)

    @property
    def is_empty(self) -> bool:
        return not self.variants

    # -- columns ------------------------------------------------------------

    def _widths(self) -> list[int]:
        """Widths of columns worth trying: whole numbers of each part, and half a part more."""
        weight: dict[int, float] = {}
        for v, one in enumerate(self.variants):
            total = self.varea[v] * self.parts[one.part].count
            n = one.cells
            wavy = float(np.ptp(one.lower) + np.ptp(one.upper)) > 1.6 * self.step
            weight[n] = weight.get(n, 0.0) + total
            for k in range(1, min(self.parts[one.part].count, self.cells_all // n) + 1) if wavy else ():
                for wide in (k * n + n // 2, k * n):
                    if wide <= self.cells_all and wide > n:
                        weight[wide] = weight.get(wide, 0.0) + total / (2 * k)
            if wavy and n < self.whole < 2 * n:
                weight[self.whole] = weight.get(self.whole, 0.0) + total
        # what a slightly wider column takes too needs none of its own
        joined: dict[int, float] = {}
        wide = 0
        for width in sorted(weight, reverse=True):
            if not wide or width < NEARLY * wide:
                wide = width
            joined[wide] = joined.get(wide, 0.0) + weight[width]
        ranked = sorted(joined, key=lambda width: (-joined[width], width))
        return sorted(ranked[: MOST_CLASSES if len(self.variants) <= MANY else FEW_CLASSES])

    def _columns(self) -> list[Column]:
        found = []
        for width in self._widths():
            rows = []
            for v, one in enumerate(self.variants):
                repeat = width // one.cells
                if repeat > self.parts[one.part].count:
                    continue
                if repeat == 1 and width == self.whole:
                    rest = width - one.cells
                    rows += [(v, 1, at) for at in sorted({0, rest // 2, rest})]
                elif repeat and repeat * one.cells >= FULLEST_ROWS * width:
                    rest = width - repeat * one.cells
                    half = 0.35 * one.cells <= rest <= 0.65 * one.cells
                    rows += [(v, repeat, at) for at in ((0, rest) if half else (0,))]
                    if not half and (repeat - 1) * one.cells >= FULLEST_ROWS * width:
                        rows.append((v, repeat - 1, one.cells // 2))
            if not rows:
                continue
            rows.sort(key=lambda row: -self.varea[row[0]] * row[1] * self.parts[self.part[row[0]]].count)
            rows = rows[: MOST_ROWS if len(self.variants) <= MANY else FEW_ROWS]
            lower = np.concatenate([np.tile(self.variants[v].lower, k) for v, k, _ in rows])
            upper = np.concatenate([np.tile(self.variants[v].upper, k) for v, k, _ in rows])
            cells = np.array([self.variants[v].cells * k for v, k, _ in rows])
            begin = np.concatenate([[0], np.cumsum(cells)[:-1]])
            at = np.array([a for _, _, a in rows])
            up = lifts(begin, cells, at, lower, upper)
            which = np.array([v for v, _, _ in rows])
            found.append(
                Column(
                    width,
                    which,
                    np.array([k for _, k, _ in rows]),
                    at,
                    np.maximum(1, np.ceil(up / self.unit - 1e-9)).astype(np.int64),
                    np.ceil(self.height[which] / self.unit - 1e-9).astype(np.int64),
                )
            )
        return found

    @property
    def rough(self) -> int:
        """Height units together in `gains`."""
        return 1 if len(self.variants) <= FEW else ROUGH

    @property
    def units(self) -> int:
        return int(self.limit / self.unit + 1e-9)

    def _row_values(
        self, column: Column, worth: np.ndarray, left: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray]:
        part = self.part[column.variant]
        return worth[part] * self.area[part] * column.repeat, left[part] // column.repeat

    def gains(self, which: Sequence[int], worth: np.ndarray, left: np.ndarray) -> np.ndarray:
        """About what a stack in each of some columns is worth by its height, shape (columns, units // rough + 1)."""
        rough = self.rough
        found = np.zeros((len(which), self.units // rough + 1))
        for at, number in enumerate(which):
            column = self.columns[number]
            value, most = self._row_values(column, worth, left)
            some = np.nonzero(most > 0)[0]
            if len(some) > MOST_PRICED:
                dense = value[some] / column.steps[some, some]
                some = np.sort(some[np.argsort(-dense, kind="stable")[:MOST_PRICED]])
            if len(some):
                steps = np.maximum(1, (column.steps[np.ix_(some, some)] + rough // 2) // rough)
                heights = -(-column.heights[some] // rough)
                found[at] = stack_gains(steps, heights, value[some], most[some], self.units // rough)
        return found

    @property
    def widths(self) -> np.ndarray:
        return np.array([column.width for column in self.columns])

    def stand(
        self, sky: np.ndarray, number: int, worth, left: np.ndarray, limit: float, placed: list[Placed]
    ) -> None:
        """Put the best stack of a column on the left of the skyline, up to a height."""
        column = self.columns[number]
        if column.width > len(sky):
            return
        under, base = -1, float(sky[0])
        while True:
            units = int((limit - base) / self.unit + 1e-6)
            if units < 1:
                return
            value, most = self._row_values(column, worth, left)
            some = np.nonzero((most > 0) | (np.arange(len(most)) == under))[0]
            steps = np.ascontiguousarray(column.steps[np.ix_(some, some)])
            on = int(np.searchsorted(some, under)) if under >= 0 else -1
            rows = (
                best_stack(steps, column.heights[some], value[some], most[some], units, on)
                if len(some)
                else []
            )
            rows = [int(some[row]) for row in rows]
            for row in rows:
                if left[self.part[column.variant[row]]] < column.repeat[row]:
                    break  # used up meanwhile: the best stack from here on is another one
                put = self._put(sky, column, row, left, limit, placed)
                if put < 0:
                    return
                under, base = row, put
            else:
                return

    def _put(self, sky, column: Column, row: int, left, limit: float, placed: list[Placed]) -> float:
        """Lower a row of parts onto the skyline: the base of its first part, -1 where it does not go on whole."""
        v = int(column.variant[row])
        n = int(self.cells[v])
        first = -1.0
        for k in range(int(column.repeat[row])):
            cell = int(column.at[row]) + k * n
            base = drop(sky, limit, cell, n, int(self.first[v]), self.lower, self.upper, self.height[v])
            if base < 0:
                return first if k else -1.0
            left[self.part[v]] -= 1
            placed.append((v, cell, base))
            first = base if k == 0 else max(first, base)
        return first

    def rest(
        self,
        sky: np.ndarray,
        worth,
        left: np.ndarray,
        limit: float,
        noise: float,
        seed: int,
        placed: list[Placed],
    ) -> None:
        """Fill what the skyline leaves, part by part."""
        out = np.empty((int(left.sum()) + 1, 3))
        count = fill(
            sky, limit, self.step, self.first, self.cells, self.lower, self.upper, self.height, self.part,
            self.varea, worth, left, float(self.height.min()), noise, seed, len(out), out,
        )  # fmt: skip
        placed += [tuple(row) for row in out[:count]]

    def end(self, placed: Sequence[Placed]) -> float:
        """How far the parts reach along the sheet, from the inset [length]."""
        if self.lies:
            return max((base + self.variants[int(v)].height for v, _, base in placed), default=0.0)
        return max((cell * self.step + self.variants[int(v)].width for v, cell, _ in placed), default=0.0)

    def counts(self, placed: Sequence[Placed]) -> np.ndarray:
        which = np.array([int(v) for v, _, _ in placed], int)
        return (
            np.bincount(self.part[which], minlength=len(self.parts))
            if len(which)
            else np.zeros(len(self.parts), int)
        )

    def placements(self, placed: Sequence[Placed]) -> list[Placement]:
        """The placements on the sheet, the corner of the sheet as origin."""
        found = []
        for v, cell, base in placed:
            one = self.variants[int(v)]
            s, t = cell * self.step + one.shift[0], base + one.shift[1]
            if self.lies:
                x, y = self.inset + t, self.stock.width - self.inset - s
            else:
                x, y = self.inset + s, self.inset + t
            found.append(Placement(self.parts[one.part].id, x, y, one.turn, one.alternative))
        return found
