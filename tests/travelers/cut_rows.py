"""Sheets of cut plans written down row by row, with round areas of pieces, for figures computed by hand."""

from datetime import UTC, datetime
from decimal import Decimal

from fittings.models import CutPiece, CutPlan, Segment, StockItem
from tests import factories_cutting as cutting
from tests.travelers.floor import Floor

MARCH = datetime(2026, 3, 2, 15, 0, tzinfo=UTC)
LAST_OF_MARCH = datetime(2026, 4, 1, 4, 59, tzinfo=UTC)  # 23:59 on 31 March in Chicago, five hours behind UTC
FIRST_OF_APRIL = datetime(2026, 4, 1, 5, 1, tzinfo=UTC)


def item(width: float = 48, length: float = 96, **changes) -> StockItem:
    """A size of stock of its own."""
    return cutting.stock_item(
        width=width, length=length, name=f"stock {StockItem.objects.count() + 1}", **changes
    )


def plan(state="sent", sent_at=MARCH, **changes) -> CutPlan:
    return cutting.plan_row(state=state, sent_at=sent_at if state == "sent" else None, **changes)


def sheet(
    of: CutPlan, stock: StockItem, *placed, used=None, cost="40.00", remnant=None, credit=None, area=None
):
    """A sheet with its pieces: (segment, area) or (segment, area, plate)."""
    made = cutting.sheet_row(
        of,
        stock,
        length_in=used if stock.form == "coil" else stock.length_in,
        used_length_in=used or stock.length_in,
        parts_area=sum(one[1] for one in placed) if area is None else area,
        remnant_width_in=remnant and stock.width_in,
        remnant_length_in=remnant,
        cost=cost and Decimal(cost),
        remnant_credit=credit and Decimal(credit),
    )
    for feed, (segment, own, *plate) in enumerate(placed, 1):
        cutting.piece_row(made, segment, *plate, area=own, feed=feed)
    return made


def take_off(segment: Segment) -> None:
    CutPiece.objects.filter(segment=segment).update(is_live=False, off_at=MARCH, off_by="office")


def two_fittings(on: Floor, **changes) -> CutPlan:
    """Fitting 1 on one sheet, of which a quarter is kept; fitting 2 in three equal parts on another."""
    stock, of = item(), plan(**changes)
    areas = (1296, 864, 432)
    first = [(on.segment(position), area) for position, area in enumerate(areas, 1)]
    second = [(on.segment(position, fitting=2), 1152) for position in (1, 2, 3)]
    sheet(of, stock, *first, used=72, remnant=24, credit="10.00")
    sheet(of, stock, *second)
    return of
