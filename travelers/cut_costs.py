"""What the metal of fittings costs: each sheet's cost, less its remnant's worth, shared among the pieces cut from it.

Only sheets that were sent to the floor count. A piece taken off a sheet before it was cut has no share of it: the
others bear its place. Only reads.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from decimal import Decimal

from django.db.models import QuerySet

from fittings.models import CutPiece, CutPlan, CutSheet, Order, PieceState, Segment
from shared.portions import in_portions
from travelers.models import Task
from travelers.sheets import CUT, plates_of

Amount = Decimal | None
"""Money with two digits; None where a price is missing or the metal was not cut by a plan."""
AREA_STEPS = 10**6
AT_A_TIME = 5000


def shared_out(amount: Decimal, areas: Sequence[float]) -> list[Decimal]:
    """An amount shared by area, to the cent: the shares add up to it.

    amount   with two digits, not below zero
    areas    above zero; of equal rests the earlier one gets the cent that is left
    returns  a share for each area (largest remainder method)

    >>> [str(share) for share in shared_out(Decimal("10.00"), [1, 1, 1])]
    ['3.34', '3.33', '3.33']
    """
    weights = [round(area * AREA_STEPS) for area in areas]
    total = sum(weights)
    if total == 0:
        return [Decimal("0.00")] * len(weights)
    cents = int(amount * 100)
    parts = [divmod(cents * weight, total) for weight in weights]
    left = cents - sum(whole for whole, _ in parts)
    by_rest = sorted(range(len(parts)), key=lambda at: -parts[at][1])
    lucky = set(by_rest[:left])
    return [Decimal(whole + (at in lucky)).scaleb(-2) for at, (whole, _) in enumerate(parts)]


def net_cost(cost: Amount, credit: Amount) -> Amount:
    """What a sheet costs when its remnant is given back; never below zero."""
    return None if cost is None else max(cost - (credit or 0), Decimal("0.00"))


# -- pieces and segments -----------------------------------------------------


def segment_costs(segments: QuerySet[Segment]) -> dict[int, Amount]:
    """By segment, of those that lie on a sheet sent to the floor: its share; of plates, the shares of all of them.

    None where a price is missing, or a plate of it is not on such a sheet. A segment that came from stock costs
    nothing here: its metal is counted once, where it was cut. Four queries; two more where there are plates.
    """
    pieces = CutPiece.objects.filter(off_at=None, sheet__plan__state=CutPlan.State.SENT)
    mine = list(
        pieces.filter(segment__in=segments.order_by().values("pk")).values_list(
            "pk", "segment_id", "plate", "sheet_id"
        )
    )
    shares = _shares({sheet for *_, sheet in mine})
    found: dict[int, Amount] = {}
    plates: dict[int, set[int]] = defaultdict(set)
    for piece, segment, plate, _ in mine:
        found[segment] = _plus(found.get(segment, Decimal("0.00")), shares[piece])
        if plate:
            plates[segment].add(plate)
    wanted = plates_of(plates.keys())
    for segment, have in plates.items():
        if len(have) < wanted[segment]:
            found[segment] = None
    of_stock = Task.objects.filter(
        segment__in=segments.order_by().values("pk"), operation=CUT, came_done=True
    )
    return dict.fromkeys(of_stock.values_list("segment_id", flat=True), Decimal("0.00")) | found


def _shares(sheets: Iterable[int]) -> dict[int, Amount]:
    """By piece, its share of its sheet. Two queries for a few thousand sheets."""
    ids = sorted(sheets)
    found: dict[int, Amount] = {}
    for part in in_portions(ids, AT_A_TIME):
        costs = {
            pk: net_cost(cost, credit)
            for pk, cost, credit in CutSheet.objects.filter(pk__in=part).values_list(
                "pk", "cost", "remnant_credit"
            )
        }
        on_sheet: dict[int, list[tuple[int, float]]] = defaultdict(list)
        pieces = CutPiece.objects.filter(sheet__in=part, off_at=None).order_by("pk")
        for sheet, pk, area in pieces.values_list("sheet_id", "pk", "area"):
            on_sheet[sheet].append((pk, area))
        for sheet, own in on_sheet.items():
            cost = costs[sheet]
            shares = [None] * len(own) if cost is None else shared_out(cost, [area for _, area in own])
            found |= dict(zip((pk for pk, _ in own), shares, strict=True))
    return found


def _plus(amount: Amount, other: Amount) -> Amount:
    return None if amount is None or other is None else amount + other


# -- fittings and lines ------------------------------------------------------


def fitting_material_cost(fitting_ids: Iterable[int]) -> dict[int, Amount]:
    """What the metal of fittings costs: the shares of all their segments, those that were scrapped included.

    None where a price is missing, or a segment was not cut by a plan. A void segment counts only if it was cut.
    """
    ids = list(fitting_ids)
    found: dict[int, Amount] = {}
    for part in in_portions(ids, AT_A_TIME):
        costs = _by_fitting(Segment.objects.filter(fitting__in=part))
        found |= {pk: costs.get(pk) for pk in part}
    return found


def _by_fitting(segments: QuerySet[Segment]) -> dict[int, Amount]:
    costs = segment_costs(segments)
    found: dict[int, Amount] = {}
    for segment, fitting, state in segments.order_by("pk").values_list("pk", "fitting_id", "state"):
        is_not_made = state == PieceState.VOID and segment not in costs
        cost = Decimal("0.00") if is_not_made else costs.get(segment)
        found[fitting] = _plus(found.get(fitting, Decimal("0.00")), cost)
    return found


def line_material_cost(order: Order) -> dict[int, Amount]:
    """By line of a released order: the cost of all its fittings, None where that of one is not known.

    Empty where nothing of the order is on a sheet that was sent to the floor.
    """
    sent = CutPiece.objects.filter(
        segment__fitting__order=order, off_at=None, sheet__plan__state=CutPlan.State.SENT
    )
    if not sent.exists():
        return {}
    costs = _by_fitting(Segment.objects.filter(fitting__order=order))
    found: dict[int, Amount] = {}
    for fitting, line in order.fittings.order_by("pk").values_list("pk", "line_id"):
        found[line] = _plus(found.get(line, Decimal("0.00")), costs.get(fitting))
    return found
