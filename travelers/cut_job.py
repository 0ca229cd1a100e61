"""A cut plan made: the long work of a worker, and the one transaction that writes what it found.

Killed anywhere before that transaction's commit, the plan is still being made and the job is taken up again. What the
rules cost (`travelers.cut_compare`) is computed after it, while the plan can be seen and sent already.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from django.db import transaction

from fittings.cut_settings import CutSettings, cut_settings
from fittings.cutting import QUICK, Layout, Progress, WorkError, nest, stock_used
from fittings.cutting.feed import remnant_of, table_loads
from fittings.models import CutPiece, CutPlan, CutSheet, StockItem
from fittings.stock import remnant_credit, sheet_cost
from shared import rows
from shared.jobs import Run, Work
from shared.portions import in_portions
from shared.problems import Conflict, NotFound
from shared.turn import write_turn
from travelers.cut_choices import stock_chosen
from travelers.cut_compare import comparisons_of
from travelers.cut_order import OrderedSheet, in_order, why_said
from travelers.cut_parts import PlanPiece, is_scarce, parts_of, plan_pieces, stock_of, work_of
from travelers.cut_plans import plan_failed, plan_locked

SEARCH_SHARE = 0.8
"""Of the whole job; the rest is what the rules cost."""
BATCH = 500
_PLACE = (
    "UPDATE fittings_cutpiece SET sheet_id = new.column2, x = new.column3, y = new.column4, rotation = new.column5,"
    " seam_at = new.column6, area = new.column7, feed = new.column8 FROM (VALUES {values}) AS new"
    " WHERE fittings_cutpiece.id = new.column1"
)
_ROW = {
    "sqlite": rows.places(8),
    "postgresql": "(%s::bigint, %s::bigint, %s::float8, %s::float8, %s::float8, %s, %s::float8, %s::integer)",
}
State = CutPlan.State


@dataclass(frozen=True, eq=False)
class Found:
    """What the search gave: sheets in the order of cutting, what has no place and why, the layout's figures."""

    sheets: Sequence[OrderedSheet]
    items: Sequence[StockItem]  # of each sheet
    unplaced: Sequence[tuple[PlanPiece, str]]
    layout: Layout


def cut_plan_make(run: Run, *, compare: Callable[..., list] | None = comparisons_of) -> None:
    """Make the plan whose number is the job's subject.

    compare  what computes what the rules cost; None: nothing does
    raises  Problem where it cannot be made: `cut_plan_failed` then frees its pieces; JobLost
    """
    plan = CutPlan.objects.filter(number=run.subject).first()
    if plan is None:
        raise NotFound(f"There is no cut plan {run.subject}.")
    settings = cut_settings()
    if plan.state == State.MAKING:
        found = _searched(plan, settings, run)
        with write_turn(), transaction.atomic():
            plan = plan_locked(plan.number)
            if plan.state == State.MAKING:
                _write(plan, found, settings, run)
    comparisons = []
    if compare and plan.state == State.MADE and not plan.comparisons:
        comparisons = compare(
            plan, settings, lambda share, words: run.tell(SEARCH_SHARE + (1 - SEARCH_SHARE) * share, words)
        )
    with write_turn(), transaction.atomic():
        plan = plan_locked(plan.number)
        if comparisons and plan.state in (State.MADE, State.SENT):
            plan.comparisons = comparisons
            plan.save(update_fields=["comparisons"])
        run.finish(plan.message or "The plan is made.")


def cut_plan_failed(run: Run, sentence: str) -> None:
    """Free the pieces of a plan whose job failed and mark it, in the transaction in which the job fails.

    One that was made before (only the comparisons were missing) stays as it is.
    """
    plan = CutPlan.objects.select_for_update(of=("self",), no_key=True).filter(number=run.subject).first()
    if plan is not None and plan.state == State.MAKING:
        plan_failed(plan=plan, sentence=sentence, now=run.now())


CUT_PLAN_WORK = Work(cut_plan_make, cut_plan_failed)


# -- the search --------------------------------------------------------------


