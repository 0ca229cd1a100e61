"""Papers of sheets to cut, read as a shop reads them: rendered to pixels, codes decoded, words extracted."""

import pypdfium2
import pytest

from fittings.drawing.cut_sheet import SheetDrawing
from shared.codes import make_code
from tests.fittings.drawing.test_cut_sheet import a_sheet
from tests.travelers.documents.reading import PT, codes, dark_beyond, darkest_round, pages, words
from travelers.documents import cut_plan_pdf, cut_sheet_pdf
from travelers.documents.cut_plan import total_lines
from travelers.documents.cut_sheet import place_text, remnant_text, stock_text
from travelers.documents.data import CautionRow, CutPieceRow, CutPlanPaper, CutSheetPaper, Shop

SHOP = Shop("Example Round Works", "1 Invented Street, Nowhere", "555 0100")
PRINTED = "Mon 2 Mar 2026, 08:00"
CAUTIONS = (
    CautionRow("cut", "WARNING", "arc or beam, hot slag", "Keep shields closed; let parts cool."),
    CautionRow("cut", "CAUTION", "sharp edges", "Wear cut-resistant gloves."),
)


def code_of(number: int) -> str:
    """A code of an invented shop."""
    return make_code("K3", number) or code_of(number + 500)


def a_piece(piece, **changes) -> CutPieceRow:
    values = {"order_number": "1042", "name": piece.label, "long": 44.0694, "wide": 6.25, "tag": "AHU-3"}
    return CutPieceRow(piece.feed, piece.code, **{**values, **changes})


def a_paper(
    count=12, drawing: SheetDrawing | None = None, rows: dict | None = None, **changes
) -> CutSheetPaper:
    drawing = drawing or a_sheet(
        count, diameter=8.0, remnant=(100.0, 0.0, 60.0, 20.0), remnant_code=code_of(90)
    )
    values = {
        "plan_number": 17,
        "position": 1,
        "sheets": 1,
        "material": "galvanized",
        "gauge": 24,
        "stock_name": "60×120",
        "drawing": drawing,
        "utilisation": 0.8734,
        "pieces": tuple(a_piece(piece, **(rows or {}).get(piece.feed, {})) for piece in drawing.pieces),
        "code": code_of(1),
        "cautions": CAUTIONS,
    }
    return CutSheetPaper(**{**values, **changes})


def a_plan(*sheets: CutSheetPaper, **changes) -> CutPlanPaper:
    return CutPlanPaper(17, "galvanized", 24, sheets, **{"utilisation": 0.85, **changes})


def printed(paper: CutSheetPaper) -> bytes:
    return cut_sheet_pdf(paper, shop=SHOP, printed_at_text=PRINTED)


def plan_printed(plan: CutPlanPaper) -> bytes:
    return cut_plan_pdf(plan, shop=SHOP, printed_at_text=PRINTED)


# -- one sheet --------------------------------------------------------------------


def test_the_code_is_read_from_the_pixels_of_every_page():
    images = pages(printed(a_paper(60, a_sheet(60, 5.0))))
    assert len(images) > 1
    for image in images:
        (found,) = codes(image)
        assert found.text == code_of(1)
        assert darkest_round(image, found, 3.5) > 200, "the quiet zone is four modules of paper"


def test_the_code_is_a_version_1_symbol_of_millimetre_modules():
    """21 modules of 1 mm: what an enrolled tablet's camera reads at arm's length (ISO/IEC 18004 for the 21)."""
    (found,) = codes(pages(printed(a_paper()))[0])
    wide = found.position.top_right.x - found.position.top_left.x
    assert wide / PT == pytest.approx(21 / 25.4 * 72, abs=72 / 25.4 * 1.2)


def test_a_sheet_says_what_it_is_where_it_lies_and_what_to_keep():
    text = words(printed(a_paper(4, load=2, offset=120.0, place="rear sheet", sheets=3, position=2)))[0]
    for told in (
        "Cut sheet",
        "2 of 3",
        "Galvanized, 24 ga",
        "60 × 120 in",
        "87.3 %",
        "Load 2, rear sheet: begins at 120 in",
        "Keep the remnant: 60 × 20 in, write ",
        "Page 1 of 1",
        f"Printed {PRINTED}",
        "Sheet 2 of cut plan 17",
        "Follow local codes",
    ):
        assert told in text, told


