"""The page of the flow: its tables against the record, its CSV against its tables, what it is asked for."""

from __future__ import annotations

import csv
import re
from datetime import datetime, timedelta
from decimal import Decimal
from html import unescape
from io import StringIO

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from shared.models import Job
from shopfloor import flow_figures
from shopfloor.flow.figures import FLOOR
from shopfloor.flow_days import flow_days_bring_up
from shopfloor.flow_figures import Asked, flow
from shopfloor.flow_page import flow_page
from shopfloor.models import FlowDay
from tests.factories_cutting import piece_row, plan_row, sheet_row, stock_item
from tests.shopfloor.floor_of_four import operation_codes, released, scan, segments, stations
from tests.shopfloor.test_flow_days import FRI, MON, THU, TUE, WED, at
from travelers.models import Operation, Task

pytestmark = pytest.mark.django_db


@pytest.fixture
def floor(shop):
    """Four elbows on Monday; the first is cut on Monday, and whole on Tuesday at 15:00; two scans were missed."""
    stations()
    order = released(now=at(MON, 8))
    pieces = segments(order)
    for piece in pieces:
        scan(piece.code, "cut", now=at(MON, 9))
    for piece in pieces[1:]:
        scan(piece.code, "roll", now=at(MON, 13), action="start")
        scan(piece.code, "roll", now=at(MON, 15))
    for piece in pieces[:-1]:
        scan(piece.code, "seam", now=at(TUE, 9))  # of the first the roll was missed
    for operation in ("assemble", "wrap"):  # of the last the seam was missed
        scan(pieces[0].fitting.code, operation, now=at(TUE, 15))
    return order


def shown(now: datetime, **asked):
    flow_days_bring_up(now=now)
    return flow(Asked(**{"first": MON, "last": WED} | asked), now=now)


def tables(page) -> dict:
    return {table.name: table for section in page.sections for table in section.tables}


def rows(found, unit="pieces") -> dict[str, list[list[str]]]:
    return {name: [list(row) for row in table.rows] for name, table in tables(flow_page(found, unit)).items()}


def test_tables_by_hand(floor):
    found = rows(shown(at(WED, 10)))
    # released 4, finished 1 after 31 hours of the clock = 1.29 days (in a bin 2.5 % wide), first pass
    assert [row[:3] for row in found["output"]] == [
        ["2026-03-02", "4", "0"], ["2026-03-03", "0", "1"], ["2026-03-04", "0", "0"],
    ]  # fmt: skip
    assert float(found["output"][1][6]) == pytest.approx(31 / 24, rel=0.026)
    assert found["output"][1][-1] == "100.0" and found["output"][0][-1] == "—"
    # 20 pieces of four elbows of five; each fitting is assembled once
    assert found["cumulative"][-1] == ["2026-03-04", "20", "5", "5", "1", "0", "1"], "raw ends need no work"
    assert [row[:4] + row[4:5] for row in found["there"]][:3] == [
        ["Cut", "0", "15", "15.0", "15"],
        ["Roll", "0", "0", "0.3", "1"],  # one on Monday evening, of three days
        ["Seam", "0", "0", "1.3", "4"],  # four on Monday evening
    ]
    times = {row[0]: row[1:] for row in found["times"]}
    # roll: 5 finished, 4 with a start: 09:00 to 13:00 less breaks of 15 and 30 min = 3.25 h, then 2 h
    assert times["Roll"][:2] == ["5", "80.0"]
    assert [float(times["Roll"][at]) for at in (2, 5, 8)] == pytest.approx([5.25, 3.25, 2.0], rel=0.026)
    assert times["Cut"][5] == "—", "nothing was started: queue and touch are not known"
    losses = {row[0]: row[1:] for row in found["yield"]}
    assert losses["Roll"] == ["5", "5", "100.0", "0", "1", "20.0"]
    assert losses["Seam"][4:] == ["1", "20.0"]
    benches = {row[0]: row[2:] for row in found["stations"]}
    minutes = Task.objects.filter(operation="roll", state="done", is_implied=False).values_list(
        "minutes", flat=True
    )
    standard = sum(minutes) / 60
    # Monday and Tuesday 7.75 h each, Wednesday 07:00 to 10:00 less a break of 15 min
    assert benches["ROLL-1"][:3] == ["4", f"{standard:.1f}", f"{7.75 + 7.75 + 2.75:.1f}"]
    assert benches["ROLL-1"][3] == f"{100 * standard / 18.25:.1f}"
    assert benches["ROLL-1"][5:] == ["2.0", f"{100 * 2 / 18.25:.1f}"], "in work at once: counted once"


def test_littles_law_on_recorded_days(floor):
    law = shown(at(WED, 10)).little
    # from Monday 00:00 to Wednesday 10:00 are 58 h: one fitting 31 h, three from 08:00 on 50 h
    assert law.days == pytest.approx(58 / 24)
    assert law.there == pytest.approx((31 + 3 * 50) / 58)
    assert (law.before, law.after) == (0, 3)
    assert law.product == pytest.approx(31 / 58)
    said = " ".join(section.says for section in flow_page(shown(at(WED, 10))).sections)
    assert "3 fittings were still there at its end" in said and "2 missed scans" in said


