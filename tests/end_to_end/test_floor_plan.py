"""The floor plan in a real browser: things moved by mouse, by keyboard and by number, saved by the form."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from playwright.sync_api import expect

from fittings.models import Order
from shared.roles import Actor
from shopfloor.floor_plan import layout_save, layout_standing, room_save
from shopfloor.flow.room import Thing
from shopfloor.models import LayoutPlace
from tests.factories_floor import finished

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def editor(desk):
    """The editor's page of a room of 40 × 20 ft with three stations, of which one is fixed, and a door.

    Two elbows of a line were finished: a trip from CUT-1 to ROLL-1 and one to SEAM-1 in five days, 14 ft each.
    """
    who, now = Actor("supervisor", "supervisor"), datetime.now(UTC)
    finished(Order.objects.get(number="1042"), now=now)
    room_save(width=40, depth=20, carried=None, walk=210, actor=who, now=now)
    layout = layout_standing()
    things = (
        Thing("CUT-1", x=2.0, y=2.0, width=6.0, depth=4.0, clearance=1.0),
        Thing("ROLL-1", x=16.0, y=2.0, width=6.0, depth=4.0, clearance=1.0),
        Thing("SEAM-1", x=30.0, y=2.0, width=6.0, depth=4.0, is_fixed=True),
        Thing("Door", "door", 39.0, 10.0, 1.0, 4.0),
    )
    layout_save(pk=layout.pk, edition=layout.edition, things=things, actor=who, now=now)
    page = desk("supervisor")
    page.goto(f"/floor-plan/{layout.pk}/edit/")
    return page


def thing(page, code: str):
    return page.locator(f".plan [data-code='{code}']")


def field(page, code: str, name: str):
    return page.get_by_label(f"{code}: {name}", exact=True)


def drag(page, code: str, *, feet: tuple[float, float]) -> None:
    box = thing(page, code).locator("rect").bounding_box()
    foot = box["width"] / 6
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + feet[0] * foot, y + feet[1] * foot, steps=4)
    page.mouse.up()


def place(code: str) -> tuple[float, float]:
    return LayoutPlace.objects.values_list("x_ft", "y_ft").get(code=code)


def test_a_station_is_dragged_onto_the_grid_and_saved(editor):
    drag(editor, "CUT-1", feet=(3.2, 9.6))
    expect(field(editor, "CUT-1", "From the left")).to_have_value("5")
    expect(field(editor, "CUT-1", "From the top")).to_have_value("11.5")
    expect(editor.locator(".plan-said")).to_have_text("CUT-1, 5 ft from the left, 11.5 ft from the top.")
    assert place("CUT-1") == (2, 2), "nothing is kept until it is saved"
    editor.get_by_role("button", name="Save").first.click()
    expect(editor.get_by_text("As it stands is saved.")).to_be_visible()
    assert place("CUT-1") == (5, 11.5)


def test_it_stays_inside_the_room_and_what_is_fixed_stays(editor):
    drag(editor, "ROLL-1", feet=(-30, 40))
    expect(field(editor, "ROLL-1", "From the left")).to_have_value("0")
    expect(field(editor, "ROLL-1", "From the top")).to_have_value("16")
    drag(editor, "SEAM-1", feet=(0, 5))
    expect(editor.locator(".plan-said")).to_contain_text("SEAM-1 is fixed.")
    expect(field(editor, "SEAM-1", "From the top")).to_have_value("2")


def test_the_keyboard_moves_and_turns_and_says_so(editor):
    thing(editor, "ROLL-1").focus()
    for key in ("ArrowRight", "ArrowRight", "ArrowDown", "ArrowUp", "ArrowDown"):
        editor.keyboard.press(key)
    said = editor.locator(".plan-said")
    expect(said).to_have_text("ROLL-1, 17 ft from the left, 2.5 ft from the top.")
    expect(thing(editor, "ROLL-1")).to_have_attribute(
        "aria-label", "ROLL-1, 17 ft from the left, 2.5 ft from the top"
    )
    editor.keyboard.press("t")
    expect(said).to_have_text("ROLL-1 is turned.")
    expect(field(editor, "ROLL-1", "Turned")).to_be_checked()
    box = thing(editor, "ROLL-1").locator("rect").bounding_box()
    assert box["height"] > box["width"]
    thing(editor, "SEAM-1").focus()
    editor.keyboard.press("ArrowLeft")
    expect(said).to_contain_text("SEAM-1 is fixed.")
    editor.get_by_role("button", name="Save").first.click()
    expect(editor.get_by_text("As it stands is saved.")).to_be_visible()
    assert place("ROLL-1") == (17, 2.5) and LayoutPlace.objects.get(code="ROLL-1").is_turned


def test_a_number_moves_the_drawing_and_what_cannot_stand_is_refused(editor):
    foot = float(editor.locator(".plan").get_attribute("data-scale"))
    field(editor, "CUT-1", "From the left").fill("9 1/2")
    expect(thing(editor, "CUT-1")).to_have_attribute("transform", f"translate({9.5 * foot:g} {2 * foot:g})")
    field(editor, "CUT-1", "From the left").fill("114 in")
    thing(editor, "CUT-1").focus()
    editor.keyboard.press("ArrowRight")
    expect(editor.locator(".plan-said")).to_contain_text("not read here")
    editor.get_by_role("button", name="Save").first.click()
    expect(editor.locator(".form-errors")).to_contain_text("CUT-1 and ROLL-1 are 0.5 ft apart")
    expect(field(editor, "CUT-1", "From the left")).to_have_value("114 in")
    field(editor, "CUT-1", "From the left").fill("1/2/4")
    field(editor, "Door", "name").fill("Way out")
    editor.get_by_role("button", name="Save").first.click()
    expect(editor.locator(".form-errors")).to_contain_text("“1/2/4” is not a length")
    thing(editor, "ROLL-1").focus()
    editor.keyboard.press("ArrowDown")
    expect(editor.locator(".plan-said")).to_have_text("ROLL-1, 16 ft from the left, 2.5 ft from the top.")
    assert place("CUT-1") == (2, 2)


def test_lines_and_what_is_carried_follow(editor):
    carried = editor.locator(".plan-carried")
    expect(carried).to_have_text("6 ft")  # 28 ÷ 5
    thing(editor, "CUT-1").focus()
    for _ in range(10):
        editor.keyboard.press("ArrowDown")
    expect(carried).to_have_text("7 ft")  # (28 + 5) ÷ 5
    foot = float(editor.locator(".plan").get_attribute("data-scale"))
    line = editor.locator("[data-begin='CUT-1']")
    assert float(line.get_attribute("y1")) == pytest.approx(9 * foot)
    assert float(line.get_attribute("y2")) == pytest.approx(4 * foot, abs=0.1)


def test_without_scripts_the_numbers_are_saved(desk, editor):
    plain = desk("supervisor", java_script_enabled=False)
    plain.goto(f"/floor-plan/{layout_standing().pk}/edit/")
    field(plain, "CUT-1", "From the top").fill("11 1/2")
    plain.get_by_role("button", name="Save").first.click()
    expect(plain.get_by_text("As it stands is saved.")).to_be_visible()
    assert place("CUT-1") == (2, 11.5)
