"""What needs eyes and the tablets in use, as a program reads and settles them."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from shopfloor.models import Settlement
from tests.travelers.floor import Floor, floor

from .conftest import NOW
from .tablets import enrolled


@pytest.fixture
def supervisor(api_as):
    return api_as("supervisor")


@pytest.fixture
def on(shop) -> Floor:
    """An order with two pieces on hold at cut, the first for two hours, the second for one."""
    found = floor(quantity=1, pieces=5)
    for position, hours in ((1, 2), (2, 1)):
        at = timezone.now() - timedelta(hours=hours)
        code = found.segment(position).code
        found.scan("cut", code, "hold", reason="Damaged", now=at, scanned_at=at.isoformat())
    return found


def listed(supervisor, kind: str) -> list[dict]:
    answer = supervisor.get(f"exceptions/?kind={kind}")
    assert answer.status_code == 200, answer.content
    return answer.json()["results"]


def test_holds_are_read_oldest_first_and_settled_with_a_note(on, supervisor):
    first, second = listed(supervisor, "hold")
    assert first["code"] == on.segment(1).code
    assert first["what"] == f"Order {on.order.number}, AHU-3, gore 1"
    items = [{"item": first["item"], "since": first["since"]}]
    answer = supervisor.post("exceptions/settle/", {"kind": "hold", "items": items, "text": "Ordered."})
    assert answer.json() == {"settled": 1}
    assert [row["item"] for row in listed(supervisor, "hold")] == [second["item"]]
    [settled] = listed(supervisor, "settled")
    assert (settled["kind"], settled["how"], settled["is_note"]) == ("hold", "Ordered.", True)
    assert settled["what"] == first["what"]


@pytest.mark.parametrize("kind", ["gap", "clock", "same_id", "implied", "settled"])
def test_empty_lists_are_empty(on, supervisor, kind):
    assert listed(supervisor, kind) == []


@pytest.mark.parametrize("kind", ["", "everything"])
def test_an_unknown_kind_is_refused_naming_what_there_is(supervisor, kind):
    answer = supervisor.get(f"exceptions/?kind={kind}")
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["limit"] == "hold, left, gap, clock, same_id, implied, settled"


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"items": None}, "items"),
        ({"items": []}, "item"),
        ({"items": ["x"]}, "item"),
        ({"items": [{"item": True, "since": "2026-03-04T10:00:00Z"}]}, "item"),
        ({"items": [{"item": 1}]}, "item"),
        ({"items": [{"item": 1, "since": "2026-03-04T10:00:00Z"}] * 51}, "item"),
        ({"items": [{"item": 10**17, "since": "2026-03-04T10:00:00Z"}]}, "item"),
        ({"text": ""}, "text"),
        ({"text": 7}, "text"),
        ({"text": "x" * 501}, "text"),
        ({"kind": "all"}, "kind"),
        ({"kind": None}, "kind"),
    ],
)
def test_wrong_bodies_name_the_field_and_settle_nothing(on, supervisor, changes, field):
    items = [{"item": row["item"], "since": row["since"]} for row in listed(supervisor, "hold")]
    body = {"kind": "hold", "items": items, "text": "Seen."} | changes
    answer = supervisor.post("exceptions/settle/", body)
    assert answer.status_code == 400
    assert field in [error["field"] for error in answer.json()["errors"]]
    assert not Settlement.objects.exists()


def test_tablets_are_read_and_revoked(station, supervisor):
    tablet, client = enrolled(station(), NOW, "By the roll", by="pat")
    [row] = supervisor.get("tablets/").json()["results"]
    assert (row["name"], row["station"], row["enrolled_by"]) == ("By the roll", "ROLL-1", "pat")
    assert (row["warnings"], row["seen_at"], row["missing"]) == (["Never seen"], None, 0)
    assert supervisor.post(f"tablets/{row['id']}/revoke/").json() == {"revoked": "By the roll"}
    assert supervisor.get("tablets/").json()["results"] == []
    assert client.get("/api/v1/station/queue/").status_code == 401
    assert supervisor.post("tablets/999999/revoke/").status_code == 404
