"""The best of several ways to place parts on stock.

First bounding boxes on shelves, which no answer may fall behind; then whole sheets divided into columns of interlocking
rows, priced and chosen by linear and integer programmes, with the skyline for what is left; then, again and again,
another try where the choice is worst.
"""

from __future__ import annotations

import contextlib
import functools
import math
import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from .bound import upper_bound
from .layout import Layout, PlacedSheet, Progress, Unplaced, sheet_of, stock_used
from .search import Choice, Search, Stopped
from .shelf import WAYS, shelf_sheets
from .unplaced import why_unplaced
from .work import ANY, Part, Stock, Work

QUICK, NORMAL, LONG = "quick", "normal", "long"
EFFORTS = (QUICK, NORMAL, LONG)
ROUNDS = {QUICK: 0, NORMAL: 10, LONG: 60}  # of improvement, of small works
MANY = 60  # different parts on different stocks beyond which there are fewer rounds
TOLD_EVERY = 0.4  # seconds


@dataclass
class _Clock:
    """Tells the watcher now and then, and stops the search when the time is spent or nobody wants more."""

    seconds: float | None
    watch: Callable[[Progress], bool] | None
    total: float
    began: float = 0.0
    told: float = 0.0

    def remaining(self) -> float:
        """Seconds; endless where the effort is one of rounds."""
        return math.inf if self.seconds is None else self.began + self.seconds - time.monotonic()

    def __call__(self, search: Search) -> None:
        now = time.monotonic()
        if self.remaining() <= 0:
            raise Stopped
        if self.watch is None or now - self.told < TOLD_EVERY:
            return
        self.told = now
        if not self.watch(self.progress(search, now)):
            raise Stopped

    def progress(self, search: Search, now: float) -> Progress:
        if self.seconds is not None:
            share = min(1.0, (now - self.began) / self.seconds)
        else:
            share = search.steps / search.steps_all
        used = search.best.used() if search.best else 0.0
        return Progress(
            min(share, 0.99),
            self.total / used if used else 0.0,
            len(search.best.sheets) if search.best else 0,
        )


def nest(
    work: Work,
    *,
    effort: str = NORMAL,
    seconds: float | None = None,
    seed: int = 1,
    watch: Callable[[Progress], bool] | None = None,
) -> Layout:
    """Place the parts of a work on its stock, with as little stock as the effort finds.

    effort   'quick', 'normal' or 'long': a number of rounds, so that the same seed gives the same answer
    seconds  in place of an effort: search until the time is spent; the answer then depends on the machine
    watch    told of the progress about twice a second; its False stops the search, and the best so far is kept
    raises   ValueError for an effort that there is not
    """
    if effort not in ROUNDS:
        raise ValueError(f"effort is {effort!r}; it must be one of {', '.join(EFFORTS)}")
    _load()
    began = time.monotonic()
    rounds = _rounds(work, effort) if seconds is None else 10**9
    total = sum(abs(part.area) * part.count for part in work.parts)
    clock = _Clock(seconds, watch, total, began)
    search = Search(work, seed=seed, watch=clock, remaining=clock.remaining)
    with contextlib.closing(search), contextlib.suppress(Stopped):
        if search.demand.any():
            search.run(rounds)
    found = [_shelves(work, way) for way in (WAYS if work.rules.turns == ANY else WAYS[:1])]
    if search.best is not None:
        found.append(_layout(work, search.best))
    best = min(found, key=lambda layout: (_left_out(work, layout), stock_used(layout.sheets)))
    layout = Layout(best.sheets, best.unplaced, upper_bound(work), best.method)
    if watch:
        watch(Progress(1.0, layout.utilisation, len(layout.sheets)))
    return layout


@functools.cache
def _load() -> None:
    """Load the compiled loops, once a process, before anybody's time counts: a small work goes through all of them."""
    wave = np.array([[0, 0], [9, 0], [9, 2], [4.5, 4], [0, 2]], float)
    parts = (Part("wave", 9, wave), Part("plate", 5, wave[[0, 1, 2, 4]]))
    search = Search(Work(parts, (Stock("small", 20.0, 24.0),)), seed=1, watch=lambda _: None)
    with contextlib.closing(search):
        search.run(1)


def _rounds(work: Work, effort: str) -> int:
    """Rounds of an effort: fewer where each takes longer, so that the time stays of the same order."""
    most = ROUNDS[effort]
    stocks = sum(1 for stock in work.stock if stock.count is None or stock.count > 0)
    many = len(work.parts) * max(1, stocks)
    return round(max(most / 10, most * min(1.0, (MANY / many) ** 2)))


def _left_out(work: Work, layout: Layout) -> tuple[float, ...]:
    """Area that did not go on, by urgency, the most urgent first."""
    parts = {part.id: part for part in work.parts}
    levels = sorted({part.urgency for part in work.parts})
    by_level = dict.fromkeys(levels, 0.0)
    for one in layout.unplaced:
        by_level[parts[one.part].urgency] += round(one.count * abs(parts[one.part].area), 6)
    return tuple(by_level[level] for level in levels)


def _shelves(work: Work, way: str) -> Layout:
    sheets, left = shelf_sheets(work, way)
    return Layout(_in_order(sheets), _unplaced(work, left), method="shelves")


def _layout(work: Work, choice: Choice) -> Layout:
    sheets = [sheet_of(work, one.bed.stock, one.placements()) for one in choice.sheets]
    placed: dict[str, int] = {}
    for sheet in sheets:
        for one in sheet.placements:
            placed[one.part] = placed.get(one.part, 0) + 1
    left = {part.id: part.count - placed.get(part.id, 0) for part in work.parts}
    packed = any(one.is_packed for one in choice.sheets)
    method = "rows, skyline and general packer" if packed else "rows and skyline"
    return Layout(_in_order(sheets), _unplaced(work, left), method=method)


def _in_order(sheets) -> tuple[PlacedSheet, ...]:
    """Sheets of a stock together, the one with the least used length last."""
    names = list(dict.fromkeys(sheet.stock.name for sheet in sheets))
    return tuple(sorted(sheets, key=lambda sheet: (names.index(sheet.stock.name), -sheet.used_length)))


def _unplaced(work: Work, left: dict[str, int]) -> tuple[Unplaced, ...]:
    return tuple(
        Unplaced(part.id, left[part.id], why_unplaced(part, work))
        for part in work.parts
        if left.get(part.id, 0) > 0
    )
