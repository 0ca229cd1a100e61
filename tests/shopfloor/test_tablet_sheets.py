"""What a cutting tablet is given of sheets: the list, one sheet, and the loose pieces without what lies on them."""

from __future__ import annotations

from datetime import date, timedelta
from xml.etree import ElementTree

import pytest
from django.urls import reverse
from django.utils import timezone

from fittings.models import CutPiece, Segment, StockItem
from shared.roles import OPERATOR, Actor
from tests import factories
from tests.factories_cutting import made_plan, released, stock_item
from tests.travelers.floor import Floor, badge, floor
from tests.travelers.sheet_floor import big_floor, segments_of, sent_sheets
from travelers.replay import replay

pytestmark = pytest.mark.django_db
SVG = "{http://www.w3.org/2000/svg}"


def data_of(client) -> dict:
    return client.get(reverse("api_station_queue")).json()


def sheet_of(client, code: str):
    return client.get(reverse("api_station_piece", args=[code]))


def due_in(days: int) -> str:
    return (timezone.localdate() + timedelta(days=days)).isoformat()


@pytest.fixture
def cutter(station, tablet):
    return tablet(station("CUT-1", ["cut"]))


@pytest.fixture
def sent(shop):
    """A sent plan of four elbows, due in six days."""
    return made_plan(released(due=due_in(6)), sent=True)


def test_each_sheet_tells_what_to_lay_on_the_table_and_what_comes_off(cutter, sent):
    data = data_of(cutter)
    sheets = list(sent.sheets.order_by("position"))
    assert [entry["code"] for entry in data["sheets"]] == [sheet.code for sheet in sheets]
    first = data["sheets"][0]
    count = CutPiece.objects.filter(sheet=sheets[0]).count()
    assert (first["name"], first["title"], first["order"]) == (
        f"Sheet 1 of plan {sent.number}",
        f"Sheet 1 of {len(sheets)}",
        f"plan {sent.number}",
    )
    assert (first["piece"], first["size"]) == (f"{count} pieces, load 1", "60 × 120 in, 24 ga galvanized")
    assert first["due"].startswith("Due ")
    assert (first["state"], first["operation"], first["why"]) == ("ready", "cut", "6 days left")
    ElementTree.fromstring(first["icon"])
    assert "style=" not in first["icon"]
    assert data["sheets_more"] == 0


def test_what_is_on_a_sheet_is_not_among_the_loose_pieces(cutter, sent):
    other = floor(quantity=1)
    data = data_of(cutter)
    assert {entry["code"] for entry in data["queue"]} == {one.code for one in segments_of(other)}
    piece = CutPiece.objects.filter(plan=sent).first()
    CutPiece.objects.filter(pk=piece.pk).update(is_live=False)
    data = data_of(cutter)
    assert piece.segment.code in {entry["code"] for entry in data["queue"]}


def test_a_plan_that_was_not_sent_is_not_to_be_seen(cutter, shop):
    order = released()
    made_plan(order)
    data = data_of(cutter)
    assert data["sheets"] == []
    assert len(data["queue"]) == 8


def test_late_sheets_come_first_then_as_the_plans_say(cutter, shop):
    later = made_plan(released(due=due_in(9)), sent=True)
    item = StockItem.objects.get(form="sheet")
    late = made_plan(released(due=due_in(-2)), sent=True, stock=item)
    data = data_of(cutter)
    plans = [entry["order"] for entry in data["sheets"]]
    assert (
        plans
        == [f"plan {late.number}"] * late.sheets.count() + [f"plan {later.number}"] * later.sheets.count()
    )
    assert (data["sheets"][0]["why"], data["sheets"][0]["is_late"]) == ("Late 2 days", True)
    titles = [entry["title"] for entry in data["sheets"]]
    assert titles == [
        f"Sheet {number} of {plan.sheets.count()}"
        for plan in (late, later)
        for number in range(1, plan.sheets.count() + 1)
    ]


