"""Travelers, looked at as a person and a scanner would: rendered, decoded, read."""

import io
from dataclasses import replace

import pypdfium2
import pytest

from tests.fittings.drawing.samples import elbow
from tests.travelers.documents.reading import PT, codes, corners, darkest_round, pages, words
from tests.travelers.documents.samples import CAUTIONS, ELBOW, ODD_TEXTS, PRINTED, SHOP, sheet
from travelers.documents.data import CautionRow
from travelers.documents.text import day_text
from travelers.documents.traveler import lot_text, travelers_pdf


def pdf(*sheets) -> bytes:
    return travelers_pdf(sheets, shop=SHOP, printed_at_text=PRINTED)


def test_each_page_carries_the_code_its_text_and_its_number():
    data = pdf(sheet())
    found = pages(data)
    assert len(found) >= 2
    for number, (image, text) in enumerate(zip(found, words(data), strict=True), 1):
        (code,) = codes(image)
        assert code.text == "K3000A2BX"
        assert "K300 0A2B X" in text
        assert f"Page {number} of {len(found)}" in text
        assert PRINTED in text and "Example Round Works" in text
        assert "1042" in text and "AHU-3" in text


def test_the_code_has_modules_of_a_millimetre_and_a_white_quiet_zone():
    (image, *_) = pages(pdf(sheet()))
    (code,) = codes(image)
    left, top, right, bottom = corners(code)
    # The decoder's corners are half a module in or at the edge: 20 to 21 modules of 1 mm.
    assert 19.5 * 72 / 25.4 <= (right - left) / PT <= 21.8 * 72 / 25.4
    assert darkest_round(image, code, modules=4) == 255


def test_the_sheet_says_what_to_make():
    text = " ".join(words(pdf(sheet())))
    for part in (
        "Gored elbow 90°, 14 in, 5 pieces, R 21 in",
        "Thu 3 Dec 2026",
        "Placeholder Air",
        "PO 7781",
        "Galvanized, 24 ga, 0.0276 in",
        "A Flange, B Raw",
        "Lot of 12, line 3",
        "Tables of 4 Mar 2026",
        "Ø 14 in",
        "90°",
    ):
        assert part in text


def test_numbers_of_the_segments_come_from_the_development():
    text = words(pdf(sheet()))[0]
    # 14 in, 0.0276 in thick, R 21, 5 pieces: pi * 14.0276; (21 -+ 7.0138) * tan(11.25 deg), once and twice.
    for part in (
        "44 1/16",
        "44.069",
        "2 25/32",
        "2.782",
        "5 9/16",
        "5.572",
        "5.564",
        "11 5/32",
        "11.145",
        "1/2",
    ):
        assert part in text
    assert "1, 5 × 2" in text and "2–4 × 3" in text
    assert "End gore" in text and "Middle gore" in text


def test_segments_of_plates_say_so():
    text = words(pdf(sheet(elbow(60, 90, 7, plates=2), 1)))[0]
    assert text.count("2 plates") == 2  # end gores, middle gores
    assert "plates" not in words(pdf(sheet()))[0]


def test_the_steps_have_their_cautions_and_the_line_about_local_codes():
    text = " ".join(words(pdf(sheet())))
    for number, name in enumerate(("Cut", "Roll", "Seam", "Assemble", "Ends", "Wrap"), 1):
        assert f"{number} {name}" in text
    for part in ("WARNING Hot slag. Can burn.", "DANGER In-running nip", "CAUTION Sharp edges. Can cut."):
        assert part in text
    assert "Follow local codes and your shop's safety program." in text


def test_signal_words_are_for_bodies_only():
    data = pdf(sheet(elbow(warnings=[{"code": "throat", "message": "The throat is tight."}]), cautions=()))
    text = " ".join(words(data))
    assert "Unusual: The throat is tight." in text
    assert not any(word in text for word in ("DANGER", "WARNING", "CAUTION", "NOTICE"))
    with pytest.raises(ValueError, match="NOTICE"):
        CautionRow("cut", "NOTICE", "scratches", "Handle with care.")


def test_a_reprint_says_so_and_keeps_its_code():
    first, again = pdf(sheet()), pdf(sheet(reprint=2))
    assert "Reprint" not in words(first)[0]
    assert all("Reprint 2" in text for text in words(again))
    assert codes(pages(again)[0])[0].text == "K3000A2BX"


def test_codes_of_all_pieces_are_listed():
    data = pdf(sheet(quantity=12))
    text = " ".join(words(data))
    assert "K300 0100 A" in text and "K300 1200 A" in text
    for number in range(1, 13):
        for position in range(1, 6):
            code = f"K3{number:04d}{position:02d}B"
            assert f"{code[:4]} {code[4:8]} {code[8:]}" in text


