"""Measured times from the record itself, taken over into the table, and their page. Minutes are set by the test."""

from __future__ import annotations

from datetime import datetime, timedelta
from itertools import cycle
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fittings import tables
from fittings.models import TableVersion
from shared.jobs import work_once
from shared.problems import Conflict, NotFound, WrongInput
from shared.roles import OFFICE, Actor
from shopfloor import measured_times as reading
from shopfloor.floor_now import MEASURED, VARIATION, floor_now
from shopfloor.flow.calendar import Calendar
from shopfloor.flow.timings import MEANWHILE, NO_FEET, NO_START
from shopfloor.measured_adoption import times_adopt
from shopfloor.measured_times import CLOCK, ELSEWHERE, HELD, IMPLIED, TimesRow, measured_times
from shopfloor.models import Station
from shopfloor.studies import STUDY, STUDY_WORK, ChangeAsked, study_request
from shopfloor.study_page import times_said
from tests.travelers import floor
from travelers.models import Task
from travelers.release import order_release

pytestmark = pytest.mark.django_db

CALENDAR = Calendar(ZoneInfo("America/Chicago"))
BEGIN = floor.NOW
"""Monday, 2 March 2026, 8:00 in the shop."""
END = floor.LATER
OFFICE_HAND = Actor("office", OFFICE)
CUT = ("cut", "Cut and mark")
ROLL = ("roll", "Roll")
LUCK = (0.9, 1.0, 1.1, 0.95, 1.05)
"""Its mean is 1; elbows have four pieces, so it does not go with their size."""


def scan(made, operation, code, action, at, **changes):
    found = made.scan(operation, code, action, scanned_at=at.isoformat(), **changes)
    assert found.outcome == "recorded", found.message


def work(made, operation: str, factor: float, *, at: datetime = BEGIN) -> datetime:
    """Every segment one after the other: start and finish, each by so many times its standard. When it ended."""
    tasks = Task.objects.filter(fitting__order=made.order, operation=operation).select_related("segment")
    for task, luck in zip(tasks.order_by("pk"), cycle(LUCK), strict=False):
        scan(made, operation, task.segment.code, "start", at)
        at += timedelta(minutes=task.minutes * factor * luck)
        scan(made, operation, task.segment.code, "finish", at)
    return at


@pytest.fixture
def made(shop):
    """Six elbows of four pieces: 24 segments."""
    return floor.floor(quantity=6, pieces=4)


@pytest.fixture
def cut_slowly(made):
    """Cut in half as much time again."""
    work(made, "cut", 1.5)
    return made


def measured(**changes):
    return measured_times(CALENDAR, **{"until": END} | changes)


def reasons(made, operation="cut") -> dict[str, int]:
    return dict(measured().left_out.get(operation, {}))


# -- reading -------------------------------------------------------------------------


def test_starts_and_finishes_of_the_record_are_the_measured_times(cut_slowly):
    found = measured()
    one = found.learned[CUT]
    assert (one.timings, one.pieces, one.left_out) == (24, 24, 0)
    assert one.ratio == pytest.approx(1.5, rel=0.02) and one.differs
    assert found.standard[CUT] == TimesRow(0.4, 0.1, "cut_length"), "as fixtures/tables/times.csv has it"
    assert found.proposal(CUT) == TimesRow(
        pytest.approx(0.6, rel=0.02), pytest.approx(0.15, rel=0.01), "cut_length"
    )
    timing = found.timings[CUT][0]
    assert (timing.gauge, timing.size) == (24, 14)
    assert timing.feet == pytest.approx((timing.standard - 0.4) / 0.1, abs=0.02)
    assert found.read["cut"] == 24 and not found.left_out


def test_as_planned_nothing_is_proposed(made):
    work(made, "cut", 1.0)
    found = measured()
    assert found.learned[CUT].ratio == pytest.approx(1.0, abs=0.02)
    assert found.proposal(CUT) is None


def test_a_lot_is_one_timing(made):
    scan(made, "cut", made.traveler, "start", BEGIN)
    scan(made, "cut", made.traveler, "finish", BEGIN + timedelta(minutes=48))
    (one,) = measured().timings[CUT]
    assert (one.pieces, one.minutes) == (24, pytest.approx(2.0)), "48 minutes ÷ 24 pieces"


