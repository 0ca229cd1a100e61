"""Cut plans for tests, laid out by hand in rows of boxes: no search, so what lies where does not depend on one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import cos, radians, sin

from django.db.models import Max

from fittings.models import CutPiece, CutPlan, CutSheet, Order, OrderLine, PieceState, Segment, StockItem
from tests.factories import NOW, OFFICE_ACTOR, line, order
from travelers.release import order_release

GAP_IN, MARGIN_IN, LEAST_REMNANT_IN, TABLE_IN = 0.125, 0.25, 12.0, 240.0


def released(*lines: dict, **changes) -> Order:
    """A released order; left out, of four 14 in elbows of five gores."""
    made = order(lines=list(lines) or [line()], **changes)
    return order_release(number=made.number, actor=OFFICE_ACTOR, now=NOW)


def stock_item(
    order: Order | None = None, *, width=60.0, length=120.0, form="sheet", count=20, **changes
) -> StockItem:
    """A size of stock, of the metal of an order's first line; the one that is there where it is already."""
    metal = order.lines.order_by("position").first() if order else None
    name = f"{width:g} in coil" if form == "coil" else f"{width:g}×{length:g}"
    values = {
        "name": name,
        "form": form,
        "material": metal.material if metal else "galvanized",
        "gauge": metal.gauge if metal else 24,
        "width_in": width,
        "length_in": length,
        "count": None if form == "coil" else count,
        "cost_each": "60.00",
        "changed_at": NOW,
        "changed_by": "office",
        **changes,
    }
    there = StockItem.objects.filter(
        is_active=True, **{key: values[key] for key in ("name", "material", "gauge")}
    )
    return there.first() or StockItem.objects.create(**values)


def plan_row(**changes) -> CutPlan:
    """A plan as it was asked for, without sheets and pieces; left out, its number is the next."""
    values = {
        "number": (CutPlan.objects.aggregate(most=Max("number"))["most"] or 0) + 1,
        "material": "galvanized",
        "gauge": 24,
        "effort": "quick",
        "gap_in": GAP_IN,
        "margin_in": MARGIN_IN,
        "turns": "any",
        "seams": "ordered",
        "made_by": "office",
        "asked_at": NOW,
    }
    return CutPlan.objects.create(**values | changes)


def sheet_row(plan: CutPlan, stock: StockItem, **changes) -> CutSheet:
    """The next sheet of a plan, used to its end, without pieces."""
    values = {
        "position": plan.sheets.count() + 1,
        "stock": stock,
        "stock_name": stock.name,
        "form": stock.form,
        "width_in": stock.width_in,
        "length_in": stock.length_in,
        "used_length_in": stock.length_in,
    }
    return CutSheet.objects.create(plan=plan, **values | changes)


def piece_row(sheet: CutSheet, segment: Segment, plate: int = 0, **changes) -> CutPiece:
    """A segment, or a plate of it, on a sheet."""
    values = {"pattern": segment.pattern, "x": 0, "y": 0, "rotation": 0}
    return CutPiece.objects.create(
        plan=sheet.plan, sheet=sheet, segment=segment, plate=plate, **values | changes
    )


@dataclass
class _Sheet:
    """Placed pieces (segment, plate, flat, turn, x, y), each x, y the place of the outline's own origin."""

    placed: list = field(default_factory=list)
    end: float = 0.0


