"""Every paper is tagged: title, language, structure, all that is painted marked; read by readers that are not ours."""

from dataclasses import replace
from io import BytesIO

import pikepdf
import pytest

from tests.factories import picture
from tests.fittings.drawing.samples import elbow
from tests.fittings.drawing.test_cut_sheet import a_sheet
from tests.travelers.documents.reading import words
from tests.travelers.documents.reading_tags import check, marked_texts, tree_of
from tests.travelers.documents.samples import (
    ELBOW,
    ODD_TEXTS,
    PRINTED,
    ROLL,
    SHEETS_10,
    SHEETS_30,
    SHOP,
    label,
    packing,
    sheet,
)
from tests.travelers.documents.test_cut_sheet import a_paper, a_plan, plan_printed
from tests.travelers.documents.test_cut_sheet import printed as cut_printed
from travelers.documents import labels_pdf, packing_list_pdf, travelers_pdf
from travelers.documents.data import PackingRow


def traveler(*sheets) -> bytes:
    return travelers_pdf(sheets or [sheet()], shop=SHOP, printed_at_text=PRINTED)


def long_list() -> bytes:
    rows = [PackingRow(n, n, f"Gored elbow number {n:03d}", f"T-{n}", "", 1.0) for n in range(1, 81)]
    return packing_list_pdf(packing(rows), shop=SHOP, printed_at_text=PRINTED)


PAPERS = {
    "traveler": traveler,
    "travelers of one line": lambda: traveler(sheet(), sheet(code="K3000A2CX", reprint=2)),
    "traveler of 40 pieces": lambda: traveler(sheet(elbow(24, 90, 40))),
    "traveler of odd texts": lambda: traveler(
        sheet(tag=ODD_TEXTS["right to left"], notes=ODD_TEXTS["long"], customer=ODD_TEXTS["markup"])
    ),
    "traveler with a logo": lambda: travelers_pdf(
        [sheet()], shop=replace(SHOP, logo=picture()), printed_at_text=PRINTED
    ),
    "labels": lambda: labels_pdf([label(), label(position=3)], SHEETS_10, shop=SHOP),
    "small labels": lambda: labels_pdf([label()] * 31, SHEETS_30, shop=SHOP),
    "roll of labels": lambda: labels_pdf([label(plate=1, plates=2)] * 2, ROLL, shop=SHOP),
    "packing list": lambda: packing_list_pdf(packing(code="K3000A2BX"), shop=SHOP),
    "long packing list": long_list,
    "cut sheet": lambda: cut_printed(a_paper(12)),
    "long cut sheet": lambda: cut_printed(a_paper(60, a_sheet(60, 5.0))),
    "cut plan": lambda: plan_printed(a_plan(a_paper(12), a_paper(30, position=2, sheets=2, code=""))),
}


@pytest.mark.parametrize("name", PAPERS)
def test_all_that_is_painted_is_marked_and_every_mark_is_in_the_tree(name):
    check(PAPERS[name]())


@pytest.mark.parametrize("name", PAPERS)
def test_the_tree_reads_every_word_but_what_repeats_on_each_page(name):
    """What is not read is the shop's line, the foot, heads that only repeat, and the words of boxes to write in."""
    data = PAPERS[name]()
    allowed = ("Example Round Works", "Printed", "Page", "Reprint", "continued", "initials, time")
    for page in marked_texts(data):
        outside = page.get(-1, "")
        if "Page" not in outside:
            assert outside == "" and name.endswith(("labels", "roll of labels"))
        else:
            assert any(word in outside for word in allowed)
            assert len(outside) < 620
    read = tree_of(data).whole
    for word in ("1042", "K300 0A2B X") if "cut" not in name and "list" not in name else ("1042",):
        assert word in read


def test_a_traveler_is_read_in_the_order_in_which_it_is_worked_with():
    tree = tree_of(traveler(sheet(), sheet(code="K3000A2CX")))
    first, second = tree.kids
    assert (first.role, second.role) == ("Sect", "Sect")
    assert [node.text for node in first.all("H1", "H2")] == [
        "Order 1042",
        "Segments of one fitting: 5, in inches on the mean surface",
        "Steps",
        "Patterns, seen on the face that becomes the outside",
        "Codes of the pieces",
    ]
    text = first.whole
    places = [
        text.index(part)
        for part in ("Order 1042", "Tag AHU-3", "Due Thu", "Stretch-out", "1 Cut", "Hot slag")
    ]
    assert places == sorted(places)
    assert second.whole == text.replace("K300 0A2B X", "K300 0A2C X"), "what is drawn once is read on each"
    assert len(second.all("TD")) == len(first.all("TD")) == 16


def test_a_table_over_pages_is_one_table_with_one_head():
    tree = tree_of(long_list())
    (table,) = tree.all("Table")
    assert [kid.text for kid in table.kids[0].kids] == ["Line", "Qty", "Description", "Tag", "lb each", "lb"]
    assert len(table.kids) == 81 and len(table.all("TH")) == 6
    assert table.kids[80].kids[2].text == "Gored elbow number 080"


def test_a_code_is_told_in_words():
    (first, *_) = tree_of(labels_pdf([label()], SHEETS_10, shop=SHOP)).all("Figure")
    assert first.alt == "Code K300 0A2B X to scan"


def test_title_language_and_author_are_in_the_metadata():
    with pikepdf.open(BytesIO(traveler())) as pdf, pdf.open_metadata() as described:
        assert described["dc:title"] == "Travelers of order 1042"
        assert described["dc:creator"] == ["Example Round Works"]
        assert described["dc:language"] == {"en-US"}
        assert str(pdf.Root.Lang) == "en-US"


def test_a_mark_that_is_missing_is_found():
    """The check itself: it must see a text that lies outside of every mark, and a mark that no element has."""
    with pikepdf.open(BytesIO(traveler())) as pdf:
        page = pdf.pages[0]
        stream = page.Contents.read_bytes()
        for broken in (
            stream + b"\nBT /F1 12 Tf (loose) Tj ET",
            stream.replace(b"/H1 <</MCID 0>> BDC", b"/H1 <</MCID 999>> BDC"),
        ):
            page.Contents = pdf.make_stream(broken)
            saved = BytesIO()
            pdf.save(saved)
            with pytest.raises(AssertionError):
                check(saved.getvalue())


def test_equal_data_give_equal_bytes():
    assert traveler() == traveler()


def test_a_stamped_drawing_is_in_the_file_once():
    one, ten = len(traveler(sheet(), sheet())), len(traveler(*[sheet() for _ in range(10)]))
    assert ten < 5 * one
    assert len(words(traveler(*[sheet(ELBOW) for _ in range(10)]))) == 5 * len(
        words(traveler(sheet(), sheet()))
    )
