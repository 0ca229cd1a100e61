"""What a supervisor puts first: who may, what follows on the floor, what is kept, and what is refused."""

from __future__ import annotations

from datetime import timedelta

import pytest

from fittings.models import Order, Pin
from shared.problems import Conflict, NotAllowed, NotFound, WrongInput
from tests import factories
from tests import factories_cutting as cutting
from tests.pages import alert_of, text_of
from tests.travelers.floor import NOW, floor
from travelers.cut_plans import plan_send
from travelers.pins import pin_end, pin_set
from travelers.pulse import pulse_version
from travelers.release import order_cancel, order_release
from travelers.sheet_work import sheets_at
from travelers.station_work import queue_at

pytestmark = pytest.mark.django_db
LATER = NOW + timedelta(hours=1)
BOSS = factories.SUPERVISOR_ACTOR


def two_orders() -> tuple[Order, Order]:
    """One due on 5 March, and one of two lines due on 9 April."""
    made = []
    for due, lines in (("2026-03-05", 1), ("2026-04-09", 2)):
        draft = factories.order(
            due=due, lines=[factories.line(quantity=1, tag=f"T{n}") for n in range(lines)]
        )
        made.append(order_release(number=draft.number, actor=factories.OFFICE_ACTOR, now=NOW))
    return made[0], made[1]


def numbers(limit: int = 50) -> list[tuple[str, int]]:
    """Orders and lines of the list at cutting, each once, in order."""
    return list(dict.fromkeys((row.order, row.line) for row in queue_at(["cut"], limit=limit)))


def test_a_pinned_order_is_first_until_it_is_taken_off(shop):
    early, late = two_orders()
    by_date = [(early.number, 1), (late.number, 1), (late.number, 2)]
    assert numbers() == by_date
    pin_set(number=late.number, actor=BOSS, now=NOW)
    assert numbers() == [(late.number, 1), (late.number, 2), (early.number, 1)]
    pin_end(number=late.number, actor=BOSS, now=LATER)
    assert numbers() == by_date
    pin = Pin.objects.get()
    assert (pin.made_by, pin.made_at, pin.ended_by, pin.ended_at) == ("supervisor", NOW, "supervisor", LATER)


def test_a_pinned_line_is_first_alone(shop):
    early, late = two_orders()
    pin_set(number=late.number, line=2, actor=BOSS, now=NOW)
    assert numbers() == [(late.number, 2), (early.number, 1), (late.number, 1)]
    assert [row.choice.is_pinned for row in queue_at(["cut"], limit=6)] == [True] * 5 + [False]


def test_twice_is_once_and_every_change_is_told_at_once(shop):
    _, late = two_orders()
    seen = [pulse_version()]
    for act in (pin_set, pin_set, pin_end, pin_end, pin_set):
        act(number=late.number, line=1, actor=BOSS, now=NOW)
        seen.append(pulse_version())
    assert [after - before for before, after in zip(seen, seen[1:], strict=False)] == [1, 0, 1, 0, 1]
    assert Pin.objects.count() == 2
    assert Pin.objects.filter(ended_at=None).count() == 1


def test_a_pin_of_an_order_and_of_its_line_are_two(shop):
    early, late = two_orders()
    pin_set(number=late.number, actor=BOSS, now=NOW)
    pin_set(number=late.number, line=1, actor=BOSS, now=NOW)
    pin_end(number=late.number, actor=BOSS, now=LATER)
    assert numbers()[:2] == [(late.number, 1), (early.number, 1)]


def test_a_sheet_with_pinned_work_is_first(shop):
    sheets = []
    for due in ("2026-03-05", "2026-04-09"):
        plan = cutting.made_plan(cutting.released(factories.line(quantity=1), due=due))
        plan_send(number=plan.number, actor=factories.OFFICE_ACTOR, now=NOW)
        sheets.append(plan.sheets.get())
    first = lambda: [row.sheet.pk for row in sheets_at(["cut"])[0]]  # noqa: E731
    assert first() == [sheets[0].pk, sheets[1].pk]
    late = sheets[1].pieces.first().segment.fitting.order
    pin_set(number=late.number, actor=BOSS, now=NOW)
    assert first() == [sheets[1].pk, sheets[0].pk]


@pytest.mark.parametrize("act", [pin_set, pin_end])
@pytest.mark.parametrize("actor", [factories.OFFICE_ACTOR])
def test_only_a_supervisor_pins(shop, act, actor):
    _, late = two_orders()
    with pytest.raises(NotAllowed):
        act(number=late.number, actor=actor, now=NOW)
    assert not Pin.objects.exists()


