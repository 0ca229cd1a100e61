"""Papers to customers and station sheets with the longest texts: nothing leaves its page or its column, codes scan."""

from dataclasses import replace
from datetime import date

import pypdfium2
import pytest

from shared.codes import make_code
from tests.factories import picture
from tests.travelers.documents.reading import codes, pages, words
from tests.travelers.documents.reading_tags import check, tree_of
from tests.travelers.documents.samples import ODD_TEXTS, PRINTED, SHOP, packing
from tests.travelers.documents.test_quote import paper as offered
from travelers.documents import (
    Confirmation,
    ConfirmedLine,
    DeliveredLine,
    DeliveryNote,
    letterhead_pdf,
    packing_list_pdf,
    quote_pdf,
)
from travelers.documents import confirmation_pdf as confirmed
from travelers.documents import delivery_note_pdf as noted
from travelers.documents.station_sheet import StationPiece, StationSheet, station_sheets_pdf

LONGEST_SHOP = replace(SHOP, name="W" * 200, address="M" * 300, phone="0" * 100, logo=picture(1200, 60))
MARGIN = 36


def confirmation(text: str = "AHU-3", lines: int = 1, **changes) -> Confirmation:
    row = ConfirmedLine(1, 1_000_000, text, text, text, text, 123_456.78)
    rows = tuple(replace(row, line=1000 + number) for number in range(lines))
    facts = {
        "purchase_order": text,
        "contact": text,
        "address": text,
        "due_on": date(2026, 3, 5),
        "notes": text,
        "stamp": text,
    }
    return Confirmation(text, text, rows, **{**facts, **changes})


def note(text: str = "AHU-3", lines: int = 1, **changes) -> DeliveryNote:
    row = DeliveredLine(1, 999_999, 1_000_000, text, text, 123_456.78, ("K300 0A2B X",) * 40)
    rows = tuple(replace(row, line=1000 + number) for number in range(lines))
    facts = {
        "purchase_order": text,
        "contact": text,
        "address": text,
        "notes": text,
        "received_by": text,
        "received_text": PRINTED,
    }
    facts["strokes"] = [[[0, 0], [1000, 400]], [[1000, 0]]]
    return DeliveryNote(text, 12, text, rows, date(2026, 3, 5), **{**facts, **changes})


def stations(text: str = "AHU-3", count: int = 20) -> tuple[StationSheet, ...]:
    pieces = tuple(
        StationPiece(one, text, text, text, text, text, text, ((text, text),) * 8)
        for one in filter(None, (make_code("K3", number) for number in range(count)))
    )
    return (StationSheet("ROLL-1", text, text, pieces, 99), StationSheet("SEAM-1", text, text, ()))


PAPERS = {
    "confirmation": lambda text: confirmed(
        confirmation(text, 30), shop=LONGEST_SHOP, printed_at_text=PRINTED
    ),
    "delivery note": lambda text: noted(note(text, 12), shop=LONGEST_SHOP, printed_at_text=PRINTED),
    "letterhead": lambda text: letterhead_pdf(shop=replace(LONGEST_SHOP, name=text), printed_at_text=PRINTED),
    "station sheets": lambda text: station_sheets_pdf(
        stations(text), shop=LONGEST_SHOP, printed_at_text=PRINTED
    ),
}


def boxes(page: pypdfium2.PdfPage) -> list[tuple[str, tuple[float, float, float, float]]]:
    """Each character with its box [pt], spaces left out."""
    text = page.get_textpage()
    found = [(text.get_text_range(at, 1), text.get_charbox(at)) for at in range(text.count_chars())]
    return [(character, box) for character, box in found if character.strip()]


@pytest.mark.parametrize("kind", ODD_TEXTS)
@pytest.mark.parametrize("paper", PAPERS)
def test_the_longest_texts_stay_between_the_margins(paper, kind):
    data = PAPERS[paper](ODD_TEXTS[kind])
    for page in pypdfium2.PdfDocument(data):
        wide, high = page.get_size()
        for character, (left, bottom, right, top) in boxes(page):
            where = f"{character} at {left:.0f}, {bottom:.0f}"
            assert left >= MARGIN - 1 and right <= wide - MARGIN + 1, where
            assert bottom >= MARGIN - 6 and top <= high - MARGIN + 3, where