def test_a_range_in_the_past_is_as_it_was_then(floor):
    early = rows(shown(at(TUE, 16), last=MON))
    late = rows(shown(at(FRI, 10), last=MON))
    for name in ("output", "there", "cumulative", "times"):
        assert late[name] == early[name]
    assert early["there"][1][2] == "1", "one to roll on Monday evening"


def test_kept_days_or_not_the_figures_are_the_same(floor, monkeypatch):
    scan(segments(floor, 2)[0].code, "roll", now=at(WED, 9), action="scrap", reason="Bent")
    now = at(FRI, 10)
    kept = [
        rows(shown(now, last=FRI, by=by), unit) for by in ("step", "kind") for unit in ("pieces", "cents")
    ]
    assert FlowDay.objects.count() == 4 and kept[0]["scrap"] == [["Roll", "Bent", "1"]]
    FlowDay.objects.all().delete()
    monkeypatch.setattr(flow_figures, "last_over", lambda now, calendar: MON - timedelta(days=1))
    live = [
        rows(flow(Asked(MON, FRI, by), now=now), unit)
        for by in ("step", "kind")
        for unit in ("pieces", "cents")
    ]
    assert live == kept


def test_as_many_queries_for_much_work_as_for_little(floor, django_assert_num_queries):
    now = at(FRI, 10)
    scan(segments(floor, 2)[0].code, "cut", now=at(THU, 8))
    shown(now)
    with CaptureQueriesContext(connection) as few:
        flow(Asked(MON, FRI), now=now)
    for number in range(3):
        other = released(now=at(TUE, 8 + number))
        scan(segments(other)[0].code, "cut", now=at(THU, 9))
    flow_days_bring_up(now=now)
    with django_assert_num_queries(len(few)):
        flow(Asked(MON, FRI), now=now)


def test_by_and_filters(floor):
    from tests.factories import elbow_params, line

    other = released(
        now=at(TUE, 8), lines=[line(quantity=2, gauge=22, params=elbow_params(diameter=10, pieces=4))]
    )
    now = at(WED, 10)
    by = {one: rows(shown(now, by=one))["output"] for one in ("order", "kind", "size", "gauge")}
    assert [row[:3] for row in by["order"]] == [[floor.number, "4", "1"], [other.number, "2", "0"]]
    assert [row[:3] for row in by["kind"]] == [["Gored elbow", "6", "1"]]
    assert [row[:3] for row in by["size"]] == [["14 in", "4", "1"], ["10 in", "2", "0"]]
    assert [row[:3] for row in by["gauge"]] == [["24", "4", "1"], ["22", "2", "0"]]
    for changes in ({"order": other.number}, {"gauge": 22}, {"size_in": 10.0}):
        found = rows(shown(now, **changes))
        assert [row[2] for row in found["there"]][:2] == ["8", "0"], changes
        assert found["output"][1][:3] == ["2026-03-03", "2", "0"]
    pieces = rows(shown(now, operation="roll", by="gauge"))["output"]
    assert [row[:3] for row in pieces] == [["24", "5", "5"]]


def test_a_cap_and_the_days_on_which_it_was_reached(floor):
    Operation.objects.filter(code="roll").update(cap=5)
    Operation.objects.filter(code="seam").update(cap=4)
    found = {row[0]: row[5:] for row in rows(shown(at(WED, 10)))["there"]}
    assert found["Roll"] == ["5", "1"], "five lay there on Monday from 09:00 to 15:00, one in the evening"
    assert found["Seam"] == ["4", "2"], "four on Monday evening, and on Tuesday until 09:00"
    assert found["Cut"] == ["—", "—"]
    left_out = {row[0]: row[5:] for row in rows(shown(at(WED, 10), gauge=24))["there"]}
    assert left_out["Roll"] == ["5", "—"], "the cap is of all pieces, not of those that are looked at"


def test_money_is_the_metal_of_what_is_cut_and_what_is_not_known_is_said(floor):
    scan(segments(floor, 2)[0].code, "cut", now=at(WED, 9))
    found = {row[0]: row for row in rows(shown(at(WED, 10)), "cents")["there"]}
    assert found["Cut"][2] == "0.00" and found["Cut"][-1] == "0", "before it is cut it is stock"
    assert found["Roll"][2] == "—" and found["Roll"][-1] == "1", "nothing is known of its cost"


