"""A cut gore of a cancelled order: kept at the desk, offered to a draft, rolled by its old label, finished."""

from __future__ import annotations

import re
import uuid

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from fittings.models import Fitting, KeptPiece, Order, Segment
from fittings.orders import order_create
from shared.roles import OPERATOR, Actor
from tests import factories
from travelers.models import Task
from travelers.record import scan_record
from travelers.release import order_cancel
from travelers.replay import replay

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

OFFICE_HAND = Actor("office", "office")


def scanned(operation: str, code: str, badge: str) -> None:
    station = f"{operation.upper()}-1"
    moment = timezone.now()
    found = scan_record(
        delivery={
            "id": str(uuid.uuid4()),
            "code": code,
            "action": "finish",
            "badge": badge,
            "scanned_at": moment.isoformat(),
        },
        actor=Actor(station, OPERATOR, station, (operation,)),
        now=moment,
    )
    assert found.outcome == "recorded", found.message


def test_a_kept_gore_is_offered_used_and_finished(desk, tablet, scan, badges, codes):
    badge = badges["Ana Ruiz"]
    scanned("cut", codes[1], badge)
    order_cancel(number="1042", actor=OFFICE_HAND, now=timezone.now())
    body = factories.order_body(
        number="1043", customer="Riverside Mechanical", due="2031-03-05", lines=[factories.line(quantity=1)]
    )
    order_create(data=body, actor=OFFICE_HAND, now=timezone.now())

    page = desk()
    page.goto("/stock/")
    page.get_by_role("link", name="Kept pieces").click()
    expect(page.get_by_role("heading", name="Nothing is kept")).to_be_visible()
    page.get_by_role("link", name="Keep pieces").first.click()
    page.get_by_label("Codes").fill(codes[1].lower())
    page.get_by_label("Why").select_option("cancelled")
    page.get_by_label("Where it lies").fill("bin A4")
    page.get_by_role("button", name="Keep them").click()
    expect(page.get_by_role("cell", name="bin A4")).to_be_visible()

    page.goto("/orders/1043/")
    offer = page.get_by_label("Line 1: 1 of 3 middle gores is kept, cut: bin A4")
    expect(offer).to_be_checked()
    page.get_by_role("button", name="Release to the floor").click()
    expect(page.get_by_text("Order 1043 is on the floor: 1 fitting.")).to_be_visible()
    expect(page.get_by_role("table", name="From stock")).to_contain_text("Position 2 of fitting 1 of line 1")
    expect(page.locator(".order-progress li").first).to_have_text(re.compile(r"Cut\s+1/5"))

    new = Segment.objects.get(fitting__order__number="1043", position=2)
    roll = tablet("ROLL-1")
    scan(roll, badge)
    scan(roll, codes[1])
    expect(roll.locator("#result-status[data-result=recorded]")).to_contain_text("Gore 2 of 5 rolled")
    assert Task.objects.get(segment=new, operation="roll").state == "done"

    fitting = Fitting.objects.get(order__number="1043")
    for operation in ("cut", "roll", "seam", "assemble", "wrap"):
        scanned(operation, fitting.code, badge)
    page.reload()
    expect(page.locator(".page-head-facts")).to_contain_text("1 of 1")
    assert Order.objects.get(number="1043").state == "done"
    assert KeptPiece.objects.get().used_segment == new
    assert replay(write=False).differences == []
