"""Days added up from the record: kept as computed, and dropped where a late scan, a scrap or a cancel changes them."""

from __future__ import annotations

import random
from datetime import date, datetime, time, timedelta

import pytest
from django.core.management import call_command
from django.utils import timezone

from fittings.models import Order
from shared.jobs import work_once
from shopfloor.flow.figures import FLOOR
from shopfloor.flow_days import (
    FLOW_DAYS,
    FLOW_DAYS_WORK,
    cells_kept,
    flow_days_ask,
    flow_days_bring_up,
    flow_days_drop,
    last_over,
)
from shopfloor.flow_read import day_read, here_now, lines_of
from shopfloor.models import FlowCell, FlowDay
from shopfloor.working_time import shop_calendar
from tests.factories import OFFICE_ACTOR
from tests.shopfloor.floor_of_four import released, scan, segments, stations
from travelers.models import Operator, Scan, Task
from travelers.release import order_cancel

pytestmark = pytest.mark.django_db

MON, TUE, WED, THU, FRI = (date(2026, 3, day) for day in (2, 3, 4, 5, 6))


def at(day: date, hour: float = 10) -> datetime:
    return datetime.combine(day, time(0), timezone.get_default_timezone()) + timedelta(hours=hour)


@pytest.fixture
def order(shop) -> Order:
    stations()
    return released(now=at(MON, 8))


def kept(**filters) -> dict:
    """By (day, operation): (came, finished, missed, first pass)."""
    found: dict = {}
    for day, place, _, cell in cells_kept(MON, FRI, **filters):
        numbers = (cell.arrived, cell.finished, cell.implied, cell.first_pass)
        before = found.get((day, place), (0, 0, 0, 0))
        found[day, place] = tuple(map(sum, zip(before, numbers, strict=True)))
    return found


def days() -> set[date]:
    return set(FlowDay.objects.values_list("day", flat=True))


def is_as_computed() -> None:
    """Every kept day holds what the tasks say now."""
    calendar = shop_calendar()
    for day in days():
        fresh = day_read(day, calendar)
        lines = lines_of(line for _, line in fresh.cells)
        stored = {
            (place, line.order, line.gauge, line.size_in): cell
            for _, place, line, cell in cells_kept(day, day)
        }
        assert stored == {
            (place, lines[line].order, lines[line].gauge, lines[line].size_in): cell
            for (place, line), cell in fresh.cells.items()
        }
        assert FlowDay.objects.get(pk=day).rises == fresh.rises


def test_a_day_says_what_came_and_what_was_done(order):
    first, second, *_ = segments(order)
    scan(first.code, "cut", now=at(MON, 9))
    scan(first.code, "roll", now=at(TUE, 9))
    scan(second.code, "roll", now=at(TUE, 10))  # its cut was missed
    assert flow_days_bring_up(now=at(WED, 8)) == []
    assert days() == {MON, TUE}
    assert kept() == {
        (MON, FLOOR): (4, 0, 0, 0),
        (MON, "cut"): (20, 1, 0, 1),
        (MON, "roll"): (1, 0, 0, 0),
        (TUE, "cut"): (0, 1, 1, 1),
        (TUE, "roll"): (1, 2, 0, 2),
        (TUE, "seam"): (2, 0, 0, 0),
    }
    line = next(line for _, _, line, _ in cells_kept(MON, MON))
    assert (line.order, line.kind, line.gauge, line.size_in) == (order.number, "gored_elbow", 24, 14.0)
    now = {place: cell.arrived for (place, _), cell in here_now().items()}
    assert now == {FLOOR: 4, "cut": 18, "seam": 2}
    is_as_computed()


def test_the_day_that_is_on_is_not_kept_nor_one_that_has_just_ended(order):
    assert flow_days_bring_up(now=at(TUE, 0.5)) == [] and days() == set()
    assert last_over(at(TUE, 1.5), shop_calendar()) == MON
    flow_days_bring_up(now=at(TUE, 1.5))
    assert days() == {MON}


