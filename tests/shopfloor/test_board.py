"""The board's numbers, from orders released and scans recorded through the app's own doors."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fittings.models import Fitting
from shopfloor.board import QUERIES, Board, board
from shopfloor.models import Promise, Station
from shopfloor.piling import Piling
from travelers.models import Task
from travelers.pulse import pulse_version

from .floor_of_four import operation_codes, released, scan, segments, stations

ZONE = ZoneInfo("America/Chicago")
MONDAY_9 = datetime(2026, 3, 2, 9, 0, tzinfo=ZONE)
MONDAY_10 = MONDAY_9 + timedelta(hours=1)


@dataclass
class Floor:
    order: object

    def board(self, now=MONDAY_10, piling=None) -> Board:
        return board(now=now, piling=piling or Piling())

    def at(self, operation: str, now=MONDAY_10, piling=None):
        return next(one for one in self.board(now, piling).operations if one.operation == operation)


@pytest.fixture
def floor(shop):
    stations()
    return Floor(released(now=MONDAY_9, due="2026-03-06"))


def test_an_empty_shop_has_a_calm_board(shop):
    found = board(now=MONDAY_10, piling=Piling())
    assert [one.operation for one in found.operations] == operation_codes()
    assert not any(one.piling_up or one.ready or one.hours_queued for one in found.operations)
    assert found.bottleneck is None and found.short_kits == () and found.late_risk == ()
    assert {one.why for one in found.operations} == {"Nothing is queued."}


def test_a_released_order_is_ready_at_its_first_operation_and_waits_at_the_others(floor):
    cut, roll = floor.at("cut"), floor.at("roll")
    assert (cut.waiting, cut.ready, cut.running, cut.held) == (0, 20, 0, 0)
    assert (roll.waiting, roll.ready) == (20, 0)
    assert cut.oldest_ready_minutes == 60 and roll.oldest_ready_minutes is None
    minutes = sum(Task.objects.filter(operation="cut").values_list("minutes", flat=True))
    assert cut.hours_queued == pytest.approx(minutes / 60, abs=0.01)
    assert roll.hours_queued == 0


def test_counts_agree_with_the_tasks_after_every_kind_of_scan(floor):
    first, second, third, *_ = segments(floor.order)
    scan(first.code, "cut", now=MONDAY_9 + timedelta(minutes=10))
    scan(second.code, "cut", action="start", now=MONDAY_9 + timedelta(minutes=20))
    scan(third.code, "cut", action="hold", reason="gauge", now=MONDAY_9 + timedelta(minutes=30))
    cut, roll = floor.at("cut"), floor.at("roll")
    assert (cut.waiting, cut.ready, cut.running, cut.held, cut.done_today) == (0, 17, 1, 1, 1)
    assert (roll.waiting, roll.ready, roll.oldest_ready_minutes) == (19, 1, 50)
    for one in floor.board().operations:
        for state in ("waiting", "ready", "running", "held"):
            assert getattr(one, state) == Task.objects.filter(operation=one.operation, state=state).count()


def test_held_work_is_in_the_pile_but_not_in_the_queue(floor):
    before = floor.at("cut").hours_queued
    piece = segments(floor.order)[0]
    scan(piece.code, "cut", action="hold", reason="gauge", now=MONDAY_9)
    cut = floor.at("cut")
    assert cut.hours_queued < before
    assert sum(slat.hours for slat in cut.slats) == pytest.approx(before, abs=0.01)
    assert sum(slat.hours for slat in cut.slats if slat.state != "held") == pytest.approx(
        cut.hours_queued, abs=0.01
    )


def test_a_slat_is_a_fitting(floor):
    assert len(floor.at("cut").slats) == 4


def test_rates_are_of_the_last_two_working_hours(floor):
    for minute, piece in enumerate(segments(floor.order)):
        scan(piece.code, "cut", now=MONDAY_9 + timedelta(minutes=minute))
    assert floor.at("cut").finishes_per_hour == 2.5
    assert floor.at("roll").arrivals_per_hour == 2.5
    assert floor.at("cut", MONDAY_9 + timedelta(hours=4)).finishes_per_hour == 0


def test_done_today_is_the_shops_own_day(floor):
    late = datetime(2026, 3, 2, 23, 50, tzinfo=ZONE)
    scan(segments(floor.order)[0].code, "cut", now=late)
    assert floor.at("cut", late + timedelta(minutes=5)).done_today == 1
    assert floor.at("cut", late + timedelta(minutes=15)).done_today == 0


def test_ages_are_never_negative(floor):
    assert floor.at("cut", MONDAY_9 - timedelta(hours=3)).oldest_ready_minutes == 0


def test_clear_hours_follow_the_active_stations_and_the_clock(floor):
    assert floor.at("seam").hours_clear == pytest.approx(2 * floor.at("cut").hours_clear, abs=0.01)
    assert floor.at("cut", MONDAY_10 + timedelta(hours=3)).hours_clear < floor.at("cut").hours_clear
    assert floor.at("cut", datetime(2026, 3, 7, 12, tzinfo=ZONE)).hours_clear == 7.75, "a Saturday"
    Station.objects.filter(code="SEAM-2").update(is_active=False)
    assert floor.at("seam").stations == 1


def test_a_queue_longer_than_the_shift_piles_up_with_a_reason(floor):
    Task.objects.filter(operation="cut").update(minutes=60)
    cut = floor.at("cut")
    assert cut.piling_up
    assert (
        cut.why
        == f"20.0 h queued, {20 - cut.hours_clear:.1f} h more than it will clear today. 20 gores of 1 order. "
        "Roll starves now."
    )
    found = floor.board()
    assert found.bottleneck.operation == "cut"
    assert found.bottleneck.load == pytest.approx(20 / cut.hours_clear, abs=0.01)
    assert [one.operation for one in found.piling] == ["cut"]


def test_piling_up_stays_on_within_the_dead_band(floor, tmp_path):
    """And so it does in another process, which shares the file."""
    clears = floor.at("cut").hours_clear

    def piles_up(load: float, piling: Piling) -> bool:
        Task.objects.filter(operation="cut").update(minutes=clears * load * 60 / 20)
        return floor.at("cut", piling=piling).piling_up

    one, other = (Piling(tmp_path / "piling.json") for _ in range(2))
    seen = [
        piles_up(load, who)
        for load, who in ((0.9, one), (1.05, one), (0.9, other), (0.75, other), (0.9, one))
    ]
    assert seen == [False, True, True, False, False]


def test_a_broken_memory_of_what_piled_up_does_not_matter(floor, tmp_path):
    path = tmp_path / "piling.json"
    path.write_text("{")
    assert not floor.at("cut", piling=Piling(path)).piling_up
    Task.objects.filter(operation="cut").update(minutes=60)
    assert floor.at("cut", piling=Piling(tmp_path / "gone" / "piling.json")).piling_up


def test_a_kit_short_of_a_gore_says_which_and_where(floor):
    pieces = segments(floor.order)
    for piece in pieces[:1] + pieces[2:]:
        scan(piece.code, "seam", now=MONDAY_9)
    scan(pieces[1].code, "cut", now=MONDAY_9 + timedelta(minutes=5))
    (kit,) = floor.board().short_kits
    assert (kit.fitting, kit.order) == (pieces[0].fitting.code, floor.order.number)
    assert (kit.segments, kit.done, kit.due) == (5, 4, "2026-03-06")
    (gone,) = kit.missing
    assert (gone.segment, gone.position, gone.operation, gone.state) == (pieces[1].code, 2, "roll", "ready")
    assert gone.since == "2026-03-02T09:05:00-06:00"


def test_kits_are_listed_with_the_fewest_missing_first_and_complete_ones_not_at_all(floor):
    for fitting, done in ((1, 5), (2, 1), (3, 4)):
        for piece in segments(floor.order, fitting)[:done]:
            scan(piece.code, "seam", now=MONDAY_9)
    found = floor.board()
    assert [kit.done for kit in found.short_kits] == [4, 1]
    assert found.short_kits_more == 0


def test_a_scrapped_gore_is_missing_until_it_is_made_again(floor):
    pieces = segments(floor.order)
    for piece in pieces:
        scan(piece.code, "seam", now=MONDAY_9)
    assert floor.board().short_kits == ()
    scan(pieces[3].code, "seam", action="scrap", reason="torn", now=MONDAY_9 + timedelta(minutes=1))
    (kit,) = floor.board().short_kits
    assert [(one.position, one.generation, one.operation) for one in kit.missing] == [(4, 2, "cut")]


def test_orders_at_risk_are_due_soon_with_more_work_than_time(floor):
    assert floor.board().late_risk == (), "due on Friday"
    Task.objects.filter(operation="cut").update(minutes=100)
    (late,) = floor.board(MONDAY_9 + timedelta(days=2)).late_risk
    assert (late.order, late.due, late.fittings_open, late.days_overdue) == (
        floor.order.number,
        "2026-03-06",
        4,
        0,
    )
    assert late.hours_of_work > late.hours_left > 0


def test_an_overdue_order_is_at_risk_whatever_is_left(floor):
    (late,) = floor.board(datetime(2026, 3, 9, 9, tzinfo=ZONE)).late_risk
    assert (late.days_overdue, late.hours_left) == (3, 0)
    assert late.why.startswith("3 days overdue, ")


def test_a_promise_of_the_last_day_of_work_stands_beside_an_order_at_risk(floor):
    late_in_the_week = datetime(2026, 3, 9, 9, tzinfo=ZONE)
    (late,) = floor.board(late_in_the_week).late_risk
    assert (late.likely_at, late.sure_at) == (None, None)

    def promised(asked_at: datetime, hour: int) -> None:
        Promise.objects.create(
            order=floor.order,
            state=Promise.State.MADE,
            asked_at=asked_at,
            likely_at=datetime(2026, 3, 9, hour, tzinfo=ZONE),
            sure_at=datetime(2026, 3, 10, hour, tzinfo=ZONE),
        )

    promised(datetime(2026, 3, 5, 12, tzinfo=ZONE), 11)
    assert floor.board(late_in_the_week).late_risk == (late,), "of Thursday"
    promised(datetime(2026, 3, 6, 12, tzinfo=ZONE), 13)
    promised(datetime(2026, 3, 9, 8, tzinfo=ZONE), 14)
    (kept,) = floor.board(late_in_the_week).late_risk
    assert (kept.likely_at, kept.sure_at) == ("2026-03-09T14:00:00-05:00", "2026-03-10T14:00:00-05:00")


def test_finished_fittings_are_counted_against_what_the_due_dates_ask_for(floor):
    """On Monday four are due by Friday: ⌈4 ÷ 5⌉ = 1. With four more due today it is 4 ÷ 1, more than 8 ÷ 5."""
    found = floor.board()
    assert (found.finished_today, found.planned_today) == (0, 1)
    urgent = released(now=MONDAY_9, due="2026-03-02")
    assert floor.board().planned_today == 4
    for code in Fitting.objects.filter(order=urgent).values_list("code", flat=True)[:2]:
        scan(code, "wrap", now=MONDAY_9)
    found = floor.board()
    assert (found.finished_today, found.planned_today) == (2, 4), "what is finished was planned too"
    assert floor.board(MONDAY_10 + timedelta(days=1)).finished_today == 0
    assert found.as_dict()["finished_today"] == 2 and found.as_dict()["planned_today"] == 4


def test_a_station_that_did_nothing_while_work_lay_there_is_told_to_help(floor):
    Task.objects.filter(operation="cut").update(minutes=60)
    after_two_hours = MONDAY_9 + timedelta(hours=2, minutes=15)
    assert floor.at("cut", after_two_hours).why.endswith(" CUT-1 can do it and is idle.")
    scan(segments(floor.order)[0].code, "cut", now=MONDAY_10)
    assert "idle" not in floor.at("cut", after_two_hours).why
    scan(segments(floor.order)[1].code, "cut", action="start", now=MONDAY_10)
    assert "idle" not in floor.at("cut", MONDAY_9 + timedelta(hours=5)).why, "it has a piece in work"
    assert "idle" not in floor.at("cut", datetime(2026, 3, 2, 20, tzinfo=ZONE)).why, "after work"


def test_an_operation_without_a_station_says_which_one_could(floor):
    Station.objects.filter(code="CUT-1").update(is_active=False)
    assert floor.at("cut").why.endswith(
        "and no active station does it. 20 gores of 1 order. Roll starves now. CUT-1 can do it and is not in use."
    )


def test_finished_orders_are_gone_from_the_board(floor):
    for code in Fitting.objects.values_list("code", flat=True):
        scan(code, "wrap", now=MONDAY_9)
    found = floor.board(datetime(2026, 3, 9, 9, tzinfo=ZONE))
    assert found.late_risk == () and found.short_kits == ()
    assert sum(one.waiting + one.ready for one in found.operations) == 0
    assert floor.at("wrap").done_today == 4


def test_the_version_is_the_pulse_and_the_answer_is_plain(floor):
    found = floor.board()
    assert found.version == pulse_version()
    body = found.as_dict()
    assert body["as_of"] == "2026-03-02T10:00:00.000-06:00"
    assert "slats" not in body["operations"][0]
    assert b'"operation":"cut"' in found.as_json()


def test_the_number_of_queries_does_not_depend_on_the_work(floor):
    def queries() -> int:
        with CaptureQueriesContext(
            connection,
        ) as seen:
            floor.board()
        return len(seen)

    floor.board()
    scan(segments(floor.order)[0].code, "seam", now=MONDAY_9)
    few = queries()
    for number in range(3):
        order = released(now=MONDAY_9, due="2026-03-03")
        scan(segments(order, number + 1)[0].code, "seam", now=MONDAY_9)
    assert queries() == few <= QUERIES


@pytest.mark.parametrize(
    ("function", "index"),
    [
        ("totals", "task_open_by_operation"),
        ("work_lying", "task_open_by_operation"),
        ("finished", "task_done_by_time"),
        ("arrivals_since", "task_arrivals"),
        ("fittings_due", "fitting_done_by_day"),
        ("fittings_due", "fitting_open_by_order"),
    ],
)
def test_no_query_walks_the_finished_tasks(floor, function, index):
    """The plan says which index is used; a scan of the whole table would be named.

    PostgreSQL reads a small table whole, whatever its indexes: told not to, and with fittings finished long ago
    counted, it shows whether an index answers.
    """
    from shopfloor import open_work

    finished_long_ago(floor.order, fittings=2000)
    codes = operation_codes()
    calls = {
        "totals": open_work.totals,
        "work_lying": lambda: open_work.work_lying(codes),
        "finished": lambda: open_work.finished(codes, midnight=MONDAY_9, since=MONDAY_10),
        "arrivals_since": lambda: open_work.arrivals_since(codes, since=MONDAY_9),
        "fittings_due": lambda: open_work.fittings_due(midnight=MONDAY_9),
    }
    with CaptureQueriesContext(connection) as seen:
        calls[function]()
    assert len(seen)
    for query in seen:
        plan = plan_of(query["sql"])
        assert index in plan, plan
        assert "SCAN t /" not in plan + " /", plan
        assert "Seq Scan on travelers_task" not in plan, plan


def finished_long_ago(order, *, fittings: int) -> None:
    """Fittings of the order's first line, each with its tasks, that were finished a year before."""
    line, long_ago = order.lines.first(), MONDAY_9 - timedelta(days=365)
    made = Fitting.objects.bulk_create(
        Fitting(
            order=order,
            line=line,
            number=10_000 + at,
            code=f"Z{at:09}",
            traveler_code=f"Z{at:09}",
            state="done",
            done_at=long_ago,
        )
        for at in range(fittings)
    )
    done = {"state": "done", "step": 1, "ready_at": long_ago, "finished_at": long_ago}
    Task.objects.bulk_create(
        Task(fitting=fitting, operation_id=code, **done) for fitting in made for code in operation_codes()
    )
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE fittings_fitting")
        cursor.execute("ANALYZE travelers_task")


def plan_of(sql: str) -> str:
    """How the database answers a statement, the steps in one line."""
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("EXPLAIN QUERY PLAN " + sql)
            return " / ".join(row[3] for row in cursor.fetchall())
        cursor.execute("SET LOCAL enable_seqscan = off")
        cursor.execute("EXPLAIN " + sql)
        return " / ".join(row[0] for row in cursor.fetchall())