def test_the_list_has_the_labels_words_in_feed_order():
    paper = a_paper(rows={3: {"notes": ("plate 1 of 2", "seam at throat", "remade 2")}})
    listed = " ".join(words(printed(paper))).split("Pieces in the order of cutting", 1)[1]
    at = [listed.index(f" {feed} K300 0{feed - 1:03d} X 1042 AHU-3 Gore ") for feed in range(1, 13)]
    assert at == sorted(at)
    assert "plate 1 of 2, seam at throat, remade 2" in listed
    assert "44 1/16 × 6 1/4 in" in listed and "Gore 2 of 5" in listed


def test_cautions_stand_with_their_words_before_the_list():
    text = words(printed(a_paper()))[0]
    assert text.index("Arc or beam, hot slag.") < text.index("Pieces in the order of cutting")
    assert "WARNING" in text and "CAUTION" in text


def test_before_a_plan_is_sent_there_is_no_code_but_the_word_proposal():
    data = printed(a_paper(code="", stamp="Proposal – not sent"))
    assert not codes(pages(data)[0])
    assert "Proposal – not sent" in words(data)[0]


def test_a_long_list_flows_to_more_pages_and_loses_no_piece():
    told = words(printed(a_paper(60, a_sheet(60, 5.0))))
    count = len(told)
    assert count > 1 and all(f"Page {n} of {count}" in page for n, page in enumerate(told, 1))
    assert all("continued" in page for page in told[2:])
    listed = " ".join(told)
    for number in range(60):
        assert f"K300 0{number:03d} X" in listed, number


def test_nothing_is_printed_into_the_margins():
    many = a_paper(drawing=coil(), cautions=CAUTIONS * 4)
    for paper in (a_paper(), a_paper(60, a_sheet(60, 5.0)), a_paper(drawing=coil()), many):
        for image in pages(printed(paper)):
            high, wide = (side / PT for side in image.shape)
            assert not dark_beyond(image, 33, 33, wide - 33, high - 33)


def coil() -> SheetDrawing:
    return a_sheet(70, 8.0, length=240.0, is_coil=True)


def test_a_long_coil_takes_a_wide_page_so_that_its_pieces_can_be_numbered_and_its_list_stands_upright():
    document = pypdfium2.PdfDocument(printed(a_paper(drawing=coil())))
    sizes = [page.get_size() for page in document]
    assert sizes[0] == (792, 612) and set(sizes[1:]) == {(612, 792)}
    upright = pypdfium2.PdfDocument(printed(a_paper(6)))
    assert upright[0].get_size() == (612, 792)


def test_a_coil_says_what_to_cut_off_it():
    paper = a_paper(drawing=a_sheet(6, used_length=86.5, length=240.0, is_coil=True))
    assert stock_text(paper) == "60 × 86 1/2 in of coil"
    assert remnant_text(paper) == "Cut 86 1/2 in off the coil."


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({}, "Load 1: at the front of the table"),
        ({"place": "front sheet"}, "Load 1, front sheet: at the front of the table"),
        ({"load": 2, "place": "rear sheet", "offset": 96.5}, "Load 2, rear sheet: begins at 96 1/2 in"),
    ],
)
def test_the_place_on_the_table_is_a_sentence(changes, said):
    assert place_text(a_paper(**changes)) == said


def test_a_remnant_without_a_code_is_told_by_its_size():
    assert (
        remnant_text(a_paper(drawing=a_sheet(remnant=(86.0, 0.0, 60.0, 34.0))))
        == "Keep the remnant: 60 × 34 in."
    )
    assert remnant_text(a_paper(drawing=a_sheet())) == "No remnant to keep."


def test_a_tag_too_long_for_its_column_stands_in_full_under_the_row():
    tag = "Roof 2 north, fan room behind the stairs"
    assert f"tag {tag}" in " ".join(words(printed(a_paper(rows={2: {"tag": tag}}))))


def test_a_piece_that_was_taken_off_is_struck_out_and_not_counted():
    rows = {2: {"is_off": True, "notes": ("taken off: scratched",)}}
    text = words(printed(a_paper(rows=rows)))[0]
    assert "taken off: scratched" in text and "Pieces 11" in text.replace("Pieces  ", "Pieces ")


