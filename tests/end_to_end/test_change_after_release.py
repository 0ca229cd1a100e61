"""A released order is changed on its page: what it means is seen first, and who scans an old code is told."""

from __future__ import annotations

import re
import uuid
from datetime import UTC, date, datetime, timedelta

import pytest
from playwright.sync_api import Page, expect

from fittings.models import Fitting, KeptPiece, Order, Segment
from shared.roles import OFFICE, OPERATOR, Actor
from tests.factories import elbow_params, line
from travelers.models import Traveler
from travelers.replay import replay

from .tablets import bar

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

NUMBER = "2042"


@pytest.fixture
def order(shop) -> Order:
    """Three lines on the floor: six elbows, two of another size, and two of which one segment is cut."""
    from fittings.orders import order_create
    from travelers.release import order_release

    actor = Actor("office", OFFICE)
    lines = [
        line(quantity=6, tag="AHU-1"),
        line(quantity=2, tag="AHU-2", params=elbow_params(diameter=12)),
        line(quantity=2, tag="AHU-3", params=elbow_params(diameter=10)),
    ]
    due = (date.today() + timedelta(days=3)).isoformat()
    data = {"number": NUMBER, "customer": "Riverside Mechanical", "due": due, "lines": lines}
    order_create(data=data, actor=actor, now=shop)
    return order_release(number=NUMBER, actor=actor, now=shop)


@pytest.fixture
def cut_one(order, badges) -> Segment:
    """The first segment of line 3, cut."""
    from travelers.record import scan_record

    one = Segment.objects.filter(fitting__line__position=3, fitting__order=order).order_by("pk")[0]
    now = datetime.now(UTC)
    body = {"id": str(uuid.uuid4()), "code": one.code, "action": "finish", "badge": badges["Ana Ruiz"]}
    actor = Actor("CUT-1", OPERATOR, "CUT-1", ("cut",))
    known = {"CUT-1": ("cut",)}
    body["scanned_at"] = now.isoformat()
    result = scan_record(delivery=body, actor=actor, now=now, station_operations=known.get)
    assert result.outcome == "recorded", result.message
    return one


def opened(page: Page) -> None:
    page.goto(f"/orders/{NUMBER}/")
    page.get_by_role("link", name="Change lines").click()
    expect(page.get_by_role("heading", level=1)).to_have_text(f"Change order {NUMBER}")


def of_line(page: Page, name: str):
    return page.get_by_role("group", name=name, exact=True)


def unfolded(page: Page, name: str):
    """The fields of a line that make it another fitting."""
    group = of_line(page, name)
    group.locator("summary").click()
    return group


def meaning(page: Page, name: str):
    """What is said of one line before the change is made."""
    page.get_by_role("button", name=re.compile("Show (again )?what it means")).click()
    table = page.get_by_role("region", name="What it means")
    return table.get_by_role("row").filter(has=page.get_by_role("rowheader", name=name, exact=True))


def standing(position: int) -> list[Fitting]:
    return list(
        Fitting.objects.filter(order__number=NUMBER, line__position=position, taken_out_at=None).order_by(
            "pk"
        )
    )


def made(page: Page) -> None:
    page.get_by_role("button", name="Change the order").click()
    expect(page).to_have_url(re.compile(f"/orders/{NUMBER}/$"))
    expect(page.get_by_text(f"Order {NUMBER} is changed.")).to_be_visible()
    assert replay(write=False).differences == []


def test_a_quantity_is_cut_and_the_old_traveler_names_the_new_one(desk, order, tablet, scan, badges):
    old = standing(1)[0].traveler_code
    page = desk()
    opened(page)
    of_line(page, "Line 1").get_by_label("Quantity").fill("4")
    said = meaning(page, "Line 1")
    expect(said).to_contain_text("2 fittings not started: void.")
    expect(said).to_contain_text(old)
    expect(page.get_by_text("It will have 8 fittings.")).to_be_visible()
    assert len(standing(1)) == 6, "shown, not made"
    made(page)
    assert len(standing(1)) == 4

    new = Traveler.objects.get(code=old).replaced_by.code
    assert new == standing(1)[0].traveler_code != old
    floor = tablet("CUT-1")
    scan(floor, badges["Ben Okafor"])
    scan(floor, old)
    expect(bar(floor, "refused")).to_contain_text(f"This traveler was replaced by {new} on")
    scan(floor, new)
    expect(bar(floor, "recorded")).to_be_visible()