def test_a_scan_of_today_drops_no_day_and_a_late_one_drops_its_own(order):
    first, second, third, *_ = segments(order)
    scan(first.code, "cut", now=at(MON, 9))
    flow_days_bring_up(now=at(WED, 8))
    before = {row.pk for row in FlowCell.objects.all()}
    scan(first.code, "roll", now=at(WED, 9))
    flow_days_bring_up(now=at(WED, 10))
    assert {row.pk for row in FlowCell.objects.all()} == before, "nothing was made again"
    scan(second.code, "cut", now=at(WED, 11), scanned_at=at(TUE, 15).isoformat())
    flow_days_bring_up(now=at(WED, 12))
    monday = {row.pk for row in FlowCell.objects.filter(day=MON)}
    assert monday <= before and kept()[TUE, "cut"] == (0, 1, 0, 1) and kept()[TUE, "roll"] == (1, 0, 0, 0)
    scan(third.code, "roll", now=at(WED, 13), scanned_at=at(MON, 12).isoformat())
    flow_days_bring_up(now=at(WED, 14))
    assert kept()[MON, "cut"] == (20, 2, 1, 2)
    is_as_computed()


def test_a_scan_that_says_that_it_was_no_miss_changes_the_day_of_the_finish(order):
    first, *_ = segments(order)
    scan(first.code, "roll", now=at(MON, 9))
    flow_days_bring_up(now=at(WED, 8))
    assert kept()[MON, "cut"] == (20, 1, 1, 1)
    scan(first.code, "cut", now=at(WED, 9))
    flow_days_bring_up(now=at(WED, 10))
    assert kept()[MON, "cut"] == (20, 1, 0, 1)
    is_as_computed()


def test_scrap_is_counted_where_and_when_it_was_and_takes_the_first_pass_back(order):
    first, *_ = segments(order)
    scan(first.code, "cut", now=at(MON, 9))
    flow_days_bring_up(now=at(TUE, 8))
    assert kept()[MON, "cut"][-1] == 1
    scan(first.code, "roll", now=at(TUE, 9), action="scrap", reason="Cut wrong")
    again = next(one for one in segments(order) if one.generation == 2)
    scan(again.code, "cut", now=at(TUE, 10))
    flow_days_bring_up(now=at(WED, 8))
    assert kept()[MON, "cut"] == (20, 1, 0, 0)
    assert (MON, "roll") not in kept(), "it is void: it never came to be rolled"
    assert kept()[TUE, "cut"] == (1, 1, 0, 0), "made again: no first pass"
    scraps = [(place, dict(cell.scrap)) for _, place, _, cell in cells_kept(TUE, TUE) if cell.scrap]
    assert scraps == [("roll", {"Cut wrong": 1})]
    is_as_computed()


def test_a_cancelled_order_was_never_there(order):
    other = released(now=at(MON, 9), lines=[dict(order_line(), quantity=1)])
    scan(segments(other)[0].code, "cut", now=at(MON, 10))
    flow_days_bring_up(now=at(TUE, 8))
    assert kept()[MON, FLOOR][0] == 5
    order_cancel(number=other.number, actor=OFFICE_ACTOR, now=at(TUE, 9))
    flow_days_bring_up(now=at(TUE, 10))
    assert kept()[MON, FLOOR][0] == 4
    assert kept()[MON, "cut"] == (21, 1, 0, 1), "what was done before stays done"
    is_as_computed()


def order_line() -> dict:
    from tests.factories import line

    return line()


def test_other_working_hours_drop_all_days(order):
    from fittings import tables

    flow_days_bring_up(now=at(TUE, 8))
    version = tables.versions_in_force()["holidays"]
    tables.save(
        name="holidays",
        new_rows=[{"day": "2026-12-25", "name": "", "source": "test"}],
        note="",
        actor=OFFICE_ACTOR,
        now=at(TUE, 9),
        seen=version,
    )
    pk = FlowCell.objects.order_by("pk").first().pk
    flow_days_bring_up(now=at(TUE, 10))
    assert days() == {MON} and not FlowCell.objects.filter(pk=pk).exists()


