"""The demo shop is filled once for this module, in a transaction that is rolled back at its end."""

from __future__ import annotations

from collections import Counter
from datetime import UTC, datetime

import pytest
from django.contrib.auth.hashers import PBKDF2PasswordHasher
from django.db import transaction

from fittings.geometry import KINDS
from fittings.models import Customer, CutPlan, CutSheet, Order, OrderLine, Segment
from shared.problems import Conflict
from shopfloor.board import board
from shopfloor.demo import demo_fill, demo_sign_ins
from shopfloor.floor_plan import room_of
from shopfloor.floor_plan_page import floor_read
from shopfloor.flow.room import changed_places
from shopfloor.models import Person, Station
from shopfloor.piling import Piling
from travelers.cut_work import cut_work
from travelers.models import Operator, Scan, Task
from travelers.replay import replay
from travelers.sheet_work import sheets_at

NOW = datetime(2026, 3, 4, 16, 0, tzinfo=UTC)  # a Wednesday, 10:00 in the shop


@pytest.fixture(scope="module")
def filled(django_db_setup, django_db_blocker):
    """The demo as of NOW, and what filling said; rolled back afterwards."""
    rounds = PBKDF2PasswordHasher.iterations
    PBKDF2PasswordHasher.iterations = 1000
    with django_db_blocker.unblock(), transaction.atomic():
        yield demo_fill(now=NOW)
        transaction.set_rollback(True)
    PBKDF2PasswordHasher.iterations = rounds


def test_everything_the_story_tells_has_happened_by_now(filled):
    assert filled.orders >= 40
    assert filled.unfinished == 0
    assert filled.scans == Scan.objects.count()
    assert Scan.objects.filter(received_at__gt=NOW).count() == 0


def test_the_stored_state_equals_the_record(filled):
    assert replay(write=False).differences == []


def test_the_floor_plan_has_something_to_improve(filled):
    floor = floor_read(days=10, now=NOW)
    traffic = floor.lately.traffic(floor.stands.things, floor.room.carried)
    assert floor.stands.travel.crossings and not all(one.is_kept for one in floor.stands.checks)
    trips = {ends: float(one.trips) for ends, one in traffic.items()}
    found = changed_places(room_of(floor.room), floor.stands.things, trips)
    assert 0 < found.feet < 0.8 * found.before


def test_codes_are_the_same_every_time(filled):
    """Printed demo papers stay valid: the mark is fixed and numbers follow from the story."""
    codes = list(Operator.objects.order_by("pk").values_list("code", flat=True))
    assert codes[:2] == ["DX00004", "DX00012"]
    assert all(code.startswith("DX") for code in Segment.objects.values_list("code", flat=True))


def test_all_stages_are_there(filled):
    states = Counter(Order.objects.values_list("state", flat=True))
    assert states["done"] >= 8
    assert states["draft"] >= 4
    assert states["cancelled"] >= 2
    assert states["released"] >= 20
    untouched = Order.objects.filter(state="released").exclude(fittings__scan_targets__isnull=False)
    assert untouched.distinct().count() >= 2
    for operation in ("cut", "roll", "seam", "assemble", "ends", "wrap"):
        at = Task.objects.filter(operation=operation)
        assert at.filter(state="done").exists(), operation
        assert at.filter(state__in=("ready", "running")).exists(), operation


def test_the_floor_has_its_troubles(filled):
    assert Task.objects.filter(state="held").exclude(reason="").exists()
    assert Segment.objects.filter(state="scrapped").count() == 2
    assert Segment.objects.filter(generation=2, state="done").exists()
    assert Segment.objects.filter(generation=2, state="open").exists()
    assert Task.objects.filter(is_implied=True).exists()
    assert Scan.objects.filter(outcome="refused").exists()
    assert Scan.objects.filter(action="undo", outcome="recorded").exists()