@pytest.mark.parametrize("paper", ["confirmation", "delivery note", "station sheets"])
def test_no_text_runs_into_another(paper):
    """Baselines of a page stand apart by lines, and on a line each character ends before the next begins."""
    data = PAPERS[paper]("X" * 200)
    for page in pypdfium2.PdfDocument(data):
        lines: dict[int, list[tuple[float, float]]] = {}
        for character, (left, bottom, right, _) in boxes(page):
            if character in "XWM":
                lines.setdefault(round(bottom * 2), []).append((left, right))
        for found in lines.values():
            found.sort()
            for (_, end), (begin, _) in zip(found, found[1:], strict=False):
                assert begin >= end - 1.0


@pytest.mark.parametrize("paper", PAPERS)
def test_they_are_tagged(paper):
    check(PAPERS[paper]("level two north riser " * 8))


def test_a_confirmation_says_what_was_understood():
    data = confirmation(lines=3, version=2, stamp="", notes="Dock 4")
    text = " ".join(words(confirmed(replace(data, order_number="1042"), shop=SHOP, printed_at_text=PRINTED)))
    for part in (
        "Order confirmation",
        "1042, version 2",
        "Thu 5 Mar 2026",
        "3,000,000 fittings in 3 lines",
        "Dock 4",
    ):
        assert part in text
    assert "Page 1 of 1" in text and "Example Round Works" in text


def test_weights_on_a_delivery_note_add_up():
    """3 × 11.8 + 2 × 2.5 = 35.4 + 5.0 = 40.4 lb; × 0.45359237 kg = 18.3 kg (NIST SP 811 for the factor)."""
    rows = (DeliveredLine(1, 3, 4, "Elbow", "A", 11.8), DeliveredLine(2, 2, 2, "Pipe", "B", 2.5))
    data = DeliveryNote("1042", 1, "Placeholder Air", rows, date(2026, 3, 5), left_to_come=1)
    (text,) = words(noted(data, shop=SHOP, printed_at_text=PRINTED))
    assert "5 fittings; 1 still to come" in text and "40.4 lb (18.3 kg)" in text and "3 of 4" in text
    assert "Signature" in text


def test_a_signature_is_drawn_in_its_box_and_told_in_words():
    plain, signed = (
        noted(note(strokes=strokes, notes="", received_by="Jo"), shop=SHOP, printed_at_text=PRINTED)
        for strokes in ((), [[[0, 200], [1000, 200]], [[500, 0], [500, 400]]])
    )
    assert "Signature of Jo" in [node.alt for node in tree_of(signed).all("Figure")]
    assert not tree_of(plain).all("Figure") and "signed on paper" in words(plain)[0]
    darker = (pages(signed)[0] < 128).sum() - (pages(plain)[0] < 128).sum()
    assert darker > 500


def test_the_codes_of_station_sheets_scan_from_pixels_in_their_order():
    sheets = stations(count=14)
    data = station_sheets_pdf(sheets, shop=SHOP, printed_at_text=PRINTED)
    found = [
        one.text
        for image in pages(data)
        for one in sorted(codes(image), key=lambda one: one.position.top_left.y)
    ]
    assert found == [piece.code for piece in sheets[0].pieces]


ADDRESS = (
    "Example Yard, Hall 4\n1200 Invented Industrial Parkway North, Unit 17\nFar Example City, EX 00000-0000"
)


@pytest.mark.parametrize("paper", ["confirmation", "delivery note", "quote", "packing list"])
def test_a_postal_address_stands_whole_on_what_goes_to_the_customer(paper):
    made = {
        "confirmation": lambda: confirmed(confirmation(address=ADDRESS), shop=SHOP, printed_at_text=PRINTED),
        "delivery note": lambda: noted(note(address=ADDRESS), shop=SHOP, printed_at_text=PRINTED),
        "quote": lambda: quote_pdf(offered(address=ADDRESS), shop=SHOP, printed_at_text=PRINTED),
        "packing list": lambda: packing_list_pdf(
            packing(ship_to=ADDRESS), shop=SHOP, printed_at_text=PRINTED
        ),
    }[paper]()
    assert ADDRESS.replace("\n", ", ") in words(made)[0]


def test_the_longest_address_is_not_cut():
    """200 characters in four lines, the most that a customer can have."""
    address = "\n".join("Wide Example Road Number Fifty W" + "w" * 17 for _ in range(4))
    assert len(address) == 199
    for made in (
        confirmed(confirmation(address=address), shop=SHOP, printed_at_text=PRINTED),
        packing_list_pdf(packing(ship_to=address), shop=SHOP, printed_at_text=PRINTED),
    ):
        assert words(made)[0].count("w" * 17) == 4
