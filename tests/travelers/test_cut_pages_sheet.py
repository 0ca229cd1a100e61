"""The page of a sheet, what is taken off it, and pictures and files to take away."""

from __future__ import annotations

import io
import re
import zipfile

import ezdxf
import pypdfium2
import pytest

from tests import factories
from tests import factories_cutting as cutting
from tests.fittings.test_stock import setting
from tests.pages import alert_of, text_of
from tests.travelers.cut_floor import state
from travelers.models import Task

pytestmark = pytest.mark.usefixtures("shop")


# -- one sheet ---------------------------------------------------------------


def test_a_sheet_lists_its_pieces_in_feed_order(desk, sheet):
    page = desk.get(f"/cut-sheets/{sheet.pk}/")
    html, words = page.content.decode(), text_of(page)
    pieces = list(sheet.pieces.order_by("feed").select_related("segment"))
    listed = re.findall(r'<tr data-code="(\w+)" data-feed="(\d+)"', html)
    assert listed == [(piece.segment.code, str(piece.feed)) for piece in pieces]
    for piece in pieces[:5]:
        assert f"Gore {piece.segment.position} of 5" in words
    assert f"Sheet 1 of {sheet.plan.sheets.count()}" in words
    assert sheet.code in words.replace(" ", "")
    assert html.count('<g class="piece') == len(pieces)


def test_a_shop_that_works_in_millimetres_reads_sheets_in_them(desk, sheet):
    """60 × 120 in is 1524 × 3048 mm, by 25.4 mm an inch."""
    assert (sheet.width_in, sheet.length_in) == (60, 120)
    inches = desk.get(f"/cut-sheets/{sheet.pk}/")
    assert "60 × 120 in" in text_of(inches) and "Sizes in inches" in text_of(inches)
    long, wide = map(float, re.search(r"(\d+\.\d\d) × (\d+\.\d\d)</td>", inches.content.decode()).groups())
    setting("unit", "mm")
    page = desk.get(f"/cut-sheets/{sheet.pk}/")
    assert "1524 × 3048 mm" in text_of(page) and "Sizes in millimetres" in text_of(page)
    shown = map(float, re.search(r"(\d+\.\d) × (\d+\.\d)</td>", page.content.decode()).groups())
    assert list(shown) == pytest.approx([long * 25.4, wide * 25.4], abs=0.2), "half of a hundredth of an inch"
    plan = text_of(desk.get(f"/cut-plans/{sheet.plan.number}/"))
    assert "1524 × 3048 mm sheet" in plan and " in sheet" not in plan
    assert re.search(r"Gap between pieces [\d.]+ mm Margin [\d.]+ mm", plan)


def test_a_piece_named_in_the_address_is_marked_in_picture_and_list(desk, sheet):
    piece = sheet.pieces.order_by("feed").select_related("segment")[2]
    code = piece.segment.code
    plain = desk.get(f"/cut-sheets/{sheet.pk}/").content.decode()
    marked = desk.get(f"/cut-sheets/{sheet.pk}/?piece={code.lower()}").content.decode()
    assert plain.count('class="picked"') == 0 and marked.count('class="picked"') == 1
    assert re.search(rf'<tr data-code="{code}"[^>]* class="is-current"', marked)
    assert "Take it off the sheet" in marked and "Take it off the sheet" not in plain
    assert desk.get(f"/cut-sheets/{sheet.pk}/?piece=NOSUCH").content.decode().count("is-current") == 0


def test_a_piece_is_taken_off_with_a_reason_and_waits_again(desk, sheet):
    piece = sheet.pieces.order_by("feed").select_related("segment").first()
    code = piece.segment.code
    answer = desk.post(
        f"/cut-sheets/{sheet.pk}/take-off/", {"piece": code, "reason": "Corner is dented"}, follow=True
    )
    piece.refresh_from_db()
    assert (piece.is_live, piece.off_reason) == (False, "Corner is dented")
    words = text_of(answer)
    assert f"{code} is taken off the sheet. It waits to be cut again." in words
    assert "Taken off Corner is dented" in words
    assert "1 taken off" in text_of(desk.get(f"/cut-plans/{sheet.plan.number}/"))
    assert "24 ga galvanized 1 1 1" in text_of(desk.get("/cut-plans/"))


@pytest.mark.parametrize("reason", ["", "   ", "x" * 201])
def test_nothing_is_taken_off_without_a_plain_reason(desk, sheet, reason):
    code = sheet.pieces.order_by("feed").first().segment.code
    before = state()
    answer = desk.post(f"/cut-sheets/{sheet.pk}/take-off/", {"piece": code, "reason": reason})
    assert answer.status_code == 400
    assert "Say why the piece is taken off" in alert_of(answer)
    page = answer.content.decode()
    assert 'href="#off-reason"' in page and 'aria-describedby="off-reason-error"' in page
    assert state() == before


