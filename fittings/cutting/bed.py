"""One stock and how a sheet of it is filled: divided into columns of rows, then what else goes there."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from .blocks import ALONG, NOTHING, Block, blocks_of, grid_for
from .field import Field, Placed
from .layout import Placement, placed_outline
from .packer import PackerError, can_take, pack_strip
from .pockets import Pockets
from .work import Part, Rules, Stock

MIXED, SKYLINE, PACKED = "mixed", "skyline", "packed"
SHARES = (0.78, 0.84, 0.9, 0.72)  # of the sheet's area that the packer is given
MOST_PACKED = 160  # parts that it is given at once
FEW_COLUMNS = 10  # of each direction, at least, in a shaken try
MOST_COLUMNS = 24  # of each direction in one division


@dataclass(eq=False)
class Filled:
    """One filled sheet: what was placed in each of the bed's fields, how many of each part, the length used."""

    bed: Bed
    across: tuple[Placed, ...]
    along: tuple[Placed, ...]
    counts: np.ndarray
    area: float
    used_length: float
    more: tuple[Placement, ...] = ()  # put into the pockets between them

    @property
    def stock(self) -> Stock:
        return self.bed.stock

    @property
    def cost(self) -> float:
        """Area of stock that it takes; of a coil only what is cut off."""
        return self.stock.width * (self.used_length if self.stock.is_coil else self.stock.length)

    @property
    def is_packed(self) -> bool:
        """Whether the general packer laid it."""
        return bool(self.more) and not self.across and not self.along

    def without(self, surplus: np.ndarray) -> Filled:
        """The same with so many of each part taken off; places stay as they are."""
        left = surplus.copy()
        more = []
        for one in self.more:
            part = self.bed.index[one.part]
            if left[part] > 0:
                left[part] -= 1
            else:
                more.append(one)
        kept: list[list[Placed]] = []
        for field, placed in ((self.bed.along, self.along), (self.bed.across, self.across)):
            mine = []
            for one in sorted(placed, key=lambda one: (-one[1], -one[2])):
                part = field.part[int(one[0])]
                if left[part] > 0:
                    left[part] -= 1
                else:
                    mine.append(one)
            kept.append(mine)
        return self.bed.made(kept[1], kept[0], more)

    def stuffed(self, left: np.ndarray) -> Filled:
        """The same with parts in its pockets, at most `left` of each beyond its own."""
        more = self.bed.pockets.filled(self.placements(), self.bed.index, left.copy())
        if not more:
            return self
        return self.bed.made(list(self.across), list(self.along), [*self.more, *more])

    def placements(self) -> list[Placement]:
        across, along = self.bed.across, self.bed.along
        found = across.placements(self.across) if self.across else []
        found += along.placements(self.along) if self.along else []
        return [*found, *self.more]


