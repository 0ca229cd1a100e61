"""Papers and files of plans from the database, decoded from pixels and read by the DXF library."""

import csv
import io
import zipfile
from datetime import timedelta

import ezdxf
import pytest
from shapely.geometry import Polygon

from fittings.models import CutPiece, CutPlan, CutSheet
from shared.problems import Conflict, NotFound, WrongInput
from tests import factories_cutting as cutting
from tests.factories import NOW, line
from tests.travelers.documents.reading import codes, pages, words
from tests.travelers.floor import Floor, badge
from travelers import cut_papers


@pytest.fixture
def plan(shop) -> CutPlan:
    """A proposal of two sheets."""
    return cutting.made_plan(cutting.released(number="7741"))


@pytest.fixture
def sent(shop) -> CutPlan:
    return cutting.made_plan(cutting.released(number="7741"), sent=True)


def first_pages(data: bytes) -> list[int]:
    return [at for at, text in enumerate(words(data)) if "Cut sheet" in text and "Page 1 of" in text]


# -- PDF --------------------------------------------------------------------------


def test_each_sheet_of_a_sent_plan_carries_its_own_code(sent):
    made = cut_papers.plan_pdf(sent.number, now=NOW)
    assert (made.media_type, made.name) == ("application/pdf", f"cut-plan-{sent.number}.pdf")
    images = pages(made.content)
    read = [codes(images[at])[0].text for at in first_pages(made.content)]
    assert read == list(sent.sheets.order_by("position").values_list("code", flat=True)) and len(read) == 2


def test_a_sheets_paper_names_every_piece_and_its_remnant(sent):
    sheet = sent.sheets.order_by("position").last()
    text = " ".join(words(cut_papers.sheet_pdf(sheet.pk, now=NOW).content))
    for code in sheet.pieces.values_list("segment__code", flat=True):
        assert " ".join(code[at : at + 4] for at in range(0, len(code), 4)) in text
    remnant = sheet.remnants.get()
    assert (
        f"write {' '.join(remnant.code[at : at + 4] for at in range(0, len(remnant.code), 4))} on it" in text
    )
    assert "Load 1, rear sheet: begins at 120 in" in text and "7741" in text and "AHU-3" in text


def test_a_proposal_has_no_code_and_says_so(plan):
    made = cut_papers.plan_pdf(plan.number, now=NOW)
    assert made.name == f"cut-plan-{plan.number}-proposal.pdf"
    assert all("Proposal – not sent" in text for text in words(made.content))
    assert not any(codes(image) for image in pages(made.content))


def test_a_dropped_plan_is_printed_as_dropped_even_where_it_had_codes(sent):
    CutPlan.objects.filter(pk=sent.pk).update(state="dropped")
    made = cut_papers.plan_pdf(sent.number, now=NOW)
    assert all("Dropped – do not cut" in text for text in words(made.content))
    assert not any(codes(image) for image in pages(made.content))


def test_the_cautions_of_cutting_this_metal_are_printed(sent):
    text = words(cut_papers.sheet_pdf(sent.sheets.first(), now=NOW).content)[0]
    assert "Galvanized fume." in text and "Arc or beam, hot slag." in text
    assert "In-running nip" not in text, "that is the roll's"


def test_the_cover_says_when_and_by_whom_it_was_sent(sent):
    assert (
        "Sent Mon 2 Mar 2026, 08:00 by office" in words(cut_papers.plan_pdf(sent.number, now=NOW).content)[0]
    )


def test_utilisation_is_the_pieces_share_of_the_sheet(plan):
    sheet = plan.sheets.first()
    area = sum(Polygon(flat["cut_outline"]).area for flat in _flats(sheet))
    text = words(cut_papers.sheet_pdf(sheet, now=NOW).content)[0]
    assert f"{100 * area / (60 * 120):.1f} %" in text


def _flats(sheet: CutSheet) -> list[dict]:
    rows = sheet.pieces.select_related("segment__fitting__line")
    return [row.segment.fitting.line.development["segments"][row.segment.position - 1] for row in rows]


def test_a_third_sheet_of_a_load_is_counted_from_the_front(shop):
    order = cutting.released(line(quantity=3))
    plan = cutting.made_plan(order, stock=cutting.stock_item(order, width=36, length=60.0))
    assert plan.sheets.filter(load=1).count() == 4
    found = [sheet.place for sheet in cut_papers.plan_paper(plan).sheets if sheet.load == 1]
    assert found == ["front sheet", "sheet 2 from the front", "sheet 3 from the front", "rear sheet"]


def test_a_plan_that_is_being_made_has_nothing_to_print(plan):
    plan.sheets.all().delete()
    CutPlan.objects.filter(pk=plan.pk).update(state="making")
    with pytest.raises(Conflict, match=r"is still being made\. There are no sheets to print\.$"):
        cut_papers.plan_pdf(plan.number, now=NOW)


@pytest.mark.parametrize(
    "ask",
    [
        lambda: cut_papers.plan_pdf(99999, now=NOW),
        lambda: cut_papers.plan_dxf_zip(99999),
        lambda: cut_papers.sheet_pdf(99999, now=NOW),
        lambda: cut_papers.sheet_dxf_file(99999),
        lambda: cut_papers.sheet_svg_text(99999),
    ],
)
def test_what_is_not_there_is_not_found(shop, ask):
    with pytest.raises(NotFound):
        ask()


