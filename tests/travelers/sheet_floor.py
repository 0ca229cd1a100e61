"""Sheets on the floor for the tests of their scans: what lies on which is said, where it lies there does not matter."""

from __future__ import annotations

from collections.abc import Sequence

from fittings import numbering
from fittings.models import CutPlan, CutSheet, Segment, StockItem
from tests.factories import NOW
from tests.factories_cutting import piece_row, plan_row, sheet_row, stock_item
from tests.travelers.floor import Floor, floor
from travelers.models import ScanTarget

OnSheet = Segment | tuple[Segment, int]


def sent_sheets(*sheets: Sequence[OnSheet], **changes) -> list[CutSheet]:
    """A sent plan: for each sheet the segments on it, or (segment, plate)."""
    item = stock_item()
    plan = plan_row(state=CutPlan.State.SENT, made_at=NOW, sent_at=NOW, **changes)
    made = []
    for here in sheets:
        sheet = sheet_row(plan, item, code=numbering.take(1)[0])
        for feed, piece in enumerate(here, 1):
            segment, plate = piece if isinstance(piece, tuple) else (piece, 0)
            piece_row(sheet, segment, plate, x=feed, y=1, feed=feed)
        made.append(sheet)
    return made


def segments_of(on: Floor) -> list[Segment]:
    """Every segment of the order, fitting by fitting."""
    return list(Segment.objects.filter(fitting__order=on.order).order_by("fitting__number", "position"))


def remnant_of(sheet: CutSheet) -> StockItem:
    """A remnant that waits for its sheet to be cut, as `stock_take` makes it."""
    code = numbering.take(1)[0]
    return stock_item(length=30, form="remnant", count=0, name=f"Remnant {code}", code=code, made_from=sheet)


def big_floor(**changes) -> Floor:
    """One 60 in elbow of five gores: each is wider than the stock is long and so is made of plates."""
    return floor(**({"quantity": 1, "pieces": 5, "diameter": 60, "gauge": 18} | changes))


def targets(sequence: int) -> list[tuple]:
    """What a scan was about: (segment, plate, of how many)."""
    found = ScanTarget.objects.filter(scan_id=sequence).order_by("segment_id", "plate")
    return list(found.values_list("segment_id", "plate", "plates"))