def made_plan(
    order: Order, sent: bool = False, stock: StockItem | None = None, turns: Sequence[int] = (0, 180)
) -> CutPlan:
    """A plan of all open segments of an order that are of its first line's metal, made or sent.

    Boxes in columns from the front, `gap` and `margin` kept, two sheets a load of the table; what is left behind the
    last column is kept where both sides are at least 12 in.
    stock   what to cut from; left out, 20 sheets of 60 × 120 in
    turns   of the pieces in turn [deg]
    """
    stock = stock or stock_item(order)
    plan = plan_row(
        material=stock.material,
        gauge=stock.gauge,
        state=CutPlan.State.MADE,
        effort="normal",
        turns="half",
        stock_ids=[stock.pk],
        made_at=NOW,
    )
    sheets = _laid_out(_pieces(order, stock), stock, turns)
    begins = 0.0
    load = 1
    for laid in sheets:
        used = laid.end + MARGIN_IN
        long = used if stock.form == "coil" else stock.length_in
        if begins and begins + long > TABLE_IN:
            load, begins = load + 1, 0.0
        _stored(plan, stock, laid, used, load, begins)
        begins += long
    rows = list(plan.sheets.all())
    plan.parts_area = sum(sheet.parts_area for sheet in rows)
    plan.stock_area = sum(
        sheet.width_in * (sheet.used_length_in if sheet.form == "coil" else sheet.length_in) for sheet in rows
    )
    plan.utilisation = plan.parts_area / plan.stock_area
    plan.save()
    if sent:
        from travelers.cut_plans import plan_send

        plan = plan_send(number=plan.number, actor=OFFICE_ACTOR, now=NOW)
    return plan


def _pieces(order: Order, stock: StockItem) -> list[tuple[Segment, int, dict]]:
    lines = {
        one.pk: one
        for one in OrderLine.objects.filter(order=order, material=stock.material, gauge=stock.gauge)
    }
    rows = (
        Segment.objects.filter(fitting__line__in=lines, state=PieceState.OPEN)
        .select_related("fitting")
        .order_by("fitting__line__position", "fitting__number", "position", "generation")
    )
    found = []
    for segment in rows:
        flat = lines[segment.fitting.line_id].development["segments"][segment.position - 1]
        plates = flat.get("plates") or ()
        found += [(segment, number, plate) for number, plate in enumerate(plates, 1)] or [(segment, 0, flat)]
    return found


def _laid_out(pieces, stock: StockItem, turns: Sequence[int]) -> list[_Sheet]:
    """Columns from the front, each filled across the sheet; each column as long as its longest piece."""
    sheets = [_Sheet()]
    x, y, column = MARGIN_IN, MARGIN_IN, 0.0
    for number, (segment, plate, flat) in enumerate(pieces):
        turn = turns[number % len(turns)]
        left, low, right, high = _box(flat["cut_outline"], turn)
        wide, tall = right - left, high - low
        if y + tall > stock.width_in - MARGIN_IN + 1e-9:
            x, y, column = x + column + GAP_IN, MARGIN_IN, 0.0
        if x + wide > stock.length_in - MARGIN_IN + 1e-9:
            sheets.append(_Sheet())
            x, y, column = MARGIN_IN, MARGIN_IN, 0.0
        assert x + wide <= stock.length_in and y + tall <= stock.width_in, (
            f"{segment} is too large for {stock}"
        )
        sheets[-1].placed.append((segment, plate, flat, turn, x - left, y - low))
        sheets[-1].end = max(sheets[-1].end, x + wide)
        column, y = max(column, wide), y + tall + GAP_IN
    return sheets


def _box(outline, turn: float) -> tuple[float, float, float, float]:
    c, s = cos(radians(turn)), sin(radians(turn))
    xs = [x * c - y * s for x, y in outline]
    ys = [x * s + y * c for x, y in outline]
    return min(xs), min(ys), max(xs), max(ys)


def _stored(plan, stock, laid: _Sheet, used: float, load: int, begins: float) -> None:
    rest = stock.length_in - used
    is_kept = stock.form != "coil" and min(rest, stock.width_in) >= LEAST_REMNANT_IN
    sheet = sheet_row(
        plan,
        stock,
        used_length_in=used,
        parts_area=sum(flat["cut_area"] for _, _, flat, *_ in laid.placed),
        remnant_width_in=stock.width_in if is_kept else None,
        remnant_length_in=rest if is_kept else None,
        cost="60.00",
        load=load,
        load_offset_in=begins,
    )
    for feed, (segment, plate, flat, turn, x, y) in enumerate(laid.placed, 1):
        piece_row(sheet, segment, plate, x=x, y=y, rotation=turn, area=flat["cut_area"], feed=feed)