def test_a_piece_that_was_cut_stays_on_its_sheet(desk, sheet):
    piece = sheet.pieces.order_by("feed").first()
    Task.objects.filter(operation="cut", segment=piece.segment).update(state="done")
    before = state()
    answer = desk.post(f"/cut-sheets/{sheet.pk}/take-off/", {"piece": piece.segment.code, "reason": "late"})
    assert answer.status_code == 409 and "was cut already" in alert_of(answer)
    assert state() == before
    page = text_of(desk.get(f"/cut-sheets/{sheet.pk}/?piece={piece.segment.code}"))
    assert "To have it made again, scrap it" in page and "Take it off the sheet" not in page


def test_nothing_comes_off_a_sheet_that_is_not_on_the_floor(desk, plan):
    sheet = plan.sheets.first()
    code = sheet.pieces.first().segment.code
    assert "Take off" not in text_of(desk.get(f"/cut-sheets/{sheet.pk}/"))
    before = state()
    answer = desk.post(f"/cut-sheets/{sheet.pk}/take-off/", {"piece": code, "reason": "why not"})
    assert answer.status_code == 409 and "is not on the floor yet" in alert_of(answer)
    assert state() == before


def test_a_sheet_costs_the_same_however_full_it_is(desk, django_assert_max_num_queries):
    small = cutting.made_plan(cutting.released(factories.line(quantity=1)))
    order = cutting.released(factories.line(quantity=40, params=factories.elbow_params(diameter=4)))
    large = cutting.made_plan(order, stock=cutting.stock_item(order, name="more"))
    sheets = [max(one.sheets.all(), key=lambda sheet: sheet.pieces.count()) for one in (small, large)]
    assert sheets[1].pieces.count() > 60
    desk.get(f"/cut-sheets/{sheets[0].pk}/")
    for sheet in sheets:
        with django_assert_max_num_queries(16):
            desk.get(f"/cut-sheets/{sheet.pk}/")


# -- pictures and files ------------------------------------------------------


def test_the_small_picture_is_small_and_kept_until_the_sheet_changes(desk, sheet):
    address = f"/cut-sheets/{sheet.pk}.svg?small=1"
    first = desk.get(address)
    assert first["Content-Type"] == "image/svg+xml" and first.content.startswith(b"<svg")
    assert len(first.content) < len(desk.get(f"/cut-sheets/{sheet.pk}.svg").content) / 2
    assert len(first.content) < 400 * sheet.pieces.count() + 2000
    again = desk.get(address, headers={"If-None-Match": first["ETag"]})
    assert (again.status_code, again.content) == (304, b"")
    code = sheet.pieces.first().segment.code
    desk.post(f"/cut-sheets/{sheet.pk}/take-off/", {"piece": code, "reason": "dented"})
    changed = desk.get(address, headers={"If-None-Match": first["ETag"]})
    assert changed.status_code == 200 and changed["ETag"] != first["ETag"]


def test_one_sheet_is_printed_again_alone(desk, sheet):
    answer = desk.get(f"/cut-sheets/{sheet.pk}.pdf")
    assert answer["Content-Type"] == "application/pdf"
    paper = pypdfium2.PdfDocument(io.BytesIO(answer.content))
    words = paper[0].get_textpage().get_text_range()
    assert sheet.plan.sheets.count() > 1 and f"Sheet {sheet.position} of" in words
    assert sheet.code in words.replace(" ", "")
    assert desk.get("/cut-sheets/99999.pdf").status_code == 404


def test_a_sheet_is_taken_away_as_dxf_with_every_piece(desk, sheet):
    answer = desk.get(f"/cut-sheets/{sheet.pk}.dxf")
    assert answer.status_code == 200 and answer["Content-Disposition"].startswith("attachment")
    drawing = ezdxf.read(io.StringIO(answer.content.decode()))
    texts = [text.dxf.text for text in drawing.modelspace().query("TEXT")]
    codes = set(sheet.pieces.values_list("segment__code", flat=True))
    assert {text.split()[-1] for text in texts} == codes
    wrong = desk.get(f"/cut-sheets/{sheet.pk}.dxf?unit=yard")
    assert wrong.status_code == 400


def test_a_plan_is_taken_away_as_pdf_and_as_a_zip(desk, sheet):
    number, sheets = sheet.plan.number, sheet.plan.sheets.count()
    pdf = desk.get(f"/cut-plans/{number}/sheets.pdf")
    assert pdf["Content-Type"] == "application/pdf"
    assert len(pypdfium2.PdfDocument(pdf.content)) >= sheets
    packed = desk.get(f"/cut-plans/{number}/sheets.zip")
    names = zipfile.ZipFile(io.BytesIO(packed.content)).namelist()
    assert len([name for name in names if name.endswith(".dxf")]) == sheets
    assert [name for name in names if not name.endswith(".dxf")] == ["sheets.csv"]
