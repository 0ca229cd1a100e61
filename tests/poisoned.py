"""A shop in which everything that people can type is an attack: on pages, pictures, spreadsheets and searches."""

from __future__ import annotations

from datetime import datetime

from fittings.models import Customer, CutSheet, Order, OrderLine, Segment, StockItem
from fittings.numbering import take
from shared.roles import OPERATOR, Actor
from shopfloor.models import Station, Tablet
from tests import factories, factories_cutting
from travelers.cut_plans import piece_take_off
from travelers.models import Operator
from travelers.record import scan_record

MARK = "x-owned"
PAYLOAD = f"\"><{MARK} onpointerover=alert(1)></a></script>'"
SHORT = f"<{MARK} a='\">"


def poison(there: dict[str, dict[str, object]], *, now: datetime = factories.NOW) -> None:
    """Renames what `examples()` made, by the rows where no service stands before them, and adds scans with reasons."""
    order = Order.objects.get(number=there["orders"]["number"])
    short = factories_cutting.released(factories.line(quantity=1))  # a kit that lacks one gore, for the board
    badge = Operator.objects.create(code=take(1)[0], name="Attacker").code
    for segment in Segment.objects.filter(fitting__order=short, position__gt=1).order_by("pk"):
        scanned(segment, "finish", "seam", badge, now)
    acts = ("finish", "hold", "scrap", "hold")
    pieces = Segment.objects.filter(fitting__order=order).order_by("pk")
    for segment, action in zip(pieces, acts, strict=False):
        scanned(segment, action, "cut", badge, now)
    sheet = CutSheet.objects.get(pk=there["cut-sheets"]["pk"])
    spare = sheet.pieces.order_by("-feed").first()
    piece_take_off(
        sheet_code=sheet.code,
        segment_code=spare.segment.code,
        reason=PAYLOAD,
        actor=factories.OFFICE_ACTOR,
        now=now,
    )
    Customer.objects.update(name=PAYLOAD, contact=PAYLOAD)
    Order.objects.update(purchase_order=SHORT, notes=PAYLOAD)
    OrderLine.objects.update(tag=PAYLOAD)
    StockItem.objects.update(name=SHORT)
    for named in (Operator, Tablet, Station):
        named.objects.update(name=PAYLOAD)


def scanned(segment: Segment, action: str, operation: str, badge: str, now: datetime) -> None:
    result = scan_record(
        delivery={
            "id": f"attack-{segment.pk}",
            "code": segment.code,
            "action": action,
            "badge": badge,
            "reason": PAYLOAD,
            "scanned_at": now.isoformat(),
        },
        actor=Actor("CUT-1", OPERATOR, "CUT-1", (operation,)),
        now=now,
    )
    assert result.outcome == "recorded", result.message