def test_metal_moves_on_with_its_pieces_and_others_bear_what_was_taken_off(shop):
    stations()
    first, second, *_ = segments(released(now=at(MON, 7)))
    sheet = sheet_row(plan_row(state="sent"), stock_item(), cost=Decimal("10.00"))
    for piece, area in ((first, 3), (second, 1)):  # 7.50 and 2.50 of the 10.00
        piece_row(sheet, piece, area=area)
        scan(piece.code, "cut", now=at(MON, 9))
    scan(first.code, "roll", now=at(TUE, 9))
    by_day = {row[0]: row[1:4] for row in rows(shown(at(WED, 10)), "cents")["there-steps"]}
    assert by_day == {  # cut, roll, seam
        "2026-03-02": ["0.00", "10.00", "0.00"],
        "2026-03-03": ["0.00", "2.50", "7.50"],
        "2026-03-04": ["0.00", "2.50", "7.50"],
    }
    sheet.pieces.filter(segment=second).update(off_at=at(WED, 11), is_live=False)
    found = rows(shown(at(WED, 12)), "cents")
    assert [row[1:4] for row in found["there-steps"]] == [
        ["0.00", "10.00", "0.00"], ["0.00", "—", "10.00"], ["0.00", "—", "10.00"],
    ]  # fmt: skip
    assert [row[-1] for row in found["there"]][:3] == ["0", "1", "0"]


def test_csv_is_the_table(floor, signed_in):
    client = signed_in("office")
    query = f"period=own&first={MON}&last={FRI}"
    page = client.get(f"/flow/?{query}")
    assert page.status_code == 200
    text = page.content.decode()
    names = re.findall(r'id="([\w-]+)-table"', text)
    assert {"output", "there", "times", "stations", "yield", "law"} <= set(names)
    for name in names:
        part = text[text.index(f'id="{name}-table"') :]
        body = part[part.index("<tbody>") : part.index("</tbody>")]
        cells = [
            [unescape(cell) for cell in re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row)]
            for row in body.split("<tr>")[1:]
        ]
        answer = client.get(f"/flow/figures.csv?{query}&what={name}")
        assert answer["Content-Disposition"] == f'attachment; filename="flow-{name}.csv"'
        read = list(csv.reader(StringIO(answer.content.decode())))
        said = [["" if cell == "—" else cell for cell in row] for row in cells]
        if read[0][0] == "day":
            assert {row[0][:6] for row in said} == {"Mon 2 ", "Tue 3 ", "Wed 4 ", "Thu 5 ", "Fri 6 "}, name
            said, read = ([row[1:] for row in one] for one in (said, read))
        assert said == read[1:], name


@pytest.mark.parametrize(
    ("query", "sentence"),
    [
        ("period=own", "From needs a date for own dates."),
        (
            "period=own&first=2026-03-09&last=2026-03-02",
            "From is 2026-03-09; it can be 2023-12-24 to 2026-03-02.",
        ),
        ("first=2026-03-09&last=2026-03-02", "From is 2026-03-09; it can be 2023-12-24 to 2026-03-02."),
        ("first=2026-03-09", "To needs a date for own dates."),
        ("period=own&first=2026-03-01&last=2999-01-01", "To is 2999-01-01; it can be"),
        ("period=own&first=yesterday&last=2026-03-02", "From can be a date such as 2026-03-14."),
        ("period=9", "Time is 9; it can be 7, 28, 91, 365, own."),
        ("by=colour", "By is colour; it can be "),
        ("size=wide", "Largest diameter can be a length such as 14 or 14 1/2."),
        ("gauge=99", "Gauge can be 1 to 40."),
        ("operation=paint", "Of can be an operation of the list."),
    ],
)
def test_what_cannot_be_asked_is_said(floor, signed_in, query, sentence):
    answer = signed_in("supervisor").get(f"/flow/?{query}")
    assert answer.status_code == 400 and sentence in unescape(answer.content.decode())


def test_no_such_table(shop, signed_in):
    assert signed_in("office").get("/flow/figures.csv?what=nothing").status_code == 404


def test_days_that_are_not_added_up_yet_are_said_where_the_range_has_them(floor, signed_in):
    client = signed_in("office")
    assert "not added up yet, and left out here" in client.get("/flow/?period=365").content.decode()
    assert Job.objects.filter(kind="flow_days").count() == 1, "the worker is asked for them"
    assert "not added up yet" not in client.get("/flow/?period=7").content.decode()


def test_an_empty_shop_has_a_page(shop, signed_in):
    text = signed_in("office").get("/flow/").content.decode()
    assert "Nothing moved in this time" in text
    assert "flow-charts" not in text, "no chart of nothing"
    assert not FlowDay.objects.exists()


def test_a_day_on_which_work_only_stood_is_not_empty(floor):
    assert not flow_page(shown(at(FRI, 8), first=THU, last=THU)).is_empty


def test_today_is_live(floor, signed_in):
    now = timezone.now()
    asked = Asked(now.date() - timedelta(days=1), now.date())
    before = flow(asked, now=now).totals.get(FLOOR)
    released(now=now - timedelta(minutes=1))
    assert before is None and flow(asked, now=now).totals[FLOOR].arrived == 4
    assert operation_codes()[0] == "cut"
