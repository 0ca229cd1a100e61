"""Replay finds every difference between what is stored and what the record says, and mends it if asked."""

from __future__ import annotations

import pytest
from django.core.management import call_command

from fittings.models import Fitting, Order, Segment
from tests.travelers.floor import Floor, floor, station
from travelers.models import Scan, Task
from travelers.replay import replay

pytestmark = pytest.mark.django_db


@pytest.fixture
def on(shop) -> Floor:
    made = floor()
    made.scan("cut", made.traveler)
    made.scan("roll", made.segment(1).code, "scrap", reason="Torn")
    made.scan("wrap", made.fittings[1].code)
    return made


def test_a_true_state_has_no_differences(on):
    found = replay(write=False)
    assert (found.fittings, found.scans, found.differences) == (2, 3, [])


SPOILED = [
    (Task, {"operation": "cut", "segment__position": 1, "segment__generation": 1}, {"state": "ready"}),
    (Task, {"operation": "cut", "segment__position": 2}, {"is_implied": True}),
    (Task, {"operation": "roll", "segment__position": 3}, {"finished_at": "2026-03-02T15:00:00Z"}),
    (Task, {"operation": "cut", "segment__position": 3}, {"station": "CUT-9"}),
    (Task, {"operation": "cut", "segment__position": 3}, {"badge": "X"}),
    (Segment, {"position": 1, "generation": 1}, {"state": "open"}),
    (Segment, {"position": 2}, {"state": "void"}),
    (Fitting, {"number": 2}, {"state": "open"}),
    (Fitting, {"number": 2}, {"done_at": None}),
    (Order, {}, {"fittings_done": 2}),
    (Order, {}, {"state": "done"}),
    (Order, {}, {"ended_at": "2026-03-02T15:00:00Z"}),
]


@pytest.mark.parametrize(("model", "which", "change"), SPOILED)
def test_each_stored_fact_that_was_tampered_with_is_found(on, model, which, change):
    row = model.objects.filter(**which).order_by("pk").first()
    model.objects.filter(pk=row.pk).update(**change)
    assert replay(write=False).differences
    with pytest.raises(SystemExit) as ended:
        call_command("replay", "--check")
    assert ended.value.code == 1


@pytest.mark.parametrize(("model", "which", "change"), SPOILED)
def test_replay_mends_it_from_the_record_alone(on, model, which, change):
    before = {one: list(one.objects.order_by("pk").values()) for one in (Task, Segment, Fitting, Order)}
    row = model.objects.filter(**which).order_by("pk").first()
    model.objects.filter(pk=row.pk).update(**change)
    replay(write=True)
    assert replay(write=False).differences == []
    assert {one: list(one.objects.order_by("pk").values()) for one in before} == before


def test_checking_changes_nothing(on):
    Task.objects.filter(operation="cut").update(state="ready")
    before = list(Task.objects.order_by("pk").values())
    replay(write=False)
    assert list(Task.objects.order_by("pk").values()) == before


def test_the_command_says_equal_and_ends_well(on, capsys):
    call_command("replay", "--check")
    assert capsys.readouterr().out.strip() == "2 fittings, 3 scans: equal."


def test_a_record_with_everything_in_it_replays_to_the_same(on):
    code = on.segment(2).code
    on.scan("roll", code, "start")
    on.scan("roll", code, "hold", reason="x")
    on.scan("roll", code, "resume")
    late = on.body(code, "finish")
    on.scan("seam", code)
    on.scan("seam", code, "undo")
    on.send(station("roll"), late)
    on.scan("cut", on.segment(1, generation=2).code, "scrap")
    assert Scan.objects.filter(outcome="recorded").count() > 8
    stored = list(Task.objects.order_by("pk").values())
    assert replay(write=True).differences == []
    assert list(Task.objects.order_by("pk").values()) == stored
