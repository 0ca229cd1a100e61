"""The paper of a quote: what is on it, that it is tagged whole, and that long texts and amounts stay in their cells."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pypdfium2
import pytest

from fittings.drawing import icon_scene
from tests.travelers.documents.reading import PT, pages, words
from tests.travelers.documents.reading_tags import check, tree_of
from tests.travelers.documents.samples import ELBOW, ODD_TEXTS, PRINTED, SHOP
from travelers.documents import quote_pdf
from travelers.documents.data import QuotePaper, QuoteRow
from travelers.documents.quote import money


def row(line: int = 1, **changes) -> QuoteRow:
    given = {
        "quantity": 12,
        "text": "Gored elbow 90°, 14 in, 5 pieces, R 21 in",
        "metal": "24 ga galvanized",
        "ends": "A raw, B flange",
        "tag": "AHU-3",
        "unit_price": Decimal("48.50"),
        "total": Decimal("582.00"),
        "drawing": icon_scene(ELBOW),
    }
    return QuoteRow(line=line, **given | changes)


def paper(*rows: QuoteRow, **changes) -> QuotePaper:
    given = {
        "number": 37,
        "version": 2,
        "order_number": "1042",
        "customer": "Placeholder Air",
        "made_on": date(2026, 3, 2),
        "valid_until": date(2026, 4, 1),
        "sign": "$",
        "total": Decimal("618.00"),
        "purchase_order": "PO 7781",
        "note": "Two lots.",
        "terms": "Payment in 30 days.\nPrices without tax.",
    }
    return QuotePaper(rows=rows or (row(), row(2, quantity=1, total=Decimal("36.00"))), **given | changes)


def pdf(data: QuotePaper) -> bytes:
    return quote_pdf(data, shop=SHOP, printed_at_text=PRINTED)


def test_it_says_what_is_offered_to_whom_and_until_when():
    (text,) = words(pdf(paper()))
    for part in (
        "Quote 37",
        "Placeholder Air",
        "PO 7781",
        "Mon 2 Mar 2026",
        "Wed 1 Apr 2026",
        "1042, version 2",
        "Gored elbow 90°, 14 in, 5 pieces",
        "24 ga galvanized; ends A raw, B flange",
        "Tag AHU-3",
        "$48.50 $582.00",
        "13 fittings in 2 lines",
        "Total $618.00",
        "Two lots.",
        "Payment in 30 days. Prices without tax.",
        "Page 1 of 1",
    ):
        assert part in text, part


def test_a_long_one_goes_on_with_its_head_and_counts_its_pages():
    data = paper(*(row(number, tag=f"T-{number:03d}") for number in range(1, 61)))
    texts = words(pdf(data))
    assert len(texts) > 4
    for number, text in enumerate(texts, 1):
        assert f"Page {number} of {len(texts)}" in text
        assert "Quote 37" in text
    whole = " ".join(texts)
    assert all(whole.count(f"T-{number:03d}") == 1 for number in range(1, 61))
    assert whole.count("Description") >= len(texts) - 1
    assert whole.count("Total $618.00") == 1


@pytest.mark.parametrize("data", [paper(), paper(*(row(number) for number in range(1, 41)))])
def test_it_is_tagged_whole(data):
    content = pdf(data)
    check(content)
    tree = tree_of(content)
    (table,) = tree.all("Table")
    lines = table.all("TR")
    assert len(lines) == 1 + len(data.rows)
    assert [cell.whole for cell in lines[0].all("TH")] == ["Line", "Description", "Qty", "Each", "Amount"]
    assert [cell.whole for cell in lines[1].all("TD")] == [
        "1",
        "Gored elbow 90°, 14 in, 5 pieces, R 21 in 24 ga galvanized; ends A raw, B flange Tag AHU-3",
        "12",
        "$48.50",
        "$582.00",
    ]


@pytest.mark.parametrize("kind", ODD_TEXTS)
def test_odd_texts_stay_on_the_page(kind):
    odd = ODD_TEXTS[kind]
    data = paper(
        row(text=odd, metal=odd[:40], ends=odd, tag=odd),
        customer=odd[:120],
        purchase_order=odd[:60],
        note=odd,
        terms=odd,
    )
    content = pdf(data)
    check(content)
    for image in pages(content):
        margin = int(35 * PT)
        assert image[:, :margin].min() == image[:, -margin:].min() == 255
        assert image[:margin, :].min() == image[-margin:, :].min() == 255


def test_the_largest_amounts_stay_in_their_columns():
    """Ten million fittings' worth: each number ends before the next column's begins, by the boxes of its characters."""
    most = row(
        quantity=99_999, unit_price=Decimal("1000000.00"), total=Decimal("99999000000.00"), text="Pipe"
    )
    document = pypdfium2.PdfDocument(pdf(paper(most, sign="CHF", total=most.total)))
    page = document[0].get_textpage()
    boxes = {}
    for text in ("99,999", "CHF 1,000,000.00", "CHF 99,999,000,000.00"):
        at, count = page.search(text).get_next()
        found = [page.get_charbox(at + one) for one in range(count)]
        boxes[text] = (min(box[0] for box in found), max(box[2] for box in found))
    lefts_and_rights = sorted(boxes.values())
    assert all(one[1] < other[0] for one, other in zip(lefts_and_rights, lefts_and_rights[1:], strict=False))
    assert lefts_and_rights[-1][1] <= 612 - 36


def test_amounts_are_written_with_their_sign():
    assert money(Decimal("1234.5"), "$") == "$1,234.50"
    assert money(Decimal("12"), "kr") == "kr 12.00"


def test_an_empty_quote_is_refused():
    with pytest.raises(ValueError, match="nothing"):
        pdf(QuotePaper(**{**paper().__dict__, "rows": ()}))