@pytest.mark.parametrize("seed", (11, 13))
def test_scans_in_any_order_give_the_figures_of_a_fresh_start(order, seed):
    """A week of scans, many late, some scrapped or undone: what was kept on the way is what is made anew at the end."""
    chance = random.Random(seed)
    now = at(MON, 9)
    steps = ("cut", "roll", "seam", "assemble", "ends", "wrap")
    for _ in range(120):
        now += timedelta(hours=chance.choice((0.2, 0.5, 2)))
        piece = chance.choice(segments(order, chance.randint(1, 2)))
        operation = chance.choice(steps[: 3 if chance.random() < 0.8 else 6])
        action = chance.choices(("finish", "start", "hold", "resume", "scrap"), (20, 6, 2, 4, 2))[0]
        late = timedelta(hours=chance.choice((0, 0, 0, 1, 30)))
        deliver(piece, operation, action, now, now - late, chance)
        if chance.random() < 0.15:
            flow_days_bring_up(now=now, most=10)
    flow_days_bring_up(now=now, most=10)
    assert len(days()) >= 3 and Scan.objects.filter(outcome="recorded", action="scrap").exists()
    assert Scan.objects.filter(outcome="recorded", action="undo").exists()
    is_as_computed()
    kept_on_the_way = sorted(map(repr, cells_kept(MON, date(2026, 4, 1))))
    flow_days_drop(now=now)
    assert days() == set()
    flow_days_bring_up(now=now, most=10)
    assert sorted(map(repr, cells_kept(MON, date(2026, 4, 1)))) == kept_on_the_way


def deliver(piece, operation, action, now, scanned, chance) -> None:
    """A scan as a tablet would send it, refused or not; now and then the last one is undone."""
    import uuid

    from shared.roles import OPERATOR, Actor
    from travelers.record import scan_record

    last = Scan.objects.filter(outcome="recorded").order_by("-sequence").first()
    body = {"id": str(uuid.uuid4()), "code": piece.code, "action": action}
    if last and chance.random() < 0.06:
        body = {"id": str(uuid.uuid4()), "code": last.code, "action": "undo", "undoes": last.scan_id}
        operation = last.operations.split()[0]
    scan_record(
        delivery=body
        | {"badge": Operator.objects.first().code, "scanned_at": scanned.isoformat(), "reason": "Bent"},
        actor=Actor(f"{operation.upper()}-1", OPERATOR, f"{operation.upper()}-1", (operation,)),
        now=now,
    )


def test_a_rebuilt_state_drops_what_was_added_up_from_the_wrong_one(order, capsys):
    first, *_ = segments(order)
    scan(first.code, "cut", now=at(MON, 9))
    Task.objects.filter(segment=first, operation="cut").update(finished_at=at(TUE, 9))
    flow_days_bring_up(now=at(WED, 8))
    assert (TUE, "cut") in kept()
    call_command("replay")
    assert days() == set()
    flow_days_bring_up(now=at(WED, 8))
    assert kept()[MON, "cut"] == (20, 1, 0, 1) and (TUE, "cut") not in kept()
    call_command("replay")
    assert days() == {MON, TUE}, "nothing was wrong: nothing is dropped"


def test_more_than_a_page_waits_for_is_left_to_the_worker(order):
    now = at(MON, 8) + timedelta(days=12)
    assert len(flow_days_bring_up(now=now, most=5)) == 7
    assert max(days()) == last_over(now, shop_calendar()), "the newest first"
    flow_days_ask(asked_by="office", now=now)
    flow_days_ask(asked_by="office", now=now)
    assert work_once({FLOW_DAYS: FLOW_DAYS_WORK}, worker="test")
    first = Order.objects.get().released_at.astimezone(timezone.get_default_timezone()).date()
    assert min(days()) == first and flow_days_bring_up(now=now, most=0) == []