def test_another_size_makes_another_fitting_and_the_old_label_names_it(desk, order, tablet, scan, badges):
    gone = standing(2)
    label = Segment.objects.filter(fitting=gone[0]).order_by("position")[0].code
    page = desk()
    opened(page)
    unfolded(page, "Line 2").get_by_label("Diameter").first.fill("16")
    said = meaning(page, "Line 2")
    expect(said).to_contain_text("16 in")
    expect(said).to_contain_text("2 fittings to make, with new travelers.")
    made(page)
    now = standing(2)
    assert {one.line.params["diameter"] for one in now} == {16} and not {one.pk for one in gone} & {
        one.pk for one in now
    }
    new = Segment.objects.filter(fitting=now[0]).order_by("position")[0].code
    floor = tablet("CUT-1")
    scan(floor, badges["Ben Okafor"])
    scan(floor, label)
    expect(bar(floor, "refused")).to_contain_text(f"was replaced by {new} on")


def test_a_line_is_cancelled_and_its_started_work_is_kept_by_choice(desk, order, cut_one):
    page = desk()
    opened(page)
    group = of_line(page, "Line 3")
    expect(group).to_contain_text("Cut: 1 piece")
    group.get_by_label("Cancel this line").check()
    group.get_by_label("Started work not wanted any more").select_option("Scrap it")
    expect(meaning(page, "Line 3")).to_contain_text("1 piece becomes scrap.")
    of_line(page, "Line 3").get_by_label("Started work not wanted any more").select_option(
        "Keep what is good as stock"
    )
    said = meaning(page, "Line 3")
    expect(said).to_contain_text("1 piece kept as stock.")
    expect(said).to_contain_text("cancelled")
    page.get_by_label("Why, for the order’s history").fill("The plenum was taken off the drawing")
    made(page)
    assert standing(3) == []
    assert [one.segment.code for one in KeptPiece.objects.all()] == [cut_one.code]
    expect(page.locator("table.history")).to_contain_text("The plenum was taken off the drawing")


def test_who_began_with_an_older_version_is_told_what_another_person_changed(desk, order):
    from travelers.amend import order_change

    page = desk()
    opened(page)
    of_line(page, "Line 1").get_by_label("Quantity").fill("5")
    other = {"version": order.version, "lines": [{"line": 2, "quantity": 1}]}
    order_change(number=NUMBER, data=other, actor=Actor("olive", OFFICE), now=datetime.now(UTC))
    page.get_by_role("button", name="Show what it means").click()
    problem = page.get_by_role("alert")
    expect(problem).to_contain_text("Nothing was changed")
    expect(problem).to_contain_text("you began with")
    expect(problem).to_contain_text("olive")
    assert (len(standing(1)), len(standing(2))) == (6, 1)
    problem.get_by_role("link", name="Begin again with the order as it is now").click()
    of_line(page, "Line 1").get_by_label("Quantity").fill("5")
    expect(meaning(page, "Line 1")).to_contain_text("1 fitting not started: void.")
    made(page)
    assert (len(standing(1)), len(standing(2))) == (5, 1)


def test_where_the_floor_went_on_it_is_shown_again_before_it_is_made(desk, order, request):
    page = desk()
    opened(page)
    of_line(page, "Line 3").get_by_label("Cancel this line").check()
    expect(meaning(page, "Line 3")).to_contain_text("2 fittings not started: void.")
    request.getfixturevalue("cut_one")
    page.get_by_role("button", name="Change the order").click()
    expect(page.get_by_role("alert")).to_contain_text("The floor went on, or something else was typed")
    expect(page.get_by_role("region", name="What it means")).to_contain_text("1 piece kept as stock.")
    assert len(standing(3)) == 2
    made(page)
    assert standing(3) == []
