"""Where the pieces of a sheet are, and on which sheet a segment lies."""

from __future__ import annotations

import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from fittings.models import CutPiece
from shopfloor.board import board
from shopfloor.piling import Piling
from tests.travelers.floor import LATER, Floor, floor
from tests.travelers.sheet_floor import big_floor, segments_of, sent_sheets
from travelers.where import fitting_detail, where

pytestmark = pytest.mark.django_db


@pytest.fixture
def on(shop) -> Floor:
    return floor()


@pytest.fixture
def sheets(on):
    one, two, three, four, five, six = segments_of(on)
    return sent_sheets([one, two, four], [three, five], number=12)


def asked(answer) -> list[str]:
    return [piece["code"] for row in answer["results"] for piece in row["segments"] if piece["asked"]]


def test_a_sheets_code_answers_where_its_pieces_are(on, sheets):
    on.scan("cut", on.segment(2).code)
    answer = where(sheets[0].code)
    assert answer["found"] == f"Sheet {sheets[0].code}, 1 of 2 of cut plan 12"
    assert answer["sheet"] == {
        "id": sheets[0].pk,
        "code": sheets[0].code,
        "position": 1,
        "of": 2,
        "plan": 12,
    }
    assert [row["code"] for row in answer["results"]] == [one.code for one in on.fittings]
    assert asked(answer) == [on.segment(1).code, on.segment(2).code, on.segment(1, 2).code]
    at = {piece["code"]: piece["operation"] for row in answer["results"] for piece in row["segments"]}
    assert (at[on.segment(1).code], at[on.segment(2).code]) == ("cut", "roll")


def test_the_code_is_read_as_people_type_it(on, sheets):
    code = sheets[0].code
    assert where(f" {code[:4].lower()} {code[4:].lower()}")["sheet"]["code"] == code


def test_what_was_taken_off_is_not_asked_for(on, sheets):
    CutPiece.objects.filter(sheet=sheets[0], segment=on.segment(1, 2)).update(is_live=False)
    answer = where(sheets[0].code)
    assert [row["code"] for row in answer["results"]] == [on.fitting.code]


def test_other_questions_name_no_sheet(on, sheets):
    answer = where(on.segment(1).code)
    assert answer["sheet"] is None
    assert asked(answer) == [on.segment(1).code]


def test_segments_name_the_sheet_on_which_they_lie(on, sheets):
    found = {piece["position"]: piece["sheet"] for piece in fitting_detail(on.fittings[1].code)["segments"]}
    assert found == {1: sheets[0].code, 2: sheets[1].code, 3: None}
    CutPiece.objects.update(is_live=False)
    assert {piece["sheet"] for piece in fitting_detail(on.fittings[1].code)["segments"]} == {None}


def test_of_plates_on_several_sheets_the_first_ones_is_named(shop):
    big = big_floor()
    one = segments_of(big)[0]
    _, second = sent_sheets([(one, 2)], [(one, 1)], number=12)
    assert fitting_detail(big.fitting.code)["segments"][0]["sheet"] == second.code


def test_a_detail_takes_as_many_queries_for_many_segments_as_for_few(shop):
    counts = []
    for pieces in (3, 9):
        on = floor(quantity=1, pieces=pieces)
        sent_sheets(segments_of(on))
        with CaptureQueriesContext(connection) as seen:
            fitting_detail(on.fitting.code)
        counts.append(len(seen))
    assert counts[0] == counts[1]


def test_the_board_counts_pieces_at_cut_until_their_sheet_is_finished(on, sheets):
    def at_cut():
        bays = {one.operation: one for one in board(now=LATER, piling=Piling()).operations}
        return bays["cut"].ready, bays["cut"].done_today, bays["roll"].ready, bays["cut"].hours_queued > 0

    assert at_cut() == (6, 0, 0, True)
    on.scan("cut", sheets[0].code)
    assert at_cut() == (3, 3, 3, True)
    on.scan("cut", sheets[0].code, "undo")
    assert at_cut() == (6, 0, 0, True)


def test_the_page_shows_the_sheet_with_a_link_to_it(on, sheets, signed_in):
    page = signed_in("office").get(reverse("where"), {"q": sheets[0].code})
    assert page.status_code == 200
    html = page.content.decode()
    assert f"Sheet {sheets[0].code}, 1 of 2 of cut plan 12" in html
    assert f'href="{reverse("cut_sheet", args=[sheets[0].pk])}"' in html
    assert html.count("on sheet") == 5  # pieces at cut that lie on one
    tablet = signed_in("supervisor").get(reverse("where"), {"q": on.order.number})
    assert "See the sheet" not in tablet.content.decode()


def test_a_refused_scan_of_a_sheet_is_among_the_exceptions_with_its_code(on, sheets, signed_in):
    on.scan("roll", sheets[0].code, now=timezone.now())
    html = signed_in("supervisor").get(reverse("exceptions")).content.decode()
    assert "Sheet 1 of plan 12 is cut at another station. Scan its pieces here." in html
    code = sheets[0].code
    assert re.search(rf"{code[:4]}\W.{{0,40}}{code[4:]}|{code}", html)