def test_a_station_that_does_not_cut_has_no_sheets(station, tablet, sent):
    data = data_of(tablet(station("ROLL-1", ["roll"])))
    assert (data["sheets"], data["sheets_more"]) == ([], 0)


def test_a_station_keeps_to_its_gauges(station, tablet, sent):
    heavy = tablet(station("CUT-2", ["cut"], gauge_lightest=20))
    assert data_of(heavy)["sheets"] == []
    light = tablet(station("CUT-3", ["cut"], gauge_heaviest=22))
    assert len(data_of(light)["sheets"]) == sent.sheets.count()


def test_a_finished_sheet_leaves_the_list_and_a_part_of_one_stays_with_what_is_left(shop, cutter):
    on = floor(quantity=2)
    sheets = sent_sheets(segments_of(on)[:4], segments_of(on)[4:], number=12)
    on.scan("cut", on.segment(1).code, "hold", reason="Stain")
    on.scan("cut", sheets[0].code)
    first, second = data_of(cutter)["sheets"]
    assert (first["code"], first["piece"], first["state"], first["why"]) == (
        sheets[0].code,
        "1 of 4 pieces left, load 1",
        "held",
        "On hold",
    )
    on.scan("cut", on.segment(1).code, "resume")
    on.scan("cut", sheets[0].code)
    assert [entry["code"] for entry in data_of(cutter)["sheets"]] == [second["code"]]
    on.scan("cut", second["code"], "start")
    assert data_of(cutter)["sheets"][0]["why"] == "Started here"


def test_a_sheet_whose_plates_are_cut_leaves_the_list_while_their_segment_waits(shop, cutter):
    big = big_floor()
    one, two, *_ = segments_of(big)
    first, second = sent_sheets([(one, 1), (two, 1)], [(one, 2), (two, 2)], number=12)
    listed = data_of(cutter)["sheets"]
    assert [(entry["code"], entry["piece"]) for entry in listed] == [
        (first.code, "2 pieces, load 1"),
        (second.code, "2 pieces, load 1"),
    ]
    big.scan("cut", first.code)
    assert [entry["code"] for entry in data_of(cutter)["sheets"]] == [second.code]
    states = [piece["word"] for piece in sheet_of(cutter, first.code).json()["pieces"]]
    assert states == ["Cut", "Cut"]
    big.scan("cut", first.code, "undo")
    assert [entry["code"] for entry in data_of(cutter)["sheets"]] == [first.code, second.code]


# -- one sheet ---------------------------------------------------------------------


def test_a_sheet_opened_shows_its_numbers_and_its_pieces_in_feed_order(cutter, sent):
    sheet = sent.sheets.get(position=1)
    data = sheet_of(cutter, sheet.code).json()
    assert (data["kind"], data["title"], data["metal"]) == (
        "sheet",
        f"Sheet 1 of {sent.sheets.count()}",
        "24 ga galvanized",
    )
    pieces = list(CutPiece.objects.filter(sheet=sheet).order_by("feed").select_related("segment"))
    assert [piece["feed"] for piece in data["pieces"]] == [piece.feed for piece in pieces]
    assert [piece["code"] for piece in data["pieces"]] == [piece.segment.code for piece in pieces]
    assert data["pieces"][0]["label"] == "Gore 1 of 5"
    numbers = {number["label"]: number["value"] for number in data["numbers"]}
    assert numbers["Sheet"] == "60 × 120 in"
    assert numbers["Pieces"] == str(len(pieces))
    assert numbers["Load"] == f"1 of {max(sent.sheets.values_list('load', flat=True))}"
    picture = ElementTree.fromstring(data["picture"])
    drawn = [group.get("data-code") for group in picture.iter(f"{SVG}g") if group.get("data-code")]
    assert sorted(drawn) == sorted(piece.segment.code for piece in pieces)
    assert data["cautions"]
    assert data["state"] == "ready"


