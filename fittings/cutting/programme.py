"""Which sheets, how often: the linear programme over whole sheets, whose prices say what each part is worth."""

from __future__ import annotations

import ctypes
import os
from collections.abc import Sequence
from functools import cache
from threading import Lock

import highspy
import numpy as np

FEASIBLE = 2
_GREETING = Lock()


def priced(
    counts: np.ndarray, costs: np.ndarray, demand: np.ndarray, kinds: Sequence[int], limits: dict[int, int]
) -> tuple[np.ndarray, np.ndarray, float]:
    """Solve min cost·x, counts·x ≥ demand, x ≥ 0, no stock used beyond its count.

    counts   parts on each sheet, shape (sheets, parts)
    costs    area of stock of each sheet
    demand   of each part; what the stock cannot do for stays out, at a price that no sheet reaches
    kinds    the stock of each sheet; limits gives the counts of those that have one
    returns  x, shape (sheets,); the price of each part, shape (parts,); the cost
    """
    sheets, parts = counts.shape
    dear = np.full(parts, 50.0 * float(costs.max()))
    solver = _solver(_model(counts, costs, demand, kinds, limits, dear))
    solver.run()
    solution = solver.getSolution()
    x = np.array(solution.col_value[:sheets])
    prices = np.maximum(0.0, np.array(solution.row_dual[:parts]))
    return x, prices, float(costs @ x)


def chosen(
    counts: np.ndarray,
    costs: np.ndarray,
    demand: np.ndarray,
    kinds: Sequence[int],
    limits: dict[int, int],
    alone: np.ndarray,
    nodes: int,
    seconds: float,
) -> np.ndarray:
    """Whole sheets for a demand, as good as a search of so many nodes and seconds finds; arguments as in `priced`.

    alone    what a part costs that is left for other sheets
    returns  how often each sheet is cut, shape (sheets,)
    """
    sheets = len(costs)
    model = _model(counts, costs, demand, kinds, limits, alone, surplus=0.35 * alone)
    whole, real = highspy.HighsVarType.kInteger, highspy.HighsVarType.kContinuous
    model.integrality_ = [whole] * sheets + [real] * (2 * len(demand))
    solver = _solver(model)
    solver.setOptionValue("mip_max_nodes", nodes)
    solver.setOptionValue("time_limit", seconds)
    solver.setOptionValue("mip_rel_gap", 0.0005)
    solver.run()
    values = np.array(solver.getSolution().col_value)
    if solver.getInfo().primal_solution_status != FEASIBLE or len(values) != sheets + 2 * len(demand):
        return np.zeros(sheets, int)
    return np.round(values[:sheets]).astype(int)


@cache
def _greeted() -> None:
    """The first solver of a process prints who made it, whatever is set: that is not for whoever starts the app."""
    library = ctypes.CDLL(None)
    try:
        kept = os.dup(1)
    except OSError:  # there is no output
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        library.fflush(None)
        os.dup2(nowhere, 1)
        highspy.Highs()
        library.fflush(None)
    finally:
        os.dup2(kept, 1)
        os.close(kept)
        os.close(nowhere)


def quiet_solver() -> highspy.Highs:
    """A solver that says nothing and takes one thread: all of a process must ask for the same number."""
    with _GREETING:  # of two threads the later one would keep what the earlier put in the output's place
        _greeted()
    solver = highspy.Highs()
    solver.setOptionValue("output_flag", False)
    solver.setOptionValue("threads", 1)
    return solver


def _solver(model: highspy.HighsLp) -> highspy.Highs:
    solver = quiet_solver()
    solver.setOptionValue("random_seed", 1)
    solver.passModel(model)
    return solver


def _model(counts, costs, demand, kinds, limits, alone, surplus=None) -> highspy.HighsLp:
    """Sheets, parts that stay out and, where it has a cost, what is cut beyond the demand."""
    sheets, parts = counts.shape
    held = [np.array([1.0 if one == kind else 0.0 for one in kinds]) for kind in sorted(limits)]
    more = 0 if surplus is None else parts
    matrix = np.zeros((parts + len(held), sheets + parts + more))
    matrix[:parts, :sheets] = counts.T
    matrix[:parts, sheets : sheets + parts] = np.eye(parts)
    if more:
        matrix[:parts, sheets + parts :] = -np.eye(parts)
    for at, row in enumerate(held):
        matrix[parts + at, :sheets] = row
    columns, rows = np.nonzero(matrix.T)
    model = highspy.HighsLp()
    every = matrix.shape[1]
    model.num_col_, model.num_row_ = every, len(matrix)
    model.col_cost_ = np.concatenate([costs, alone, surplus if more else []])
    model.col_lower_ = np.zeros(every)
    model.col_upper_ = np.full(every, highspy.kHighsInf)
    model.row_lower_ = np.concatenate([demand.astype(float), np.zeros(len(held))])
    model.row_upper_ = np.concatenate(
        [
            demand.astype(float) if more else np.full(parts, highspy.kHighsInf),
            [float(limits[kind]) for kind in sorted(limits)],
        ]
    )
    model.a_matrix_.format_ = highspy.MatrixFormat.kColwise
    starts = np.searchsorted(columns, np.arange(every + 1))
    model.a_matrix_.start_ = starts.astype(np.int32)
    model.a_matrix_.index_ = rows.astype(np.int32)
    model.a_matrix_.value_ = matrix.T[columns, rows]
    return model