def test_what_cannot_be_pinned_says_why(shop):
    early, late = two_orders()
    draft = factories.order()
    with pytest.raises(Conflict, match=f"Order {draft.number} is draft. Only an order on the floor"):
        pin_set(number=draft.number, actor=BOSS, now=NOW)
    order_cancel(number=early.number, actor=factories.OFFICE_ACTOR, now=NOW)
    with pytest.raises(Conflict, match="is cancelled"):
        pin_set(number=early.number, actor=BOSS, now=NOW)
    with pytest.raises(NotFound, match="There is no order 9999"):
        pin_set(number="9999", actor=BOSS, now=NOW)
    with pytest.raises(WrongInput, match=f"Line is 3; order {late.number} has 1, 2"):
        pin_set(number=late.number, line=3, actor=BOSS, now=NOW)
    assert not Pin.objects.exists()


# -- through the API -----------------------------------------------------------


def test_the_api_pins_answers_and_takes_off(api_as):
    _, late = two_orders()
    boss = api_as("supervisor")
    answer = boss.post(f"orders/{late.number}/pin/", {"line": 2})
    assert answer.status_code == 200
    body = answer.json()
    assert (body["order"], [pin["line"] for pin in body["pins"]], body["ended"]) == (late.number, [2], [])
    assert body["pins"][0]["made_by"].startswith("supervisor")
    assert boss.post(f"orders/{late.number}/pin/").json()["pins"][0]["line"] is None
    assert api_as("office").get(f"orders/{late.number}/pin/").json()["order"] == late.number
    off = boss.post(f"orders/{late.number}/unpin/", {"line": 2}).json()
    assert ([pin["line"] for pin in off["pins"]], [pin["line"] for pin in off["ended"]]) == ([None], [2])


@pytest.mark.parametrize("line", [0, -1, 501, True, "1", 1.5, [1], {}])
def test_the_api_names_the_field_the_value_and_the_limit(api_as, line):
    _, late = two_orders()
    answer = api_as("supervisor").post(f"orders/{late.number}/pin/", {"line": line})
    assert answer.status_code == 400
    error = answer.json()["errors"][0]
    assert error["field"] == "line"
    assert error["limit"] == "a whole number from 1 to 500"
    assert not Pin.objects.exists()


@pytest.mark.parametrize("role", ["", "office", "operator", "display"])
def test_nobody_else_pins_through_the_api(api_as, role):
    _, late = two_orders()
    for address in ("pin", "unpin"):
        answer = api_as(role).post(f"orders/{late.number}/{address}/")
        assert answer.status_code == (403 if role else 401)
    assert not Pin.objects.exists()


# -- on the order's page -----------------------------------------------------------


def test_the_page_pins_shows_and_takes_off(browse):
    _, late = two_orders()
    page = browse("supervisor")
    assert "Put first on the floor" in text_of(page.get(f"/orders/{late.number}/"))
    after = text_of(page.post(f"/orders/{late.number}/pin/", {"line": "2"}, follow=True))
    assert f"Line 2 of order {late.number} is first on the floor now." in after
    assert "Line 2 is first on the floor" in after.split("What happened")[1]
    assert "Lines first" in after
    whole = text_of(page.post(f"/orders/{late.number}/pin/", follow=True))
    assert "On the floor First" in whole
    page.post(f"/orders/{late.number}/pin/", {"pin": "off"})
    text = text_of(page.post(f"/orders/{late.number}/pin/", {"pin": "off", "line": "2"}, follow=True))
    assert "Line 2 is no longer first on the floor" in text.split("What happened")[1]
    assert not Pin.objects.filter(ended_at=None).exists()


def test_the_office_sees_what_is_first_and_cannot_change_it(browse):
    _, late = two_orders()
    pin_set(number=late.number, actor=BOSS, now=NOW)
    office = browse("office")
    text = text_of(office.get(f"/orders/{late.number}/"))
    assert "On the floor First" in text
    assert "Put first" not in text
    assert office.post(f"/orders/{late.number}/pin/", {"pin": "off"}).status_code == 403
    assert browse("").post(f"/orders/{late.number}/pin/").status_code in (302, 401)
    assert Pin.objects.filter(ended_at=None).exists()


def test_a_draft_is_not_pinned_by_its_page(browse):
    draft = factories.order()
    page = browse("supervisor")
    assert "first on the floor" not in text_of(page.get(f"/orders/{draft.number}/")).lower()
    answer = page.post(f"/orders/{draft.number}/pin/")
    assert answer.status_code == 409
    assert "Only an order on the floor can be pinned first." in alert_of(answer)


def test_a_made_up_line_is_refused_in_words(browse):
    _, late = two_orders()
    answer = browse("supervisor").post(f"/orders/{late.number}/pin/", {"line": "7"})
    assert answer.status_code == 400
    assert "Line is 7" in alert_of(answer)


def test_the_list_begins_with_a_pinned_piece_whoever_scans(shop):
    begun = floor(quantity=1)
    pinned = floor(quantity=1)
    pin_set(number=pinned.order.number, actor=BOSS, now=NOW)
    assert queue_at(["cut"], limit=1)[0].order == pinned.order.number
    begun.scan("cut", begun.segment(1).code, "start")
    assert [row.order for row in queue_at(["cut"], station="CUT-1", limit=2)] == [
        begun.order.number,
        pinned.order.number,
    ]