def test_what_cannot_be_a_time_of_work_is_left_out_by_its_reason(made):
    first, second, third, fourth = (made.segment(position).code for position in (1, 2, 3, 4))
    at = [BEGIN + timedelta(minutes=10 * step) for step in range(9)]
    scan(made, "cut", first, "start", at[0])
    scan(made, "cut", first, "hold", at[1], reason="Gauge")
    scan(made, "cut", first, "resume", at[2])
    scan(made, "cut", first, "finish", at[3])
    scan(made, "cut", second, "finish", at[4])
    scan(made, "cut", third, "start", at[5])
    scan(made, "roll", third, "finish", at[6])
    moved = made.body(fourth, "start", scanned_at=at[7].isoformat())
    made.send(floor.station("cut", "CUT-2"), moved)
    scan(made, "cut", fourth, "finish", at[8])
    assert reasons(made) == {HELD: 1, NO_START: 1, IMPLIED: 1, ELSEWHERE: 1}
    assert reasons(made, "roll") == {NO_START: 1}
    assert measured().timings == {}


def test_an_own_finish_after_a_later_scan_implied_it_is_no_time(made):
    """The piece was started, rolled, and its finish at cutting came last: when it was finished is not known."""
    code = made.segment(1).code
    scan(made, "cut", code, "start", BEGIN)
    scan(made, "roll", code, "finish", BEGIN + timedelta(minutes=20))
    scan(made, "cut", code, "finish", BEGIN + timedelta(minutes=40))
    assert reasons(made) == {IMPLIED: 1}


def test_an_undone_start_is_no_start(made):
    code = made.segment(1).code
    scan(made, "cut", code, "start", BEGIN)
    scan(made, "cut", code, "undo", BEGIN + timedelta(minutes=5))
    scan(made, "cut", code, "finish", BEGIN + timedelta(minutes=10))
    assert reasons(made) == {NO_START: 1}


def test_a_clock_that_was_off_is_left_out(made):
    code = made.segment(1).code
    scan(made, "cut", code, "start", END + timedelta(days=3))
    scan(made, "cut", code, "finish", END + timedelta(days=3, minutes=1), now=END + timedelta(minutes=1))
    found = measured_times(CALENDAR, until=END + timedelta(hours=1))
    assert dict(found.left_out["cut"]) == {CLOCK: 1}


def test_an_unknown_finish_in_between_spoils_the_time(made):
    scan(made, "cut", made.segment(1).code, "start", BEGIN)
    scan(made, "cut", made.segment(2).code, "finish", BEGIN + timedelta(minutes=5))
    scan(made, "cut", made.segment(1).code, "finish", BEGIN + timedelta(minutes=9))
    assert reasons(made) == {NO_START: 1, MEANWHILE: 1}


def test_only_the_newest_are_read_and_only_up_to_the_moment(cut_slowly, monkeypatch):
    assert measured(until=BEGIN + timedelta(minutes=10)).read["cut"] < 24
    monkeypatch.setattr(reading, "NEWEST", 10)
    found = measured()
    assert found.read["cut"] == 10
    assert sum(one.pieces for one in found.timings[CUT]) in (9, 10), "the oldest may have begun before"


def test_the_queries_do_not_grow_with_the_work(made):
    counts = []
    for operation, at in (
        ("cut", BEGIN),
        ("roll", BEGIN + timedelta(hours=2)),
        ("seam", BEGIN + timedelta(hours=4)),
    ):
        work(made, operation, 1.0, at=at)
        with CaptureQueriesContext(connection) as found:
            measured()
        counts.append(len(found))
    assert counts[1] == counts[2] <= counts[0]


def test_when_the_table_goes_by_another_measure_the_old_feet_are_not_used(cut_slowly):
    change_times({CUT[:1] + ("*",): {"measure": "stretch_out"}})
    found = measured()
    assert CUT not in found.timings and found.left_out["cut"] == {NO_FEET: 24}


# -- adopting ------------------------------------------------------------------------


def change_times(changes) -> TableVersion:
    """The shop edits rows of the table, by operation and method."""
    rows = [{**row, **changes.get((row["operation"], row["method"]), {})} for row in tables.rows("times")]
    return tables.save(name="times", new_rows=rows, seen=None, note="", actor=OFFICE_HAND, now=END)


