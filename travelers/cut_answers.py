"""Cut plans, their sheets and the work that waits, as the HTTP API shows them. Only reads."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from typing import Any

from django.db.models import Count, OuterRef, QuerySet, Subquery
from django.db.models.functions import Coalesce

from fittings.cut_sheets import sheet_contents
from fittings.models import CutPiece, CutPlan, CutSheet, StockItem
from shared.problems import FieldError, WrongInput
from shared.texts import printable, search_text
from shared.units import MM_PER_IN
from travelers.cut_lookup import plan_by_number, sheet_by_key
from travelers.cut_plans import plan_job
from travelers.cut_work import CUT, cut_work
from travelers.models import Task

_PIECE = (
    "sheet_id",
    "plate",
    "pattern",
    "seam_at",
    "x",
    "y",
    "rotation",
    "area",
    "feed",
    "why",
    "is_live",
    "off_reason",
    "off_at",
    "off_by",
    "segment__code",
    "segment__position",
    "segment__role",
    "segment__generation",
    "segment__fitting__code",
    "segment__fitting__order__number",
    "segment__fitting__line__position",
    "segment__fitting__line__tag",
)


def work_answer(*, today: date, unit: str = "in") -> list[dict[str, Any]]:
    """What waits for a plan, by metal."""
    factor = _factor(unit)
    return [
        {
            "material": work.material,
            "gauge": work.gauge,
            "pieces": work.pieces,
            "fittings": work.fittings,
            "orders": work.orders,
            "area": round(work.area_in2 * factor**2, 3),
            "weight": round(work.weight_lb, 3),
            "first_due": work.first_due,
            "late": work.late,
            "left_out": list(work.left_out),
        }
        for work in cut_work(today=today)
    ]


def plans_found(*, state: str = "", material: str = "", gauge: str = "") -> QuerySet[CutPlan]:
    """Plans, the newest first, each with its sheets and pieces counted.

    raises  WrongInput for a state that there is not, or a gauge that is no number
    """
    errors = []
    if state and state not in CutPlan.State.values:
        limit = ", ".join(CutPlan.State.values)
        shown = printable(state)[:40]
        errors.append(FieldError("state", shown, limit, f"State is “{shown}”; it can be {limit}."))
    if gauge and not (gauge.isascii() and gauge.isdecimal() and len(gauge) <= 3):
        limit, shown = "a whole number from 1 to 999", printable(gauge)[:40]
        errors.append(FieldError("gauge", shown, limit, f"Gauge is “{shown}”; it can be {limit}."))
    if errors:
        raise WrongInput(errors)
    wanted = {"state": state, "material": search_text(material), "gauge": gauge}
    found = CutPlan.objects.filter(**{name: value for name, value in wanted.items() if value})
    return found.annotate(sheets_count=_counted(CutSheet), pieces_count=_counted(CutPiece)).order_by(
        "-number"
    )


def _counted(rows: Any) -> Coalesce:
    of_plan = rows.objects.filter(plan=OuterRef("pk")).order_by().values("plan")
    return Coalesce(Subquery(of_plan.annotate(n=Count("pk")).values("n")), 0)


def plan_row(plan: CutPlan, unit: str = "in") -> dict[str, Any]:
    """A plan in a list."""
    return _head(plan, unit) | {"sheets_count": plan.sheets_count, "pieces_count": plan.pieces_count}


def plan_answer(plan: CutPlan | int, unit: str = "in") -> dict[str, Any]:
    """A plan whole: its search, its sheets with their pieces, and what did not go on. Five queries.

    raises  NotFound
    """
    if not isinstance(plan, CutPlan):
        plan = plan_by_number(plan)
    job = plan_job(plan)
    sheets = list(plan.sheets.order_by("position"))
    codes = _remnant_codes([sheet.pk for sheet in sheets])
    by_sheet: dict[int | None, list[dict[str, Any]]] = defaultdict(list)
    for row in _pieces(CutPiece.objects.filter(plan=plan)):
        by_sheet[row["sheet_id"]].append(_piece(row, unit))
    return _head(plan, unit) | {
        "job": None
        if job is None
        else {
            "state": job.state,
            "share": job.share,
            "words": job.words,
            "figures": job.figures,
            "wants_stop": job.wants_stop,
        },
        "comparisons": plan.comparisons,
        "sheets": [
            _sheet(sheet, codes.get(sheet.pk, ""), unit) | {"pieces": by_sheet[sheet.pk]} for sheet in sheets
        ],
        "without_sheet": by_sheet[None],
    }


def sheet_answer(key: str, unit: str = "in") -> dict[str, Any]:
    """One sheet with its pieces where they lie on it. raises NotFound"""
    sheet = sheet_by_key(key)
    factor = _factor(unit)
    content = sheet_contents([sheet])[0]
    rows = [_piece(row, unit) for row in _pieces(sheet.pieces.all())]
    for row, placed in zip(rows, content.drawing.pieces, strict=True):
        row["outline"] = [[round(x * factor, 4), round(y * factor, 4)] for x, y in placed.outline]
        row["label"] = placed.label
    code = _remnant_codes([sheet.pk]).get(sheet.pk, "")
    head = {"plan": sheet.plan.number, "state": sheet.plan.state, "unit": unit}
    metal = {"material": sheet.plan.material, "gauge": sheet.plan.gauge}
    return head | metal | _sheet(sheet, code, unit) | {"pieces": rows}


def piece_answer(piece: CutPiece, unit: str = "in") -> dict[str, Any]:
    """One piece of a plan."""
    return _piece(_pieces(CutPiece.objects.filter(pk=piece.pk))[0], unit)


# -- parts -------------------------------------------------------------------


def _head(plan: CutPlan, unit: str) -> dict[str, Any]:
    factor = _factor(unit)
    return {
        "number": plan.number,
        "state": plan.state,
        "version": plan.version,
        "material": plan.material,
        "gauge": plan.gauge,
        "unit": unit,
        "effort": plan.effort,
        "seed": plan.seed,
        "gap": round(plan.gap_in * factor, 6),
        "margin": round(plan.margin_in * factor, 6),
        "turns": plan.turns,
        "seams": plan.seams,
        "due_to": plan.due_to,
        "stock": plan.stock_ids,
        "utilisation": plan.utilisation,
        "bound": plan.bound,
        "parts_area": round(plan.parts_area * factor**2, 3),
        "stock_area": round(plan.stock_area * factor**2, 3),
        "cost": _money(plan.cost),
        "message": plan.message,
        "made_by": plan.made_by,
        "asked_at": plan.asked_at,
        "made_at": plan.made_at,
        "sent_at": plan.sent_at,
        "sent_by": plan.sent_by,
        "ended_at": plan.ended_at,
    }


def _sheet(sheet: CutSheet, remnant_code: str, unit: str) -> dict[str, Any]:
    factor = _factor(unit)
    remnant = None
    if sheet.remnant_width_in and sheet.remnant_length_in:
        remnant = {
            "width": round(sheet.remnant_width_in * factor, 4),
            "length": round(sheet.remnant_length_in * factor, 4),
            "code": remnant_code,
            "credit": _money(sheet.remnant_credit),
        }
    return {
        "id": sheet.pk,
        "position": sheet.position,
        "code": sheet.code,
        "stock": sheet.stock_id,
        "stock_name": sheet.stock_name,
        "form": sheet.form,
        "width": round(sheet.width_in * factor, 4),
        "length": round(sheet.length_in * factor, 4),
        "used_length": round(sheet.used_length_in * factor, 4),
        "utilisation": round(sheet.utilisation, 6),
        "load": sheet.load,
        "load_offset": round(sheet.load_offset_in * factor, 4),
        "cost": _money(sheet.cost),
        "remnant": remnant,
    }


def _remnant_codes(sheets: list[int]) -> dict[int, str]:
    made = StockItem.objects.filter(made_from__in=sheets, form=StockItem.Form.REMNANT)
    return dict(made.values_list("made_from_id", "code"))


def _pieces(pieces: QuerySet[CutPiece]) -> list[dict[str, Any]]:
    """Rows of pieces in feed order, each with the state of its cutting. One query."""
    state = Task.objects.filter(segment=OuterRef("segment"), operation=CUT).values("state")[:1]
    return list(
        pieces.annotate(cut=Subquery(state)).order_by("sheet_id", "feed", "pk").values("cut", *_PIECE)
    )


def _piece(row: Mapping[str, Any], unit: str) -> dict[str, Any]:
    factor = _factor(unit)
    off = None
    if row["off_at"]:
        off = {"reason": row["off_reason"], "at": row["off_at"], "by": row["off_by"]}
    return {
        "code": row["segment__code"],
        "plate": row["plate"],
        "fitting": row["segment__fitting__code"],
        "order": row["segment__fitting__order__number"],
        "line": row["segment__fitting__line__position"],
        "tag": row["segment__fitting__line__tag"],
        "position": row["segment__position"],
        "role": row["segment__role"],
        "generation": row["segment__generation"],
        "pattern": row["pattern"],
        "seam_at": row["seam_at"],
        "x": _scaled(row["x"], factor),
        "y": _scaled(row["y"], factor),
        "rotation": row["rotation"],
        "area": round(row["area"] * factor**2, 3),
        "feed": row["feed"],
        "is_live": row["is_live"],
        "cut": row["cut"],
        "why": row["why"],
        "off": off,
    }


def _scaled(value: float | None, factor: float) -> float | None:
    return None if value is None else round(value * factor, 6)


def _factor(unit: str) -> float:
    return MM_PER_IN if unit == "mm" else 1.0


def _money(amount: Decimal | None) -> str | None:
    return None if amount is None else f"{amount:.2f}"
