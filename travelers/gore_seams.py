"""How the gores of a fitting are joined: the height of the standing seam and the gap that it is closed to."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from fittings import tables
from fittings.developing import allowances_for
from fittings.models import Fitting
from shared.problems import WrongInput

GAP = "gore gap"


@dataclass(frozen=True)
class GoreSeam:
    """height_in  of the standing seam, 0 where the gores are butted; gap_in None where no table tells it."""

    height_in: float
    gap_in: float | None


def gore_seam(fitting_code: str) -> GoreSeam | None:
    """By the tables that the order was released with, and what the line has of its own. Two queries.

    The gap is taken from the newest table where the order's own does not know it yet.
    """
    line = Fitting.objects.select_related("line__order").get(code=fitting_code).line
    frozen = tables.all_rows(line.order.tables)
    try:
        edges = allowances_for(
            line.material, line.gauge, line.end_a, line.end_b, frozen, line.allowances, "in", line.end_c
        )
    except WrongInput:
        return None
    gap = _gap(frozen["allowances"], line.material, line.gauge)
    if gap is None:
        gap = _gap(tables.rows("allowances"), line.material, line.gauge)
    return GoreSeam(edges.edge_a, gap)


def _gap(rows: Iterable[Mapping[str, Any]], material: str, gauge: int) -> float | None:
    fitting = [row for row in rows if row["joint"] == GAP and row["gauge_from"] <= gauge <= row["gauge_to"]]
    for wanted in (material, "*"):
        for row in fitting:
            if row["material"] == wanted:
                return row["amount_in"]
    return None


__all__ = ["GoreSeam", "gore_seam"]