def adopt(*ways, **changes) -> TableVersion:
    given = {"seen": tables.versions_in_force()["times"], "until": END, "actor": OFFICE_HAND, "now": END}
    return times_adopt(ways=ways, **given | changes)


def test_adopted_times_are_a_new_version_and_released_orders_keep_theirs(cut_slowly):
    before = list(Task.objects.order_by("pk").values_list("pk", "minutes"))
    old = tables.rows("times")
    version = adopt(CUT)
    assert (version.number, version.made_by, version.made_at) == (2, "office", END)
    assert version.note == "Measured times: cut, Cut and mark"
    (new,) = [row for row in version.rows if row not in old]
    assert (new["operation"], new["method"], new["measure"]) == (*CUT, "cut_length")
    assert new["source"] == "Measured, 24 pieces, to 2026-03-02"
    assert [row for row in version.rows if row in old] == list(old), "the other rows stay, in their order"
    assert list(Task.objects.order_by("pk").values_list("pk", "minutes")) == before
    again = floor.floor(quantity=1, pieces=4).order
    old_minutes, new_minutes = (
        Task.objects.filter(fitting__order=order, operation="cut").earliest("pk").minutes
        for order in (cut_slowly.order, again)
    )
    assert new_minutes == pytest.approx(1.5 * old_minutes, rel=0.02), "the next release takes them"
    assert measured().proposal(CUT) is None, "what was measured is the standard now"


def test_a_row_of_the_method_itself_is_replaced_in_its_place(cut_slowly):
    change_times({("cut", "*"): {"method": CUT[1]}})
    version = adopt(CUT)
    ways = [(row["operation"], row["method"]) for row in version.rows]
    assert ways[0] == CUT and ways.count(CUT) == 1


def test_several_are_adopted_together_or_none(made):
    end = work(made, "cut", 1.5)
    work(made, "roll", 0.5, at=end)
    with pytest.raises(WrongInput, match="Nothing is proposed for seam, Lock seam"):
        adopt(CUT, ROLL, ("seam", "Lock seam"))
    assert tables.versions_in_force()["times"] == 1
    assert {(row["operation"], row["method"]) for row in adopt(CUT, ROLL).rows} >= {CUT, ROLL}
    assert tables.versions_in_force()["times"] == 2


def test_a_table_that_changed_meanwhile_is_not_overwritten(cut_slowly):
    change_times({("wrap", "*"): {"minutes_each": 3}})
    with pytest.raises(Conflict, match="Standard times is at version 2 now; you began with 1"):
        adopt(CUT, seen=1)
    assert tables.versions_in_force()["times"] == 2


def test_scans_that_came_after_the_page_do_not_change_what_is_adopted(cut_slowly):
    shown = measured(until=END).proposal(CUT)
    more = floor.floor(quantity=6, pieces=4)
    late = END + timedelta(hours=17)
    tasks = Task.objects.filter(fitting__order=more.order, operation="cut").select_related("segment")
    for at, task in enumerate(tasks):
        begin = late + timedelta(minutes=20 * at)
        for action, moment in (("start", begin), ("finish", begin + timedelta(minutes=9))):
            scan(more, "cut", task.segment.code, action, moment, now=moment)
    version = adopt(CUT, now=late + timedelta(days=1))
    (new,) = [row for row in version.rows if row["method"] == CUT[1]]
    assert (new["minutes_each"], new["minutes_per_foot"]) == (shown.each, shown.per_foot)


def test_nothing_chosen_and_versions_that_there_are_not_are_refused(cut_slowly):
    with pytest.raises(WrongInput, match="Choose at least one row to adopt"):
        adopt()
    with pytest.raises(NotFound):
        adopt(CUT, seen=7)
    assert tables.versions_in_force()["times"] == 1


# -- the simulation ------------------------------------------------------------------


def cut_hours(order, **changes) -> float:
    """Hours of cutting in the first job of an order, as the simulation takes them."""
    jobs = [job for job in floor_now(CALENDAR, now=END, **changes).jobs if job.order == order.number]
    return sum(step.hours for steps in jobs[0].segments for step in steps if step.operation == "cut")


@pytest.fixture
def stations(shop):
    for at, code in enumerate(("cut", "roll", "seam", "assemble", "ends", "wrap")):
        Station.objects.create(code=f"{code.upper()}-1", name=code, operations=[code], position=at)


