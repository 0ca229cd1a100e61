"""The least stock that a work takes where it is counted in sheets of whole parts: a proven lower limit.

Proof. A sheet of a layout holds whole numbers of large parts, and these keep every limit that is proven of a sheet.
Give each lot a price that is not negative. If no sheet holds more by these prices than it costs, then a layout costs at
least what all lots are worth (weak duality of linear programming). Where sheets hold more, prices are lowered by the
share; where there are few of a stock, or one sheet is counted by its used length, what they hold too much is taken off.
How much a sheet holds at most is a mixed-integer programme, whose own upper limit counts. So each round gives a proven
limit, however good the prices are; they come from the linear programme over the sheets that were found so far (P. C.
Gilmore and R. E. Gomory, A linear programming approach to the cutting-stock problem, Operations Research 9, 1961; the
limit of each round: A. A. Farley, A note on bounding a class of linear programming problems, Operations Research 38,
1990).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import highspy
import numpy as np

from .programme import FEASIBLE, quiet_solver

Row = tuple[float, float, Mapping[int, float]]  # lowest, highest, coefficients by column

_PRICINGS = 160  # of sheets at most
_LEAST_ROUNDS = 10  # with fewer nothing comes of it
_NODES = 500
_CLOSE = 1e-4
_CALM = 0.6  # of the best prices so far, in those of the next round: they leap less


@dataclass(frozen=True)
class Sheets:
    """The sheets of one stock that are counted alike.

    rows      limits of what lies on one sheet: columns 0 to lots − 1 are the lots, then the used length
    takes     whether a lot goes on it, shape (lots,)
    width     what a unit of length costs
    shortest  the least length that is counted, and the greatest
    count     of sheets at most; None is without limit
    """

    rows: tuple[Row, ...]
    takes: np.ndarray
    width: float
    shortest: float
    longest: float
    count: int | None


def least_stock(most: np.ndarray, is_whole: np.ndarray, start: np.ndarray, kinds: Sequence[Sheets]) -> float:
    """No layout takes less stock [area]; 0 where there is too much to look at.

    most      of each lot, all of which is placed, shape (lots,)
    is_whole  whether only whole numbers of a lot lie on a sheet
    start     prices to begin with
    """
    rounds = _PRICINGS // max(1, len(kinds))
    if rounds < _LEAST_ROUNDS:
        return 0.0
    pricings = [_Pricing(kind, most, is_whole) for kind in kinds]
    master = _Master(most, start, kinds)
    best, calm = 0.0, start
    share = 1.0
    for _ in range(rounds):
        exact, spent, cost = master.solved()
        prices = share * calm + (1 - share) * exact
        found = [pricing.dearest(prices) for pricing in pricings]
        limit = _proven(prices, most, kinds, [limit for limit, _, _ in found])
        if limit > best:
            best, calm = limit, prices
        gainful = [
            (at, counts, length)
            for at, (_, counts, length) in enumerate(found)
            if exact @ counts - kinds[at].width * length - spent[at] > 1e-7 * cost
        ]
        if best > (1 - _CLOSE) * cost or (not gainful and share == 0):
            break
        share = _CALM if gainful else 0.0
        for one in gainful:
            master.add(*one)
    return best


def _proven(prices, most, kinds: Sequence[Sheets], limits: Sequence[float]) -> float:
    """Weak duality; `limits` from above, of what a sheet of each kind is worth beyond its cost."""
    scale, over = 1.0, 0.0
    for kind, limit in zip(kinds, limits, strict=True):
        if kind.count is None:
            scale = max(scale, 1 + limit / (kind.width * kind.shortest))
        else:
            over += kind.count * max(0.0, limit)
    return float(prices @ most) / scale - over


class _Pricing:
    """What a sheet of a kind is worth at most beyond its cost."""

    def __init__(self, kind: Sheets, most: np.ndarray, is_whole: np.ndarray):
        self.solver = quiet_solver()
        self.solver.setOptionValue("mip_max_nodes", _NODES)
        for lot, number in enumerate(most):
            self.solver.addVar(0.0, float(number) if kind.takes[lot] else 0.0)
            if is_whole[lot]:
                self.solver.changeColIntegrality(lot, highspy.HighsVarType.kInteger)
        self.solver.addVar(kind.shortest, kind.longest)
        self.solver.changeColCost(len(most), kind.width)
        for row in kind.rows:
            _add_row(self.solver, *row)
        self.kind, self.most = kind, most

    def dearest(self, prices: np.ndarray) -> tuple[float, np.ndarray, float]:
        """That limit; what lies on the best sheet that was found, and its length."""
        for lot, price in enumerate(prices):
            self.solver.changeColCost(lot, -float(price))
        self.solver.run()
        values = np.array(self.solver.getSolution().col_value)
        info = self.solver.getInfo()
        if len(values) != len(prices) + 1 or info.primal_solution_status != FEASIBLE:
            return float(prices @ self.most), np.zeros(len(prices)), self.kind.shortest
        return -float(info.mip_dual_bound), values[:-1], float(values[-1])


class _Master:
    """The linear programme over the sheets found so far."""

    def __init__(self, most: np.ndarray, start: np.ndarray, kinds: Sequence[Sheets]):
        self.most, self.kinds = most, kinds
        self.solver = quiet_solver()
        for number in most:
            self.solver.addRow(float(number), highspy.kHighsInf, 0, [], [])
        for kind in kinds:
            self.solver.addRow(
                -highspy.kHighsInf, highspy.kHighsInf if kind.count is None else kind.count, 0, [], []
            )
        dear = max(kind.width * kind.longest for kind in kinds)
        for lot, price in enumerate(start):  # at a price that no sheet reaches
            self._add_column(max(2 * dear, 20 * float(price)), {lot: 1.0})

    def _add_column(self, cost: float, entries: Mapping[int, float]) -> None:
        rows = np.array(list(entries), dtype=np.int32)
        self.solver.addCol(
            cost, 0.0, highspy.kHighsInf, len(rows), rows, np.array(list(entries.values()), dtype=float)
        )

    def add(self, at: int, counts: np.ndarray, length: float) -> None:
        held = {int(lot): float(counts[lot]) for lot in np.nonzero(counts > 1e-9)[0]}
        self._add_column(self.kinds[at].width * length, {**held, len(self.most) + at: 1.0})

    def solved(self) -> tuple[np.ndarray, np.ndarray, float]:
        """Prices of the lots, prices of the kinds that are scarce, the cost."""
        self.solver.run()
        duals = np.array(self.solver.getSolution().row_dual)
        lots = len(self.most)
        return (
            np.maximum(0.0, duals[:lots]),
            np.maximum(0.0, -duals[lots:]),
            float(self.solver.getInfo().objective_function_value),
        )


def _add_row(solver: highspy.Highs, low: float, high: float, entries: Mapping[int, float]) -> None:
    columns = np.array(list(entries), dtype=np.int32)
    solver.addRow(low, high, len(columns), columns, np.array(list(entries.values()), dtype=float))
