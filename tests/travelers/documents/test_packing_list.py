"""Packing lists: counts and weights add up, pages are numbered, odd text stays in its column."""

import pytest

from tests.travelers.documents.reading import PT, codes, darkest_round, pages, words
from tests.travelers.documents.samples import ODD_TEXTS, PRINTED, SHOP, packing
from travelers.documents.data import PackingRow
from travelers.documents.packing_list import packing_list_pdf, total_weight


def pdf(data) -> bytes:
    return packing_list_pdf(data, shop=SHOP, printed_at_text=PRINTED)


def test_it_lists_counts_and_weighs():
    (text,) = words(pdf(packing()))
    for part in (
        "1042",
        "Placeholder Air",
        "PO 7781",
        "Thu 3 Dec 2026",
        "Dock 4, 12 Harbor Road",
        "AHU-3",
        "11.8 141.6",
        "2.5 7.5",
        "15 fittings in 2 lines",
        "149.1 lb (67.6 kg)",
        "Signature",
        "Page 1 of 1",
    ):
        assert part in text


def test_what_is_not_weighed_is_said():
    rows = [PackingRow(1, 2, "Pipe", weight_each_lb=10.0), PackingRow(2, 3, "Pipe")]
    assert total_weight(rows) == (20.0, 3)
    text = words(pdf(packing(rows)))[0]
    assert "20.0 lb" in text and "and 3 not weighed" in text and "unknown" in text


def test_long_lists_go_on_with_the_head_repeated_and_every_line_once():
    rows = [PackingRow(n, 1, f"Gored elbow number {n:03d} end", "T", "", 1.0) for n in range(1, 121)]
    found = words(pdf(packing(rows)))
    assert len(found) >= 3
    assert all("Description" in text for text in found[:-1])
    assert all(f"Page {n} of {len(found)}" in text for n, text in enumerate(found, 1))
    whole = " ".join(found)
    assert all(whole.count(f"number {n:03d} end") == 1 for n in range(1, 121))
    assert "Signature" in found[-1]


def test_with_a_code_it_scans():
    image = pages(pdf(packing(code="K3000A2BX", reprint=1)))[0]
    (code,) = codes(image)
    assert code.text == "K3000A2BX" and darkest_round(image, code, modules=4) == 255
    assert "Reprint 1" in words(pdf(packing(code="K3000A2BX", reprint=1)))[0]


@pytest.mark.parametrize("kind", ODD_TEXTS)
def test_odd_text_stays_on_the_page_and_off_the_code(kind):
    odd = ODD_TEXTS[kind]
    rows = [PackingRow(1, 1, odd, odd, odd, 1.0)] * 3
    data = packing(rows, code="K3000A2BX", purchase_order=odd, ship_to=odd, notes=odd)
    image = pages(pdf(data))[0]
    (code,) = codes(image)
    assert darkest_round(image, code, modules=4) == 255
    margin = int(35 * PT)
    assert image[:, :margin].min() == image[:, -margin:].min() == 255
    assert image[:margin, :].min() == image[-margin:, :].min() == 255


def test_an_empty_list_is_refused():
    with pytest.raises(ValueError, match="nothing"):
        pdf(packing(rows=()).__class__("1", "x", ()))