def test_a_remnant_to_keep_is_told_with_its_code(cutter, sent):
    sheet = sent.sheets.filter(remnant_length_in__isnull=False).first()
    assert sheet is not None
    remnant = StockItem.objects.get(made_from=sheet)
    keep = next(
        number for number in sheet_of(cutter, sheet.code).json()["numbers"] if number["label"] == "Keep"
    )
    assert keep["exact"] == remnant.code
    assert keep["value"].startswith("60 × ")


def test_of_a_coil_the_length_to_cut_off_is_told(cutter, shop):
    order = released()
    plan = made_plan(order, sent=True, stock=stock_item(order, width=48, length=240, form="coil"))
    sheet = plan.sheets.get(position=1)
    numbers = {number["label"]: number for number in sheet_of(cutter, sheet.code).json()["numbers"]}
    assert numbers["Coil"]["value"] == "48 in wide"
    assert float(numbers["Cut off"]["exact"]) == pytest.approx(sheet.used_length_in, abs=0.0005)


def test_what_was_taken_off_is_not_in_the_list_of_a_sheet(cutter, sent):
    sheet = sent.sheets.get(position=1)
    off = CutPiece.objects.filter(sheet=sheet).select_related("segment").first()
    before = len(sheet_of(cutter, sheet.code).json()["pieces"])
    CutPiece.objects.filter(pk=off.pk).update(is_live=False, off_at=factories.NOW, off_reason="Stain")
    codes = [piece["code"] for piece in sheet_of(cutter, sheet.code).json()["pieces"]]
    assert len(codes) == before - 1
    assert off.segment.code not in codes


def test_a_sheet_at_another_station_says_that_it_is_cut_elsewhere(station, tablet, sent):
    code = sent.sheets.get(position=1).code
    data = sheet_of(tablet(station("ROLL-1", ["roll"])), code).json()
    assert (data["operation"], data["where"]) == ("", "cut at another station")


def test_a_piece_on_a_sheet_can_be_opened_and_scanned_alone(cutter, sent):
    on = Floor(released_order(sent), badge())
    code = CutPiece.objects.filter(plan=sent).first().segment.code
    assert sheet_of(cutter, code).json()["piece"] == "Gore 1 of 5"
    cut = Actor("CUT-1", OPERATOR, "CUT-1", ("cut",))
    body = on.body(code, "finish")
    assert on.send(cut, body).outcome == "recorded"
    assert replay(write=False).differences == []


def released_order(plan):
    return Segment.objects.filter(cut_pieces__plan=plan).first().fitting.order


# -- cost ---------------------------------------------------------------------------


def test_the_list_costs_the_same_however_many_sheets_wait(cutter, shop, django_assert_max_num_queries):
    made_plan(released(due=due_in(3)), sent=True)
    data_of(cutter)
    item = StockItem.objects.get(form="sheet")
    for days in range(4):
        made_plan(released(due=due_in(days)), sent=True, stock=item)
    with django_assert_max_num_queries(20):
        data = data_of(cutter)
    assert len(data["sheets"]) == 8
    assert data["sheets_more"] == sum(1 for _ in CutPiece.objects.values("sheet").distinct()) - 8


def test_the_due_date_is_that_of_the_earliest_piece_that_is_still_to_be_cut(shop, cutter):
    early, late = (
        Floor(released(factories.line(quantity=1), due=due), badge(f"Sam {due}"))
        for due in ("2026-03-03", "2026-03-09")
    )
    (sheet,) = sent_sheets(segments_of(early)[:1] + segments_of(late)[:1], number=12)
    assert data_of(cutter)["sheets"][0]["due"] == f"Due {date(2026, 3, 3):%a} 3 Mar"
    early.scan("cut", early.segment(1).code)
    assert data_of(cutter)["sheets"][0]["due"] == f"Due {date(2026, 3, 9):%a} 9 Mar"
