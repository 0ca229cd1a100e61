"""Released work, stock and plans made by a worker, for the tests of cut plans; and the proof of what was stored.

`proven_plan` reads rows alone and proves them with shapely: it uses nothing that made the layout.
"""

from __future__ import annotations

import math
from collections import Counter
from datetime import timedelta
from typing import Any

from shapely.affinity import affine_transform
from shapely.geometry import Polygon, box
from shapely.strtree import STRtree

from fittings.cut_outlines import piece_pattern
from fittings.models import CutPiece, CutPlan, CutSheet, Order, StockItem
from fittings.stock import stock_create
from shared.jobs import Run, Work, work_once
from shared.models import Job
from tests import factories
from tests.travelers.floor import ONE_OPERATION, badge, station
from travelers.cut_job import cut_plan_failed, cut_plan_make
from travelers.cut_plans import plan_request, plan_send
from travelers.models import Task
from travelers.record import ScanResult, scan_record
from travelers.release import order_release

NOW = factories.NOW
LATER = NOW + timedelta(hours=1)
OFFICE = factories.OFFICE_ACTOR
SUPERVISOR = factories.SUPERVISOR_ACTOR
SLACK = 1e-6


def released(due: str | None = "2026-03-05", *, quantity: int = 2, pieces: int = 3, **changes: Any) -> Order:
    """A released order of equal elbows; `changes` are of the line, `params` of its parameters."""
    given = changes.pop("params", {})
    elbow = {} if "kind" in changes else factories.elbow_params(pieces=pieces, diameter=8)
    line = factories.line(quantity=quantity, params=elbow | given, **changes)
    made = factories.order(lines=[line], due=due)
    return order_release(number=made.number, actor=OFFICE, now=NOW)


def stock(width: float = 48, length: float = 120, count: int | None = None, **changes: Any) -> StockItem:
    """Sheets of galvanized 24 gauge."""
    values = {
        "form": "sheet",
        "material": "galvanized",
        "gauge": 24,
        "width": width,
        "length": length,
        "count": count,
        "cost_each": "40.00",
    }
    return stock_create(values=values | changes, actor=OFFICE, now=NOW)


def requested(**changes: Any) -> CutPlan:
    asked = {"material": "galvanized", "gauge": 24, "effort": "quick", "actor": OFFICE, "now": NOW}
    return plan_request(**asked | changes)


def work(name: str = "test", *, searches: bool = False) -> bool:
    """One job done as a worker does it: stopped at the first layout unless it shall search, no rules compared."""
    if not searches:
        Job.objects.filter(state="queued").update(wants_stop=True)

    def make(run: Run) -> None:
        cut_plan_make(run, compare=None)

    return work_once({"cut_plan": Work(make, cut_plan_failed)}, worker=name, now=lambda: LATER)


def made(*, searches: bool = False, **changes: Any) -> CutPlan:
    """A plan, made by a worker."""
    plan = requested(**changes)
    assert work(searches=searches)
    plan.refresh_from_db()
    return plan


def send(plan: CutPlan, **changes) -> CutPlan:
    return plan_send(**{"number": plan.number, "actor": OFFICE, "now": LATER} | changes)


def cut(code: str, action: str = "finish", minutes: int = 1, **changes: Any) -> ScanResult:
    """One scan at the cutting table, recorded."""
    body = {
        "id": f"{code}-{action}-{minutes}",
        "code": code,
        "action": action,
        "badge": changes.pop("badge", "") or badge(f"Sam Invented {code}{action}{minutes}"),
        "scanned_at": (NOW + timedelta(minutes=minutes)).isoformat(),
    } | changes
    result = scan_record(delivery=body, actor=station("cut"), now=LATER, station_operations=ONE_OPERATION.get)
    assert result.outcome == "recorded", result.message
    return result


def proven_plan(plan: CutPlan) -> CutPlan:
    """The plan, after the proof of its rows: places, gaps, margins, turns, sizes, each piece once, sheets counted."""
    pieces = list(plan.pieces.select_related("segment__fitting__line__order", "sheet").order_by("pk"))
    assert max(Counter((piece.segment_id, piece.plate) for piece in pieces).values()) == 1
    for piece in pieces:
        assert piece.is_live == (piece.sheet_id is not None), "placed pieces are live, others are not"
        assert piece.is_live or piece.why
    sheets = list(plan.sheets.order_by("position"))
    assert [sheet.position for sheet in sheets] == list(range(1, len(sheets) + 1))
    for sheet in sheets:
        on_it = sorted(
            (piece for piece in pieces if piece.sheet_id == sheet.pk), key=lambda piece: piece.feed
        )
        assert on_it, "no sheet is empty"
        assert [piece.feed for piece in on_it] == list(range(1, len(on_it) + 1))
        shapes = [placed(piece) for piece in on_it]
        fronts = [shape.bounds[0] for shape in shapes]
        assert all(one <= two + 1e-3 for one, two in zip(fronts, fronts[1:], strict=False)), "front first"
        edge = plan.margin_in
        room = box(edge, edge, sheet.length_in - edge, sheet.width_in - edge).buffer(SLACK)
        for piece, shape in zip(on_it, shapes, strict=True):
            assert room.covers(shape), f"{piece} leaves the margin"
            assert abs(piece.area - shape.area) < 1e-6 * max(1, shape.area)
            turn = piece.rotation % 360
            assert plan.turns == "any" or min(abs(turn - ok) for ok in (0, 180, 360)) < 1e-9
            assert plan.turns != "none" or min(turn, 360 - turn) < 1e-9
        tree = STRtree(shapes)
        for at, shape in enumerate(shapes):
            for other in tree.query(shape.buffer(plan.gap_in + 1)):
                if other > at:
                    assert shape.distance(shapes[other]) >= plan.gap_in - SLACK
                    assert shape.intersection(shapes[other]).area < 1e-9
        end = max(shape.bounds[2] for shape in shapes)
        assert abs(sheet.used_length_in - min(sheet.length_in, end + edge)) < 1e-6
        if sheet.remnant_length_in:
            assert sheet.remnant_width_in == sheet.width_in
            assert sheet.length_in - sheet.remnant_length_in >= end + max(plan.gap_in, edge) - 1e-4
        assert abs(sheet.parts_area - sum(shape.area for shape in shapes)) < 1e-6
    for pk, number in Counter(sheet.stock_id for sheet in sheets).items():
        count = StockItem.objects.get(pk=pk).count
        assert plan.state == "sent" or count is None or number <= count
    return plan


def placed(piece: CutPiece) -> Polygon:
    line = piece.segment.fitting.line
    pattern = piece_pattern(line, piece.segment.position, piece.plate, piece.seam_at)
    turn = math.radians(piece.rotation)
    cos, sin = math.cos(turn), math.sin(turn)
    return affine_transform(Polygon(pattern["cut_outline"]), [cos, -sin, sin, cos, piece.x, piece.y])


def live(plan: CutPlan) -> int:
    return plan.pieces.filter(is_live=True).count()


def facts() -> tuple:
    """All rows of plans and of the stock, to see that nothing changed."""
    return _rows(CutPlan, CutSheet, CutPiece, StockItem)


def state() -> tuple:
    """The same with the jobs and the tasks."""
    return (*facts(), *_rows(Job, Task))


def _rows(*tables) -> tuple:
    return tuple(list(table.objects.order_by("pk").values_list()) for table in tables)