def test_the_board_shows_a_pile_at_roll_short_kits_and_an_order_at_risk(filled):
    shown = board(now=NOW, piling=Piling())
    assert [one.operation for one in shown.piling] == ["roll"]
    assert shown.bottleneck.operation == "roll"
    assert 3 <= len(shown.short_kits) <= 10
    assert any(one.why.startswith("1 day overdue") for one in shown.late_risk)
    assert any("until then" in one.why for one in shown.late_risk)
    rates = {one.operation: one.finishes_per_hour for one in shown.operations}
    assert all(rate > 0 for rate in rates.values()), rates


@pytest.mark.parametrize("hour", [3, 13, 23])
def test_the_pile_is_there_at_any_hour(filled, hour):
    shown = board(now=NOW.replace(hour=hour), piling=Piling())
    assert [one.operation for one in shown.piling] == ["roll"]


def test_the_variety_of_a_shop(filled):
    every = list(OrderLine.objects.all())
    assert {line.kind for line in every} == set(KINDS)
    lines = [line for line in every if line.kind == "gored_elbow"]
    assert min(line.params["diameter"] for line in lines) <= 4
    assert max(line.params["diameter"] for line in lines) == 60
    assert {"galvanized", "stainless", "aluminum"} <= {line.material for line in lines}
    assert {"raw", "flange", "swage", "hem"} <= {line.end_b for line in lines}
    angles = {line.params["angle"] for line in lines}
    assert min(angles) == 15
    assert max(angles) > 90
    plates = [line for line in lines if line.params["diameter"] == 60]
    assert all(len(segment["plates"]) == 2 for segment in plates[0].development["segments"])
    elbows = Task.objects.filter(operation="assemble", fitting__line__kind="gored_elbow")
    methods = set(elbows.values_list("method", flat=True))
    assert methods == {"Weld gores", "Press standing seams"}
    due = [order.due_on for order in Order.objects.exclude(state__in=("done", "cancelled"))]
    assert min(due) < NOW.date() < max(due)
    assert len(set(Order.objects.values_list("priority", flat=True))) >= 4


def test_one_cut_plan_is_on_the_floor_and_one_can_still_be_sent(filled):
    assert list(CutPlan.objects.order_by("number").values_list("state", flat=True)) == ["sent", "made"]
    sheets = CutSheet.objects.filter(plan__state="sent")
    assert sheets.count() >= 2
    assert all(code.startswith("DX") for code in sheets.values_list("code", flat=True))
    station = Station.objects.get(code="CUT-1")
    shown, total = sheets_at(station.operations)
    assert total == sheets.count()
    assert cut_work(today=NOW.date()), "some work still waits for a plan"


def test_people_stations_and_customers_are_there(filled):
    assert set(Person.objects.values_list("username", "role")) == {
        ("office", "office"),
        ("supervisor", "supervisor"),
        ("display", "display"),
    }
    needed = {"CUT-1", "ROLL-1", "SEAM-1", "SEAM-2", "SEAM-3", "ASSEMBLE-1", "ENDS-1", "WRAP-1"}
    assert needed <= set(Station.objects.values_list("code", flat=True))
    assert Operator.objects.filter(is_active=True).count() >= 10
    assert Customer.objects.count() == 6


def test_sign_ins_hold_while_the_demo_passwords_do(filled):
    assert {one.name for one in demo_sign_ins()} == {"office", "supervisor", "display"}
    office = Person.objects.get(username="office")
    before = office.password
    office.set_password("a password of their own")
    office.save(update_fields=["password"])
    assert {one.name for one in demo_sign_ins()} == {"supervisor", "display"}
    Person.objects.filter(pk=office.pk).update(password=before)


def test_a_shop_in_use_is_left_alone(filled):
    counts = Order.objects.count(), Person.objects.count(), Scan.objects.count()
    with pytest.raises(Conflict):
        demo_fill(now=NOW)
    assert (Order.objects.count(), Person.objects.count(), Scan.objects.count()) == counts


@pytest.mark.django_db
def test_no_sign_ins_in_a_shop_that_is_no_demo():
    with transaction.atomic():
        Person.objects.all().delete()
        assert demo_sign_ins() == []
        transaction.set_rollback(True)
