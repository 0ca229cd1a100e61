"""The office's pages of kept pieces."""

from __future__ import annotations

import pytest

from fittings.models import KeptPiece, Order
from shared.templatetags.parts import code4
from tests.travelers.kept_floor import agrees, draft, fittings_kept, release, segments_kept

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("shop")]


def text_of(answer) -> str:
    return " ".join(answer.content.decode().split())


def test_the_list_says_what_lies_where(office_page):
    (kept,) = segments_kept(2)
    page = text_of(office_page.get("/stock/kept/"))
    assert code4(kept.segment.code) in page
    for words in (
        "Middle gore",
        "cut and rolled",
        "A4",
        "Gored elbow 90°",
        "24 ga galvanized",
        "Order or line cancelled",
    ):
        assert words in page


def test_it_is_reached_from_the_stock(office_page):
    assert 'href="/stock/kept/"' in text_of(office_page.get("/stock/"))


def test_a_search_that_finds_nothing_says_so(office_page):
    segments_kept(2)
    assert "No piece matches" in text_of(office_page.get("/stock/kept/?q=tee"))
    assert "Nothing is kept" in text_of(office_page.get("/stock/kept/")) or KeptPiece.objects.exists()
    assert "No piece matches" not in text_of(office_page.get("/stock/kept/?q=14+elbow"))


def test_an_empty_list_says_how_it_fills(office_page):
    assert "Nothing is kept" in text_of(office_page.get("/stock/kept/"))


def test_pieces_are_kept_by_scanned_lines(office_page):
    (kept,) = fittings_kept()
    KeptPiece.objects.all().delete()
    answer = office_page.post(
        "/stock/kept/new/", {"codes": f"{kept.fitting.code}\r\n", "why": "returned", "place": "B2"}
    )
    assert answer.status_code == 302
    assert KeptPiece.objects.get().place == "B2"


def test_a_wrong_code_is_named_beside_the_field_and_what_was_typed_stays(office_page):
    answer = office_page.post("/stock/kept/new/", {"codes": "ZZ9\nQQ", "why": "returned", "place": "B2"})
    page = text_of(answer)
    assert answer.status_code == 400
    assert "“ZZ9”" in page and "“QQ”" in page and 'value="B2"' in page
    assert KeptPiece.objects.count() == 0


def test_no_code_is_asked_for(office_page):
    page = text_of(office_page.post("/stock/kept/new/", {"codes": " \n", "why": "returned"}))
    assert "Scan or type at least one code." in page


def test_a_piece_is_moved_and_a_stale_page_is_told(office_page):
    (kept,) = segments_kept(2)
    address = f"/stock/kept/{kept.pk}/"
    assert office_page.post(address, {"place": "C1", "note": "", "version": "1"}).status_code == 302
    stale = office_page.post(address, {"place": "D1", "note": "", "version": "1"})
    assert stale.status_code == 409 and "version 1 was seen" in text_of(stale)
    assert KeptPiece.objects.get().place == "C1"


def test_a_piece_is_ended_once(office_page):
    (kept,) = segments_kept(2)
    address = f"/stock/kept/{kept.pk}/ended/"
    assert office_page.post(address, {"ended": "eaten", "version": "1"}).status_code == 400
    assert office_page.post(address, {"ended": "scrapped", "version": "1"}).status_code == 302
    assert office_page.post(address, {"ended": "lost", "version": "2"}).status_code == 409
    assert KeptPiece.objects.get().ended_why == "scrapped"
    assert "Scrapped" in text_of(office_page.get("/stock/kept/?state=ended"))


def test_the_draft_offers_and_the_release_uses_what_is_ticked(office_page):
    (fitting,) = fittings_kept()
    (gore,) = segments_kept(2)
    order = draft(quantity=3)
    page = text_of(office_page.get(f"/orders/{order.number}/"))
    assert "Line 1: 1 of 3 fittings is kept, finished: B1" in page
    assert "Line 1: 1 of 3 middle gores is kept, cut and rolled: A4" in page
    office_page.post(f"/orders/{order.number}/release/", {"use_kept": [f"{gore.pk}"]})
    fitting.refresh_from_db()
    gore.refresh_from_db()
    assert (fitting.used_at, gore.used_for.order_id) == (None, order.pk)
    assert "Position 2 of fitting 1 of line 1" in text_of(office_page.get(f"/orders/{order.number}/"))
    agrees()


def test_a_draft_of_another_metal_offers_nothing(office_page):
    segments_kept(2)
    order = draft(gauge=22)
    assert "Kept already" not in text_of(office_page.get(f"/orders/{order.number}/"))


def test_what_was_used_meanwhile_is_said_and_nothing_released(office_page):
    kept = segments_kept(2)
    order = draft(quantity=1)
    release(draft(quantity=1), kept)
    answer = office_page.post(f"/orders/{order.number}/release/", {"use_kept": [f"{kept[0].pk}"]})
    assert answer.status_code == 400
    assert "is used already: it is now fitting" in text_of(answer)
    assert Order.objects.get(pk=order.pk).state == "draft"


def test_a_big_release_uses_them_in_the_background(office_page, monkeypatch):
    from shared.jobs import work_once
    from travelers import release_job

    kept = fittings_kept()
    order = draft(quantity=2)
    monkeypatch.setattr(release_job, "BIG_FITTINGS", 1)
    office_page.post(f"/orders/{order.number}/release/", {"use_kept": [f"{kept[0].pk}"]})
    assert Order.objects.get(pk=order.pk).state == "draft"
    work_once({release_job.RELEASE: release_job.release_make}, worker="test")
    order.refresh_from_db()
    assert (order.state, order.fittings_done) == ("released", 1)
    agrees()


def test_the_row_of_a_used_piece_leads_to_what_it_became(office_page):
    (kept,) = segments_kept(2)
    on = release(draft(quantity=1), [kept])
    page = text_of(office_page.get(f"/stock/kept/{kept.pk}/"))
    assert f"/orders/{on.order.number}/" in page
    assert "it is now position 2 of fitting 1 of line 1" in page


def test_the_papers_of_the_order_carry_its_own_codes(office_page):
    from travelers.papers import label_items

    (kept,) = segments_kept(2)
    on = release(draft(quantity=1), [kept])
    codes = [item.code for item in label_items(on.order)]
    assert codes == [on.segment(position).code for position in (1, 2, 3)]
    for paper in ("travelers", "labels", "packing-list"):
        assert office_page.get(f"/api/v1/orders/{on.order.number}/{paper}.pdf").status_code == 200


def test_the_traveler_says_what_to_fetch_and_where(office_page):
    import pypdfium2

    (fitting,) = fittings_kept()
    (gore,) = segments_kept(2)
    on = release(draft(quantity=3), [fitting, gore])
    content = office_page.get(f"/api/v1/orders/{on.order.number}/travelers.pdf").content
    text = " ".join(pypdfium2.PdfDocument(content)[0].get_textpage().get_text_range().split())
    assert "From stock, not made again fitting 1: B1; of fitting 2 piece 2: A4" in text