@pytest.mark.parametrize("quantity", [3, 12])
def test_a_plans_paper_takes_the_same_queries_whatever_its_size(
    shop, django_assert_max_num_queries, quantity
):
    plan = cutting.made_plan(cutting.released(line(quantity=quantity)), sent=True)
    with django_assert_max_num_queries(11):
        cut_papers.plan_pdf(plan.number, now=NOW)


# -- DXF --------------------------------------------------------------------------


def read(data: bytes):
    return ezdxf.read(io.StringIO(data.decode("utf-8")))


def test_a_sheets_dxf_cuts_its_pieces_in_feed_order_and_is_named_by_its_code(sent):
    sheet = sent.sheets.order_by("position").first()
    made = cut_papers.sheet_dxf_file(sheet)
    assert made.name == f"cut-plan-{sent.number}-sheet-01-{sheet.code.lower()}.dxf"
    document = read(made.content)
    assert not document.audit().errors
    texts = [text.dxf.text for text in document.modelspace().query("TEXT")]
    rows = sheet.pieces.order_by("feed").values_list("feed", "segment__code")
    assert texts == [f"{feed} {code}" for feed, code in rows]
    cut = document.modelspace().query('LWPOLYLINE[layer=="CUT"]')
    area = sum(Polygon([(x, y) for x, y, *_ in one.get_points()]).area for one in cut)
    assert area == pytest.approx(sheet.parts_area, rel=1e-4)


def test_millimetres_are_asked_for_by_name_and_another_unit_is_refused(plan):
    sheet = plan.sheets.first()
    assert read(cut_papers.sheet_dxf_file(sheet.pk, "mm").content).header["$INSUNITS"] == 4
    with pytest.raises(WrongInput) as refused:
        cut_papers.sheet_dxf_file(sheet.pk, "cm")
    assert refused.value.errors[0].field == "unit"


def test_a_plans_zip_holds_a_dxf_a_sheet_and_the_same_bytes_each_time(sent):
    made = cut_papers.plan_dxf_zip(sent.number)
    assert made.content == cut_papers.plan_dxf_zip(sent.number).content
    with zipfile.ZipFile(io.BytesIO(made.content)) as archive:
        names = archive.namelist()
        listed = list(csv.DictReader(io.StringIO(archive.read("sheets.csv").decode())))
        for sheet, row in zip(sent.sheets.order_by("position"), listed, strict=True):
            assert archive.read(row["file"]) == cut_papers.sheet_dxf_file(sheet).content
            assert (row["sheet"], row["code"]) == (str(sheet.position), sheet.code)
            assert (int(row["load"]), float(row["begins_at_in"])) == (sheet.load, sheet.load_offset_in)
            assert int(row["pieces"]) == sheet.pieces.count()
    assert len(names) == 3 and made.name == f"cut-plan-{sent.number}-in.zip"


def test_a_proposals_files_are_named_as_such(plan):
    assert cut_papers.sheet_dxf_file(plan.sheets.first()).name.endswith("-sheet-01-proposal.dxf")


def test_nothing_is_given_to_the_table_of_a_dropped_plan(plan):
    CutPlan.objects.filter(pk=plan.pk).update(state="dropped")
    for ask in (
        lambda: cut_papers.plan_dxf_zip(plan.number),
        lambda: cut_papers.sheet_dxf_file(plan.sheets.first().pk),
    ):
        with pytest.raises(Conflict, match="was dropped"):
            ask()


def test_a_piece_taken_off_is_not_cut(sent):
    sheet = sent.sheets.first()
    off = sheet.pieces.get(feed=2)
    CutPiece.objects.filter(pk=off.pk).update(
        is_live=False, off_at=NOW, off_reason="scratched", off_by="office"
    )
    texts = [
        text.dxf.text for text in read(cut_papers.sheet_dxf_file(sheet).content).modelspace().query("TEXT")
    ]
    assert f"2 {off.segment.code}" not in texts and len(texts) == sheet.pieces.count() - 1
    assert "taken off: scratched" in " ".join(words(cut_papers.sheet_pdf(sheet, now=NOW).content))


# -- SVG --------------------------------------------------------------------------


def test_a_piece_that_was_cut_is_drawn_as_done(shop):
    order = cutting.released()
    sheet = cutting.made_plan(order, sent=True).sheets.order_by("position").first()
    assert "is-done" not in cut_papers.sheet_svg_text(sheet.pk)
    code = sheet.pieces.get(feed=4).segment.code
    floor = Floor(order, badge())
    assert floor.scan("cut", code, now=NOW + timedelta(hours=8)).outcome == "recorded"
    text = cut_papers.sheet_svg_text(sheet.pk, highlight=code)
    assert text.count("is-done") == 1 and f'is-done" data-code="{code}"' in text
    assert text.count('class="picked"') == 1


def test_the_small_picture_has_no_words_in_it(plan):
    assert "<text" not in cut_papers.sheet_svg_text(plan.sheets.first(), small=True)