def _searched(plan: CutPlan, settings: CutSettings, run: Run) -> Found:
    goes_on = run.tell(0.0, "The pieces are read.")
    pieces = plan_pieces(plan)
    open_ = [piece for piece in pieces if not piece.ended]
    if not open_:
        raise Conflict("None of the plan’s pieces needs cutting any more.")
    stock = stock_of(stock_chosen(plan), settings.table_length_in)
    parts = parts_of(open_, seams=plan.seams)
    if is_scarce(parts, [one for one, _ in stock.values()]):
        parts = parts_of(open_, seams=plan.seams, by_rank=True)

    def watch(progress: Progress) -> bool:
        words = (
            f"{100 * progress.utilisation:.1f} % used on {progress.sheets} "
            f"{'sheet' if progress.sheets == 1 else 'sheets'} so far."
        )
        figures = {"utilisation": progress.utilisation, "sheets": progress.sheets}
        return run.tell(SEARCH_SHARE * progress.share, words, figures)

    try:
        work = work_of(parts, [one for one, _ in stock.values()], plan)
        layout = nest(work, effort=plan.effort if goes_on else QUICK, seed=plan.seed, watch=watch)
    except WorkError as error:
        raise Conflict(str(error)) from error
    if not layout.sheets:
        first = layout.unplaced[0]
        code = parts.shapes[parts.shape_of[first.part]].pieces[0].code
        raise Conflict(f"None of the pieces goes on the stock. {why_said(first, code)}")
    sheets, unplaced = in_order(layout, parts)
    unplaced += [(piece, piece.ended) for piece in pieces if piece.ended]
    return Found(sheets, [stock[one.sheet.stock.name][1] for one in sheets], unplaced, layout)


# -- what is written ---------------------------------------------------------


def _write(plan: CutPlan, found: Found, settings: CutSettings, run: Run) -> None:
    """Sheets, places and figures, in the caller's transaction with the plan locked."""
    sheets = _sheets(plan, found, settings)
    # by stock item: the rows that the foreign keys look up are then locked in one order everywhere
    CutSheet.objects.bulk_create(
        sorted(sheets, key=lambda sheet: (sheet.stock_id, sheet.position)), batch_size=BATCH
    )
    places = [
        (one.piece.pk, sheet.pk, one.x, one.y, one.rotation, one.seam_at, one.area, one.feed)
        for sheet, ordered in zip(sheets, found.sheets, strict=True)
        for one in ordered.pieces
    ]
    vendor = transaction.get_connection().vendor
    for part in in_portions(places, BATCH):
        sql = _PLACE.format(values=", ".join([_ROW[vendor]] * len(part)))
        rows.execute(sql, [value for row in part for value in row])
    by_why: dict[str, list[int]] = {}
    for piece, why in found.unplaced:
        by_why.setdefault(why[:300], []).append(piece.pk)
    for why, ids in by_why.items():
        CutPiece.objects.filter(pk__in=ids).update(is_live=False, why=why)
    _figures(plan, sheets, found)
    plan.state, plan.made_at = State.MADE, run.now()
    plan.version += 1
    plan.save(
        update_fields=[
            "state",
            "version",
            "made_at",
            "utilisation",
            "bound",
            "parts_area",
            "stock_area",
            "cost",
            "message",
        ]
    )


def _sheets(plan: CutPlan, found: Found, settings: CutSettings) -> list[CutSheet]:
    is_coil = [item.form == StockItem.Form.COIL for item in found.items]
    lengths = [
        one.sheet.used_length if coil else item.length_in
        for one, item, coil in zip(found.sheets, found.items, is_coil, strict=True)
    ]
    loads = table_loads(lengths, settings.table_length_in, is_coil)
    made = []
    for at, (ordered, item, length, load) in enumerate(
        zip(found.sheets, found.items, lengths, loads, strict=True), start=1
    ):
        remnant = None
        if item.form != StockItem.Form.COIL:
            outlines = [one.outline for one in ordered.pieces]
            least = settings.remnant_least_in
            remnant = remnant_of(length, item.width_in, outlines, plan.gap_in, plan.margin_in, least)
        width, rest = remnant or (None, None)
        made.append(
            CutSheet(
                plan=plan,
                position=at,
                stock=item,
                stock_name=item.name,
                form=item.form,
                width_in=item.width_in,
                length_in=length,
                used_length_in=ordered.sheet.used_length,
                parts_area=ordered.area,
                remnant_width_in=width,
                remnant_length_in=rest,
                cost=sheet_cost(item, ordered.sheet.used_length),
                remnant_credit=remnant_credit(item, width, rest),
                load=load[0],
                load_offset_in=load[1],
            )
        )
    return made


def _figures(plan: CutPlan, sheets: Sequence[CutSheet], found: Found) -> None:
    """The plan's figures; its cost is that of the metal less what the remnants are worth, None where one is unknown."""
    plan.parts_area = sum(sheet.parts_area for sheet in sheets)
    plan.stock_area = stock_used([ordered.sheet for ordered in found.sheets])
    plan.utilisation, plan.bound = plan.parts_area / plan.stock_area, found.layout.bound
    costs = [sheet.cost for sheet in sheets]
    plan.cost = None
    if None not in costs:
        plan.cost = sum(costs, Decimal(0)) - sum((sheet.remnant_credit or 0 for sheet in sheets), Decimal(0))
    plan.message = _said(found)


def _said(found: Found) -> str:
    number = len(found.unplaced)
    if not number:
        return ""
    if number == 1:
        piece, why = found.unplaced[0]
        return f"{piece.code} did not go on and waits to be cut again. {why}"[:300]
    return f"{number} pieces did not go on and wait to be cut again; the plan says why."