def released():
    return order_release(number=floor.factories.order().number, actor=OFFICE_HAND, now=END)


def test_the_simulation_draws_the_spread_that_was_measured(cut_slowly, stations):
    found = floor_now(CALENDAR, now=END)
    assert set(found.spread) == {"cut"} and found.floor.variation["roll"] == VARIATION
    assert found.floor.variation["cut"] == found.spread["cut"] < 0.15, "the luck is at most a tenth off"


def test_it_takes_the_times_as_measured_where_that_is_asked(cut_slowly, stations):
    before = released()
    planned = cut_hours(before)
    assert cut_hours(before, times=MEASURED) == pytest.approx(1.5 * planned, rel=0.02)
    adopt(CUT)
    after = released()
    assert cut_hours(after) == pytest.approx(1.5 * planned, rel=0.02)
    assert cut_hours(after, times=MEASURED) == pytest.approx(cut_hours(after), rel=0.005)
    assert cut_hours(before) == pytest.approx(planned)
    assert cut_hours(before, times=MEASURED) == pytest.approx(1.5 * planned, rel=0.02)


def test_the_answer_says_which_times_and_which_spread(cut_slowly, stations):
    study = study_request(
        name="A second saw",
        asked=ChangeAsked({"cut": 1}, times=MEASURED),
        days=2,
        runs=5,
        actor=OFFICE_HAND,
        now=END,
    )
    assert work_once({STUDY: STUDY_WORK}, worker="test", now=lambda: END)
    study.refresh_from_db()
    spread = study.result["spread"]["cut"]
    said = times_said(study)
    assert said.startswith("Times are as measured where a method was timed often enough")
    assert f"Their spread as measured: Cut {spread:.2f}; elsewhere 0.4" in said


# -- the page ------------------------------------------------------------------------


def post(client, **changes):
    fields = {"way": [" ".join(CUT)], "seen": "1", "until": END.isoformat()}
    return client.post("/measured-times/adopt/", fields | changes)


def test_the_page_shows_proposes_and_adopts(cut_slowly, signed_in):
    client = signed_in("office")
    page = client.get("/measured-times/").content.decode()
    for words in ("0.4 + 0.1 a foot<", "cut length", "+50.", "Longer", "over 8 to 14 in", "24 ga"):
        assert words in page, words
    answer = post(client)
    assert (answer.status_code, answer.url) == (302, "/measured-times/")
    page = client.get(answer.url).content.decode()
    assert "1 measured time adopted: version 2 of the standard times is in force." in page
    assert "No sure difference" in page and "Adopt the marked ones" not in page
    assert "Measured, 24 pieces, to 2026-03-02" in client.get("/tables/times/").content.decode()


def test_what_is_refused_is_said_on_the_page(cut_slowly, signed_in):
    client = signed_in("office")
    nothing = post(client, way=[])
    assert nothing.status_code == 400 and "Choose at least one row to adopt." in nothing.content.decode()
    unknown = post(client, way=["cut Laser"])
    assert "Nothing is proposed for cut, Laser. Load the page again." in unknown.content.decode()
    change_times({("wrap", "*"): {"minutes_each": 3}})
    moved = post(client)
    assert moved.status_code == 409 and "Standard times is at version 2 now" in moved.content.decode()
    assert tables.versions_in_force()["times"] == 2


@pytest.mark.parametrize("until", ["", "yesterday", "2026-03-02T22:00:00", "2026-99-02T22:00:00+00:00"])
def test_a_moment_that_cannot_be_read_is_now(cut_slowly, signed_in, until):
    assert post(signed_in("office"), until=until).status_code == 302


def test_a_supervisor_may_look(cut_slowly, signed_in):
    client = signed_in("supervisor")
    page = client.get("/measured-times/").content.decode()
    assert "Longer" in page and 'name="way"' not in page
    assert post(client).status_code == 403
    assert tables.versions_in_force()["times"] == 1


def test_without_work_the_page_says_how_it_fills(shop, signed_in):
    page = signed_in("office").get("/measured-times/").content.decode()
    assert "Nothing measured yet" in page


def test_the_table_and_the_operations_lead_to_the_page(shop, signed_in):
    client = signed_in("office")
    for address in ("/tables/times/", "/operations/"):
        assert 'href="/measured-times/"' in client.get(address).content.decode(), address