class Bed:
    """A stock with the two directions of the skyline on it."""

    def __init__(self, stock: Stock, parts: Sequence[Part], rules: Rules):
        self.stock = stock
        self.parts = parts
        self.rules = rules
        self.across = Field(stock, parts, rules, False)
        self.along = Field(stock, parts, rules, True)
        self.longest = np.array([float(np.ptp(part.outline, axis=0).max()) for part in parts])
        self.pockets = Pockets(stock, parts, rules)
        self.index = {part.id: at for at, part in enumerate(parts)}
        self.grid = grid_for(self.along.limit, self.across.limit)

    @cached_property
    def can_pack(self) -> np.ndarray:
        """Which parts the general packer can lay on this stock."""
        return np.array([can_take(self.stock, part, self.rules) for part in self.parts])

    @property
    def takes(self) -> np.ndarray:
        """Which parts go on this stock at all."""
        can = np.zeros(len(self.parts), bool)
        for field in (self.across, self.along):
            if not field.is_empty:
                can[np.unique(field.part)] = True
        return can

    def filled(
        self,
        worth: np.ndarray,
        left: np.ndarray,
        seed: int,
        *,
        noise: float = 0.0,
        way: str = MIXED,
        length: float | None = None,
    ) -> Filled:
        """A sheet filled for the values of the parts, with at most `left` of each.

        worth   value of each part per unit of area
        noise   how far values are shaken
        way     'mixed': columns first; 'skyline': part by part, along the length or across by the seed; 'packed': by
                the general packer, what lies beyond the length left out
        length  usable length where it is less than the stock's
        """
        random = np.random.default_rng(seed)
        left = left.copy()
        reach = self.along.limit if length is None else min(length, self.along.limit)
        cells = min(self.across.cells_all, int(reach / self.across.step + 1e-9))
        shaken = worth * (1 + noise * random.uniform(-1, 1, len(worth)))
        across: list[Placed] = []
        along: list[Placed] = []
        if way == PACKED:
            return self._packed(shaken, left, seed, reach)
        if way == SKYLINE:
            if seed % 2 and not self.along.is_empty:
                sky = np.zeros(self.along.cells_all)
                self.along.rest(sky, shaken, left, reach, noise, seed, along)
            else:
                self.across.rest(np.zeros(cells), shaken, left, self.across.limit, noise, seed, across)
            return self.made(across, along)
        for block in self._blocks(shaken, left, reach, random if noise else None):
            self._fill(block, shaken, left, noise / 3, seed, across, along)
        return self.made(across, along)

    def _packed(self, worth: np.ndarray, left: np.ndarray, seed: int, reach: float) -> Filled:
        """Some of the parts, the dearest by their area first, as the general packer lays them."""
        margin = self.rules.margin
        width = self.stock.width - 2 * margin
        room = SHARES[seed % len(SHARES)] * width * reach
        given = np.zeros_like(left)
        for part in np.argsort(-worth, kind="stable"):
            if worth[part] > 0 and left[part] and self.can_pack[part]:
                area = self.across.area[part]
                given[part] = min(left[part], int(room / area), MOST_PACKED - int(given.sum()))
                room -= given[part] * area
        return self._as_packed(given, seed, self.stock.length - margin - (self.along.limit - reach))

    def packed_all(self, left: np.ndarray, seed: int) -> Filled | None:
        """All that is left, as the general packer lays it; None where that is not on one sheet."""
        if left.sum() > MOST_PACKED or not self.can_pack[left > 0].all():
            return None
        one = self._as_packed(left, seed, self.stock.length - self.rules.margin)
        return one if (one.counts == left).all() else None

    def _as_packed(self, given: np.ndarray, seed: int, end: float) -> Filled:
        """What the general packer lays of the given parts before an end [length from the sheet's front]."""
        given_parts = [(self.parts[part], int(given[part])) for part in np.nonzero(given)[0]]
        if not given_parts:
            return self.made([], [])
        margin, rules = self.rules.margin, self.rules
        wanted = [(part.outline, count) for part, count in given_parts]
        try:
            placed, _ = pack_strip(
                wanted, self.stock.width - 2 * margin, turns=rules.turns, gap=rules.gap, seed=seed
            )
        except PackerError:
            return self.made([], [])
        inside = []
        for number, x, y, turn in placed:
            part, _ = given_parts[number]
            one = Placement(part.id, x + margin, y + margin, turn)
            if placed_outline(part.outline, one)[:, 0].max() <= end + 1e-9:
                inside.append(one)
        return self.made([], [], inside)

    def _blocks(self, worth, left, reach: float, random: np.random.Generator | None) -> list[Block]:
        """The division of the sheet that is worth most, the largest block first.

        random  where given, only some of the columns are looked at, others each time
        """
        nx, ny = int(reach / self.grid + 1e-9), int(self.across.limit / self.grid + 1e-9)
        tables: list[np.ndarray] = []
        numbers: dict[bool, np.ndarray] = {}
        for field, most in ((self.across, ny), (self.along, nx)):
            if not field.columns:
                tables += [np.empty(0, np.int64), np.empty((0, most + 1))]
                continue
            which = np.arange(len(field.columns))
            if random is not None and len(which) > FEW_COLUMNS:
                which = np.sort(random.choice(which, max(FEW_COLUMNS, len(which) // 2), replace=False))
            widths = np.ceil(field.widths[which] * field.step / self.grid - 1e-9).astype(np.int64)
            heights = np.arange(most + 1) * self.grid / (field.rough * field.unit)
            at = np.minimum(field.units // field.rough, (heights + 1e-9).astype(int))
            gains = field.gains(which, worth, left)[:, at]
            dense = (gains[:, 1:] / (widths[:, None] * np.arange(1, most + 1))).max(axis=1)
            best = np.sort(np.argsort(-dense, kind="stable")[:MOST_COLUMNS])
            tables += [widths[best], np.ascontiguousarray(gains[best])]
            numbers[field.lies] = which[best]
        found = [
            replace(block, column=int(numbers[block.kind == ALONG][block.column]))
            if block.kind != NOTHING
            else block
            for block in blocks_of(nx, ny, *tables)
        ]
        return sorted(found, key=lambda block: (block.kind == NOTHING, -block.width * block.height))

    def _fill(self, block: Block, worth, left, noise: float, seed: int, across, along) -> None:
        """One rectangle: its column of rows, then what else goes there."""
        x, y = block.x * self.grid, block.y * self.grid
        wide, high = block.width * self.grid, block.height * self.grid
        if block.kind == ALONG or (block.kind == NOTHING and high > wide):
            field, placed = self.along, along
            begin, domain, base, limit = self.across.limit - y - high, high, x, x + wide
        else:
            field, placed = self.across, across
            begin, domain, base, limit = x, wide, y, y + high
        if field.is_empty:
            return
        cells = math.floor(domain / field.step + 1e-6)
        if cells < 1:
            return
        sky = np.full(cells, base)
        mine: list[Placed] = []
        if block.kind != NOTHING:
            field.stand(sky, block.column, worth, left, limit, mine)
        field.rest(sky, worth, left, limit, noise, seed, mine)
        placed += [(v, cell + begin / field.step, at) for v, cell, at in mine]

    def made(self, across: list[Placed], along: list[Placed], more: Sequence[Placement] = ()) -> Filled:
        """The sheet with what was placed on it."""
        counts = self.across.counts(across) + self.along.counts(along)
        end = max(self.across.end(across), self.along.end(along)) + self.across.inset
        for one in more:
            counts[self.index[one.part]] += 1
            end = max(end, self.pockets.end(one, self.index[one.part]))
        used = min(self.stock.length, end + self.across.inset) if counts.any() else 0.0
        area = float(counts @ self.across.area)
        return Filled(self, tuple(across), tuple(along), counts, area, used, tuple(more))
