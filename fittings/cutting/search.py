"""The search for the sheets of a work: priced sheets, a choice among them, and another try where it was worst."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from .bed import MIXED, PACKED, SKYLINE, Bed, Filled
from .layout import stock_used
from .programme import chosen, priced
from .work import Work

MOST_POOL = 1200
MOST_CHOSEN = 400
MOST_IDLE = 12
IDLE_ROUNDS = 4  # for each different part: with few of them there is soon nothing better
PAYS = 0.93  # of the fullest sheet of rows that a packed one must reach
IMPROVED = 4  # tries at the worst sheets a round
MOST_PRICING = 36  # rounds of prices before sheets are chosen
STALLED, HARDLY = 5, 0.002  # rounds of prices that make so little difference are the last


class Stopped(Exception):
    """The time is spent, or somebody wants the best so far."""


@dataclass(eq=False)
class Choice:
    """Sheets that hold everything that the stock can do for."""

    sheets: list[Filled]
    left: np.ndarray

    def used(self) -> float:
        """Area of stock used, as a layout counts it."""
        return stock_used(self.sheets)


class Search:
    """Keeps the beds, the pool of sheets and the best choice; `watch` may raise Stopped at any step."""

    def __init__(
        self,
        work: Work,
        *,
        seed: int,
        watch: Callable[[Search], None],
        remaining: Callable[[], float] = lambda: math.inf,
    ):
        self.work = work
        self.watch = watch
        self.remaining = remaining  # asked by the workers too: seconds until the time is over
        self.seed = seed * 1_000_003
        self.demand = np.array([part.count for part in work.parts])
        self.area = np.array([abs(part.area) for part in work.parts])
        self.beds = [
            bed
            for stock in work.stock
            if stock.count is None or stock.count > 0
            if (bed := Bed(stock, work.parts, work.rules)).takes.any()
        ]
        can = np.zeros(len(work.parts), bool)
        for bed in self.beds:
            can |= bed.takes
        self.demand = np.where(can, self.demand, 0)
        self.boost = self._boost()
        self.pool: list[Filled] = []
        self.prices = self.area.copy()
        self.best: Choice | None = None
        self.steps, self.steps_all = 0, 1  # done, and those of the whole effort: for who watches
        self.packer_pays = False  # whether the general packer's sheets are about as full as the others
        self.workers = ThreadPoolExecutor(2)

    def _boost(self) -> np.ndarray:
        """How much more urgent parts are worth where the stock may not do for all; else 1 for each."""
        have = 0.0
        for stock in self.work.stock:
            have += np.inf if stock.count is None else stock.count * stock.width * stock.length
        if have > 1.6 * float(self.demand @ self.area):
            return np.ones(len(self.area))
        urgency = np.array([part.urgency for part in self.work.parts])
        return 3.0 ** -np.minimum(12, np.searchsorted(np.unique(urgency), urgency))

    def next_seed(self) -> int:
        self.seed += 1
        return self.seed

    @property
    def stock_order(self) -> dict[str, int]:
        return {stock.name: at for at, stock in enumerate(self.work.stock)}

    # -- the pool -----------------------------------------------------------

    def add(self, one: Filled) -> None:
        if one.counts.sum():
            self.pool.append(one)

    def programme(self, pool: Sequence[Filled]) -> tuple:
        """The demand and a pool of sheets as `priced` and `chosen` take them."""
        order = self.stock_order
        return (
            np.array([one.counts for one in pool], float),
            np.array([one.cost for one in pool]),
            self.demand,
            [order[one.stock.name] for one in pool],
            {order[stock.name]: stock.count for stock in self.work.stock if stock.count is not None},
        )

    def make(
        self, tries: Sequence[tuple[Bed, np.ndarray, np.ndarray, dict]], *, stuffed: bool = False
    ) -> list[Filled]:
        """Sheets for (bed, worth, left, options), two at a time; in order, whichever is ready first."""
        self.watch(self)

        def one(asked) -> Filled:
            (bed, worth, left, options), seed = asked
            if self.remaining() <= 0:
                raise Stopped
            made = bed.filled(worth, left, seed, **options)
            return made.stuffed(left - made.counts) if stuffed else made

        made = list(self.workers.map(one, [(asked, self.next_seed()) for asked in tries]))
        self.watch(self)
        return made

    def close(self) -> None:
        self.workers.shutdown(wait=False, cancel_futures=True)

    def price(self, most: int) -> None:
        """Sheets for the prices of the sheets so far, until that makes them hardly cheaper any more."""
        costs: list[float] = []
        for _ in range(most):
            costs.append(self.generate())
            if len(costs) > STALLED and costs[-1] > (1 - HARDLY) * costs[-1 - STALLED]:
                return

    def generate(self) -> float:
        """Sheets for the prices of the sheets so far, whose cost for all parts is returned."""
        if not self.pool:
            worth = np.ones(len(self.area))
            tries = [
                (bed, worth, self.demand, {"noise": noise}) for bed in self.beds for noise in (0.0, 0.15, 0.3)
            ]
            tries += [
                (bed, worth, self.demand, {"noise": 0.3, "way": SKYLINE})
                for bed in self.beds
                for _ in range(4)
            ]
            tries += [(bed, worth, self.demand, {"noise": 0.3, "way": PACKED}) for bed in self.beds]
            made = self.make(tries)
            packed = made[-len(self.beds) :]
            self.packer_pays = _dense(packed) > PAYS * _dense(made[: -len(self.beds)])
            for one in made:
                self.add(one)
        _, prices, cost = priced(*self.programme(self.pool))
        usual = cost / max(1e-9, float(self.demand @ self.area))
        steady = np.clip(prices / self.area / usual, 0.6, 1.6) * self.area
        self.prices = 0.7 * self.prices + 0.3 * steady
        tries = [
            (bed, self.prices / self.area, self.demand, {"noise": 0.3, "way": SKYLINE}) for bed in self.beds
        ]
        wide = np.clip(prices / self.area / usual, 0.3, 3.0) * self.area
        for worth_of, noise in ((wide, 0.0), (steady, 0.1), (self.prices, 0.1), (self.prices, 0.3)):
            for bed in self.beds:
                tries.append((bed, worth_of / self.area, self.demand, {"noise": noise}))
        for bed in self.beds:
            if self.packer_pays:
                tries.append((bed, self.prices / self.area, self.demand, {"noise": 0.3, "way": PACKED}))
        for one in self.make(tries, stuffed=True):
            self.add(one)
        self.steps += 1
        if len(self.pool) > MOST_POOL:
            self.pool = self.promising(MOST_POOL * 2 // 3)
        return cost

    def promising(self, most: int) -> list[Filled]:
        """The sheets of the pool that are nearest to worth their price, those of the best choice among them."""
        if len(self.pool) <= most:
            return list(self.pool)
        x, prices, _ = priced(*self.programme(self.pool))
        mine = {id(one) for one in self.best.sheets} if self.best else set()
        reduced = [
            (one.cost - prices @ one.counts) / one.cost - (10 if often > 1e-9 or id(one) in mine else 0)
            for one, often in zip(self.pool, x, strict=True)
        ]
        keep = np.argsort(reduced, kind="stable")[:most]
        return [self.pool[at] for at in sorted(keep)]

    # -- a choice -----------------------------------------------------------

    def choose(self, demand: np.ndarray, taken: Mapping[str, int], *, noise: float, fresh: int) -> Choice:
        """Sheets for a demand, one after another, the best for its price first."""
        random = np.random.default_rng(self.next_seed())
        left = demand.copy()
        taken = Counter(taken)
        sheets: list[Filled] = []
        prices = self.prices * self.boost
        while left.any():
            self.watch(self)
            open_ = [
                bed for bed in self.beds if bed.stock.count is None or taken[bed.stock.name] < bed.stock.count
            ]
            if not open_:
                break
            last = self.last(left, open_, 3 if fresh < 2 else 6)
            if last is not None:
                sheets.append(last)
                left = left - last.counts
                break
            fits = [one for one in self.pool if one.bed in open_ and (one.counts <= left).all()]
            worth = np.where(left > 0, prices / self.area, 0.0)
            tries = [
                (bed, worth, left, {"noise": 0.0 if at == 0 else 0.15})
                for bed in open_
                for at in range(fresh)
            ]
            tries += [(bed, worth, left, {"noise": 0.3, "way": SKYLINE}) for bed in open_ for _ in range(4)]
            if self.packer_pays and fresh:
                tries += [
                    (bed, worth, left, {"noise": 0.3, "way": PACKED}) for bed in open_ for _ in range(2)
                ]
            for one in self.make(tries):
                fits.append(one)
                self.add(one)
            shake = 1 + noise * random.standard_normal(len(fits))
            gain = np.array([prices @ one.counts / max(1e-9, one.cost) for one in fits]) * shake
            one = fits[int(np.argmax(gain))]
            if not one.counts.sum():
                break
            stuffed = one.stuffed(left - one.counts)
            if stuffed is not one:
                one = stuffed
                self.add(one)
            often = self._often(one, left, taken)
            sheets += [one] * often
            taken[one.stock.name] += often
            left = left - often * one.counts
        return Choice(sheets, left)

    def run(self, rounds: int) -> None:
        """Search for so many rounds; `best` is there after the first choice."""
        first = self.choose(self.demand, {}, noise=0.0, fresh=0)
        self.consider(first)
        if len(first.sheets) <= 1:
            self.shorten(rounds)
            return
        pricing = min(MOST_PRICING, 3 + 2 * rounds)
        self.steps_all = pricing + (IMPROVED + 1) * rounds
        self.consider(self.choose(self.demand, {}, noise=0.0, fresh=1))
        self.price(pricing)
        self.steps = pricing
        self.consider(self.choose(self.demand, {}, noise=0.0, fresh=2))
        if not rounds:
            self.assemble(0.8)
        idle, before = 0, self.best
        for number in range(rounds):
            idle, before = (idle + 1 if self.best is before else 0), self.best
            if idle > IDLE_ROUNDS * len(self.area):
                return
            if number % 2 == 0:
                self.assemble((0.8, 0.84, 0.76)[number // 2 % 3])
            for _ in range(IMPROVED):
                self.improve()
                self.steps += 1
            if number % 3 == 2:
                choice = self.choose(self.demand, {}, noise=0.01, fresh=3)
                self.consider(choice)
                self.revalue(choice)
            self.generate()

    def shorten(self, rounds: int) -> None:
        """All goes on one sheet: only its length is tried again."""
        idle, self.steps_all = 0, max(1, rounds)
        for _ in range(rounds):
            self.steps += 1
            self.watch(self)
            last = self.last(self.demand, self.beds)
            better = last is not None and self.consider(Choice([last], self.demand * 0))
            idle = 0 if better else idle + 1
            if idle >= MOST_IDLE:
                return

    def revalue(self, choice: Choice) -> None:
        """Parts that ended on poor sheets are worth more the next time: they are placed while there is choice."""
        worth = np.zeros(len(self.area))
        count = np.zeros(len(self.area))
        for one in choice.sheets:
            stock = one.stock
            share = one.area / max(1e-9, stock.width * one.used_length)
            worth += one.counts * self.area / max(0.3, share)
            count += one.counts
        known = count > 0
        mine = np.where(known, worth / np.maximum(1, count), self.prices)
        self.prices = 0.6 * self.prices + 0.4 * mine

    def assemble(self, rate: float, nodes: int = 60) -> None:
        """Whole sheets out of the pool by an integer programme; what they leave is chosen for afresh."""
        pool = self.promising(MOST_CHOSEN)
        self.watch(self)
        times = chosen(*self.programme(pool), self.area / rate, nodes, max(0.05, self.remaining()))
        sheets = [one for one, number in zip(pool, times, strict=True) for _ in range(number)]
        left = self.demand - sum((one.counts for one in sheets), np.zeros_like(self.demand))
        sheets.sort(key=lambda one: one.area / one.cost)
        for at, one in enumerate(sheets):
            surplus = np.minimum(one.counts, np.maximum(0, -left))
            if surplus.any():
                sheets[at] = one.without(surplus)
                left = left + surplus
        sheets = [one for one in sheets if one.counts.any()]
        rest = self.choose(left, _taken(sheets), noise=0.0, fresh=2)
        self.consider(Choice(sheets + rest.sheets, rest.left))

    def _often(self, one: Filled, left: np.ndarray, taken: Counter[str]) -> int:
        """How many equal sheets at once, where there is much to cut: all but the last two that the parts do for."""
        need = one.counts > 0
        often = max(1, int((left[need] // one.counts[need]).min()) - 2)
        stock = one.stock
        return often if stock.count is None else min(often, stock.count - taken[stock.name])

    def last(self, left: np.ndarray, beds: Sequence[Bed], patience: int = 6) -> Filled | None:
        """All that is left on one sheet, with the least length used; None where it does not go on one."""
        total = float(left @ self.area)
        best: Filled | None = None
        ones = np.ones(len(left))
        for bed in beds:
            whole = bed.stock.width * bed.stock.length
            if total > 0.97 * whole:
                continue
            mine: Filled | None = None
            # a short piece of the sheet first: where all goes on it, nothing longer need be looked at
            guess = 1.45 * total / bed.stock.width + float(bed.longest[left > 0].max())
            length = guess if guess < bed.along.limit else None
            tries = 0
            while tries < patience:
                self.watch(self)
                tries += 1
                way = SKYLINE if tries % 3 == 0 else MIXED
                one = bed.filled(
                    ones, left, self.next_seed(), noise=0.25 * (tries > 1), way=way, length=length
                )
                if (one.counts == left).all() and (mine is None or one.used_length < mine.used_length):
                    mine = one
                    length = mine.used_length - 2 * bed.across.inset - bed.across.step
                    tries = 0
                elif mine is None and length is not None:
                    length = None
                    tries = 0
            packed = bed.packed_all(left, self.next_seed()) if self.packer_pays else None
            for one in (mine, packed):
                if one is not None and (best is None or _end(one) < _end(best)):
                    best = one
        return best

    def consider(self, choice: Choice) -> bool:
        if self.best is None or _rank(choice, self.area * self.boost) < _rank(
            self.best, self.area * self.boost
        ):
            self.best = choice
            return True
        return False

    def improve(self) -> None:
        """Take the worst of the sheets and some others off, and choose anew for what lay on them."""
        assert self.best is not None
        random = np.random.default_rng(self.next_seed())
        sheets = list(self.best.sheets)
        poor = np.array([1.02 - one.area / max(1e-9, one.stock.width * one.stock.length) for one in sheets])
        number = min(len(sheets), int(random.integers(2, 5)))
        off = set(random.choice(len(sheets), number, replace=False, p=poor / poor.sum()).tolist())
        kept = [one for at, one in enumerate(sheets) if at not in off]
        demand = self.best.left + sum((sheets[at].counts for at in sorted(off)), np.zeros_like(self.demand))
        part = self.choose(demand, _taken(kept), noise=0.01, fresh=4)
        self.consider(Choice(kept + part.sheets, part.left))


def _taken(sheets: Sequence[Filled]) -> Counter[str]:
    """How many of each stock are used."""
    return Counter(one.stock.name for one in sheets)


def _dense(sheets: Sequence[Filled]) -> float:
    """How full the fullest is."""
    return max((one.area / one.cost for one in sheets if one.counts.any()), default=0.0)


def _end(one: Filled) -> float:
    return one.used_length * one.stock.width


def _rank(choice: Choice, weight: np.ndarray) -> tuple[float, float, float]:
    """What stayed out, by its weight; the stock used; where that is the same, the waste on as few sheets as can be."""
    together = sum((one.area / (one.stock.width * one.stock.length)) ** 2 for one in choice.sheets)
    return (round(float(choice.left @ weight), 6), round(choice.used(), 3), -together)