def test_the_paper_is_titled_and_says_its_language():
    document = pypdfium2.PdfDocument(printed(a_paper()))
    assert document.get_metadata_value("Title") == "Sheet 1 of cut plan 17"
    assert b"/Lang (en-US)" in printed(a_paper()) and b"/DisplayDocTitle true" in printed(a_paper())


def test_equal_sheets_give_equal_bytes():
    assert printed(a_paper()) == printed(a_paper())


@pytest.mark.parametrize("text", ["Ünïcödé – Лист 木", "x" * 900, "‮gnp.exe", "\x00\x07"])
def test_any_text_is_printed_inside_the_page(text):
    paper = a_paper(
        material=text, rows={1: {"tag": text, "order_number": text, "name": text, "notes": (text,)}}
    )
    for image in pages(printed(paper)):
        assert not dark_beyond(image, 33, 33, 612 - 33, 792 - 33)


# -- a plan -----------------------------------------------------------------------


def four_sheets() -> list[CutSheetPaper]:
    found = []
    for number in range(1, 5):
        rear = number % 2 == 0
        found.append(
            a_paper(
                10 + number,
                position=number,
                sheets=4,
                code=code_of(number),
                load=(number + 1) // 2,
                offset=120.0 if rear else 0.0,
                place="rear sheet" if rear else "front sheet",
            )
        )
    return found


def test_a_plan_has_a_page_of_all_sheets_by_load_and_then_each_sheet():
    data = plan_printed(a_plan(*four_sheets(), said="Sent Mon 2 Mar 2026, 08:00 by office"))
    told = words(data)
    cover = told[0]
    places = [
        cover.index(word)
        for word in ("Load 1: 2 sheets", "Sheet 1", "Sheet 2", "Load 2: 2 sheets", "Sheet 3")
    ]
    assert places == sorted(places)
    assert "rear sheet, begins at 120 in" in cover and "Together" in cover and "by office" in cover
    assert not codes(pages(data)[0]), "no code on a page that stands for no one thing"
    read = [
        codes(image)[0].text
        for image, page in zip(pages(data)[1:], told[1:], strict=True)
        if "Page 1 of" in page
    ]
    assert read == [code_of(number) for number in range(1, 5)]


def test_a_plan_of_one_sheet_has_no_page_of_all():
    assert "Cut sheet" in words(plan_printed(a_plan(a_paper())))[0]


def test_totals_count_loads_metal_and_remnants():
    """Four sheets of 60 × 120 in are 4 × 50 sq ft; four remnants of 60 × 20 in are 4 × 8 1/3 sq ft."""
    assert total_lines(a_plan(*four_sheets())) == [
        "4 sheets in 2 loads of the table.",
        "60 × 120 in: 4 sheets.",
        "Metal taken 200.0 sq ft; 4 remnants to keep, 33.3 sq ft.",
    ]
    lengths = [
        a_paper(drawing=a_sheet(6, used_length=used, length=240.0, is_coil=True)) for used in (96.0, 86.5)
    ]
    assert "60 in coil: 2 lengths, 182 1/2 in together." in total_lines(a_plan(*lengths))


def test_a_proposal_is_called_so_on_every_page():
    stamp = "Proposal – not sent"
    sheets = [CutSheetPaper(**{**vars(sheet), "code": "", "stamp": stamp}) for sheet in four_sheets()]
    data = plan_printed(a_plan(*sheets, stamp=stamp))
    assert all(stamp in page for page in words(data))
    assert not any(codes(image) for image in pages(data))


def test_many_loads_flow_to_a_second_page():
    sheets = [
        CutSheetPaper(**{**vars(a_paper(4)), "position": n, "load": n, "sheets": 9}) for n in range(1, 10)
    ]
    told = words(plan_printed(a_plan(*sheets)))
    assert "Page 1 of 2" in told[0] and "Page 2 of 2" in told[1] and "Together" in told[1]


def test_a_plan_without_a_sheet_is_refused():
    with pytest.raises(ValueError, match="no sheet"):
        plan_printed(a_plan())