def test_sixty_pieces_and_their_table_go_on_over_pages():
    development = elbow(20, 90, 60, 40)
    for segment in development["segments"]:
        segment["pattern"] = f"p{segment['position']}"  # as if no two were equal
    data = pdf(sheet(development, 1))
    found = words(data)
    assert len(found) >= 4
    assert sum("Stretch-out" in text for text in found) >= 3
    assert all(codes(image)[0].text == "K3000A2BX" for image in pages(data))


@pytest.mark.parametrize("kind", ODD_TEXTS)
def test_odd_text_never_touches_the_code_nor_leaves_the_page(kind):
    odd = ODD_TEXTS[kind]
    data = pdf(
        sheet(
            quantity=2,
            tag=odd,
            customer=odd,
            order_number=odd[:60],
            purchase_order=odd,
            material=odd,
            ends=(("A", odd), ("B", odd)),
            notes=odd,
            tables=odd,
            steps=[replace(step, name=odd, method=odd) for step in sheet().steps[:2]],
            cautions=[replace(CAUTIONS[0], hazard=odd, text=odd)],
        )
    )
    plain = codes(pages(pdf(sheet()))[0])[0]
    for image in pages(data):
        (code,) = codes(image)
        assert code.text == "K3000A2BX"
        assert corners(code) == corners(plain)  # nothing moved it
        assert darkest_round(image, code, modules=4) == 255
        margin = int(35 * PT)  # the page's margins stay white
        assert image[:, :margin].min() == image[:, -margin:].min() == 255
        assert image[:margin, :].min() == image[-margin:, :].min() == 255


def test_the_head_leaves_the_code_panel_alone():
    # The strip between the head's text and the code: 12 pt wide, from the letterhead to the drawing.
    for odd in ODD_TEXTS.values():
        image = pages(pdf(sheet(tag=odd, order_number=odd[:60])))[0]
        left, right = 612 - 36 - 150 - 11, 612 - 36 - 150 - 1
        strip = image[int(64 * PT) : int(170 * PT), int(left * PT) : int(right * PT)]
        assert strip.min() == 255


def test_a_cut_tag_stands_in_full_below():
    data = pdf(sheet(tag="North riser, level two, mechanical room, unit nine"))
    text = words(data)[0]
    assert "…" in text and "Tag in full: North riser, level two, mechanical room, unit nine" in text


def test_missing_characters_are_boxes_and_full_width_ones_are_narrowed():
    blank, boxes = (pages(pdf(sheet(tag=tag)))[0] for tag in ("x", "שש"))
    row = slice(int(120 * PT), int(151 * PT))
    box = boxes[row, int(36 * PT) : int(70 * PT)]
    assert (box < 128).mean() > 0.05, "a missing character leaves no trace"
    assert (box < 128).sum() != (blank[row, int(36 * PT) : int(70 * PT)] < 128).sum()
    assert "AHU-3" in words(pdf(sheet(tag="ＡＨＵ－３")))[0]


def test_a_lot_in_words():
    assert lot_text(sheet()) == "Lot of 12, line 3"
    one, some = sheet().pieces[3:4], sheet().pieces[3:6]
    assert lot_text(replace(sheet(), first_number=4, last_number=4, pieces=one)) == "Fitting 4 of 12, line 3"
    assert (
        lot_text(replace(sheet(), first_number=4, last_number=6, pieces=some)) == "Fittings 4–6 of 12, line 3"
    )
    assert lot_text(sheet(quantity=1)) == "One fitting, line 3"


def test_no_sheet_is_refused():
    with pytest.raises(ValueError, match="no traveler"):
        travelers_pdf([], shop=SHOP, printed_at_text=PRINTED)


def test_many_travelers_number_their_own_pages_and_share_one_drawing():
    one = pdf(sheet(pieces=()))
    many = pdf(*(sheet(pieces=(), code=f"K3000A2B{n}") for n in range(8)))
    texts = words(many)
    assert len(texts) == 8 * len(words(one))
    assert sum("Page 1 of 2" in text for text in texts) == 8
    assert sorted({codes(image)[0].text for image in pages(many)}) == [f"K3000A2B{n}" for n in range(8)]
    assert len(many) < 4 * len(one)


def test_metadata_and_language():
    document = pypdfium2.PdfDocument(io.BytesIO(pdf(sheet())))
    facts = document.get_metadata_dict()
    assert facts["Title"] == "Travelers of order 1042"
    assert facts["Author"] == "Example Round Works"
    assert b"en-US" in pdf(sheet())


def test_the_same_sheet_gives_the_same_bytes():
    assert pdf(sheet()) == pdf(sheet(ELBOW))


def test_dates_cannot_be_misread():
    assert day_text(sheet().due_on) == "Thu 3 Dec 2026"
    assert day_text(None) == "no date"
    assert "no date" in words(pdf(sheet(due_on=None)))[0]
