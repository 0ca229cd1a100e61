"""A take-off of 500 lines and 4,000 fittings, as somebody got it: sent, its columns said once, released, printed."""

from __future__ import annotations

import csv
import io
import re

import pypdfium2
import pytest
from playwright.sync_api import expect

from fittings.models import Fitting, Order

from .conftest import PATIENCE_MS
from .live import streams_end  # noqa: F401

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

LINES, EACH = 500, 8
HEADS = ["Qty", "Fitting", "Mat'l", "Ga.", "Dia.", "Dia 2", "CLR", "Lgth", "Conn 1", "Piece mark", "Loc."]
LONG_MS = 240_000  # for a machine that does much else


def take_off() -> bytes:
    """Elbows, reducers and pipes in sixteen sizes, with a title above the heads and a wrong cell in row 12."""
    rows = [["Invented Tower, level 3"], [], HEADS]
    for at in range(LINES):
        size = 6 + at % 16
        rows.append(
            {
                0: [EACH, "90 ell", "galv", 24, f'{size} 1/2"', "", (size + 0.5) * 1.5, "", "flanged"],
                1: [EACH, "Reducer", "galv", 24, size, size - 2, "", 12, "raw"],
                2: [EACH, "Pipe", "Galvanized", 24, size, "", "", "4'", "raw"],
            }[at % 3]
            + [f"L3-{at + 1}", "x"]
        )
    rows[11][4] = "wide"  # row 12 of the file
    stream = io.StringIO()
    csv.writer(stream).writerows(rows)
    return stream.getvalue().encode("cp1252")


def work_that_waits() -> None:
    """What a worker beside the server would do, where the release is left to one."""
    from shared.jobs import work_once
    from shopfloor.worker import HANDLERS

    while work_once(HANDLERS, worker="test"):
        pass


def test_take_off_of_five_hundred_lines_is_sent_released_and_printed(desk):
    page = desk()
    page.set_default_timeout(LONG_MS)
    expect.set_options(timeout=LONG_MS)
    try:
        page.goto("/orders/")
        page.get_by_role("link", name="Import", exact=True).click()
        page.set_input_files(
            "#id_file", {"name": "level-3.csv", "mimeType": "text/csv", "buffer": take_off()}
        )
        page.get_by_label(re.compile("Customer")).fill("Riverside Mechanical")
        page.get_by_role("button", name="Look at the file").click()

        expect(page.get_by_role("heading", name="What the columns mean")).to_be_visible()
        page.get_by_label("Loc. means").select_option("")
        page.get_by_role("button", name="Use these columns").click()

        expect(page.get_by_role("alert")).to_contain_text("E12 Diameter is “wide”")
        page.get_by_role("link", name=re.compile("Diameter is “wide”")).click()
        page.get_by_label("Dia., row 12").fill("14")
        page.get_by_role("button", name="Look again with what I typed").click()

        expect(page.get_by_role("button", name="Make the order, 4000 fittings")).to_be_visible()
        page.get_by_label("Customer’s PO").fill("PO-4000")
        page.get_by_role("button", name="Make the order, 4000 fittings").click()

        expect(page.get_by_role("button", name="Release to the floor")).to_be_visible()
        order = Order.objects.get(purchase_order="PO-4000")
        assert order.lines.count() == LINES
        page.get_by_role("button", name="Release to the floor").click()
        page.wait_for_load_state()
        work_that_waits()
        page.goto(f"/orders/{order.number}/")
        expect(page.locator(".page-head .state[data-state=released]")).to_be_visible()
        assert Fitting.objects.filter(order=order).count() == LINES * EACH == 4000

        answer = page.request.get(f"/api/v1/orders/{order.number}/travelers.pdf", timeout=LONG_MS)
        if answer.status == 200:
            pages = len(pypdfium2.PdfDocument(answer.body()))
            assert pages >= LINES, "a traveler a line at least"
        else:
            pytest.fail(f"the travelers answered {answer.status}: {answer.text()[:300]}")
    finally:
        expect.set_options(timeout=PATIENCE_MS)
