"""The floor plan from the record to the page: what was carried, what is refused, tries, roles, metres."""

from __future__ import annotations

import doctest
import re
from dataclasses import replace
from datetime import timedelta
from html import unescape

import pytest
from django.utils import timezone

from fittings.tables import rows, save
from shared.problems import Conflict, NotFound, WrongInput
from shopfloor import floor_lengths
from shopfloor import floor_plan as plans
from shopfloor.floor_lengths import FEET, METRES
from shopfloor.floor_plan_page import floor_read, moved_said
from shopfloor.floor_travel import made_lately
from shopfloor.flow.room import Thing, faults
from shopfloor.models import FloorLayout, FloorRoom, LayoutPlace, Station
from shopfloor.working_time import shop_calendar
from tests import factories, factories_cutting
from tests.factories import NOW
from tests.factories_floor import finished
from tests.pages import alert_of, text_of

pytestmark = pytest.mark.django_db
WHO = factories.SUPERVISOR_ACTOR
LATER = NOW + timedelta(hours=4)
STATIONS = ("cut", "roll", "seam", "assemble", "ends", "wrap")


@pytest.fixture
def floor(shop):
    """A station an operation, another one to roll, and a room of 60 × 40 ft."""
    for at, operation in enumerate((*STATIONS, "roll")):
        code = f"{operation.upper()}-{1 + (at == 6)}"
        Station.objects.create(code=code, name=code, operations=[operation], position=at)
    plans.room_save(width=60, depth=40, carried=None, walk=210, actor=WHO, now=NOW)
    return plans.layout_standing()


def stood(layout: FloorLayout, *things: Thing) -> FloorLayout:
    return plans.layout_save(pk=layout.pk, edition=layout.edition, things=things, actor=WHO, now=NOW)


def bench(code: str, x: float, y: float, **more) -> Thing:
    return Thing(code, x=x, y=y, **{"width": 4.0, "depth": 4.0} | more)


def plain(text: str) -> str:
    """With spaces that break for those that do not."""
    return text.replace("\u00a0", " ")


def refused(layout: FloorLayout, *things: Thing) -> list[tuple[str, object, str, str]]:
    kept = list(layout.places.order_by("pk").values())
    with pytest.raises(WrongInput) as wrong:
        stood(layout, *things)
    assert list(layout.places.order_by("pk").values()) == kept
    return [(one.field, one.value, one.limit, plain(one.message)) for one in wrong.value.errors]


def test_examples_in_the_docstrings():
    assert doctest.testmod(floor_lengths).failed == 0


# -- the room and what stands in it ----------------------------------------------------


def test_the_first_time_every_station_in_use_is_set_out_and_nothing_is_at_fault(floor):
    things = plans.layout_things(floor)
    assert [one.code for one in things if one.kind == "station"] == [
        "CUT-1", "ROLL-1", "SEAM-1", "ASSEMBLE-1", "ENDS-1", "WRAP-1", "ROLL-2",
    ]  # fmt: skip
    assert {one.kind for one in things} == {"station", "rack", "wrapping", "door"}
    assert faults(plans.room_of(FloorRoom.objects.get()), things) == []


def test_a_room_too_small_for_the_stations_begins_with_its_areas_alone(shop):
    Station.objects.create(code="CUT-1", name="Table", operations=["cut"])
    plans.room_save(width=10, depth=6, carried=None, walk=210, actor=WHO, now=NOW)
    things = plans.layout_things(plans.layout_standing())
    assert {one.kind for one in things} == {"rack", "wrapping", "door"}
    assert faults(plans.room_of(FloorRoom.objects.get()), things) == []


def test_the_room_names_field_value_and_limit(floor):
    with pytest.raises(WrongInput) as wrong:
        plans.room_save(width=4, depth=1001, carried=0, walk=30, actor=WHO, now=NOW)
    said = [(one.field, plain(one.message)) for one in wrong.value.errors]
    assert said == [
        ("width", "Width of the room can be 5 to 1000 ft, not 4 ft."),
        ("depth", "Depth of the room can be 5 to 1000 ft, not 1001 ft."),
        ("walk", "Walking speed can be 50 to 600 ft a minute, not 30 ft a minute."),
        ("carried", "Pieces carried at once can be 1 to 1000, not 0."),
    ]
    stood(floor, bench("CUT-1", 50, 0))
    with pytest.raises(
        WrongInput, match="As it stands: CUT-1 reaches to 54.ft from the left wall; the room is"
    ):
        plans.room_save(width=50, depth=40, carried=None, walk=210, actor=WHO, now=NOW)
    assert FloorRoom.objects.get().width_ft == 60


def test_what_lies_over_too_near_or_outside_is_refused_and_named(floor):
    assert refused(floor, bench("CUT-1", 0, 0), bench("ROLL-1", 2.5, 0)) == [
        ("places[0].x", 1.5, "0 ft", "CUT-1 lies 1.5 ft over ROLL-1. Move one of them.")
    ]
    near = refused(floor, bench("CUT-1", 0, 0), bench("ROLL-1", 0, 5.25, clearance=1.5))
    assert near == [
        (
            "places[0].x", 1.25, "1.5 ft",
            "CUT-1 and ROLL-1 are 1.25 ft apart; with their clearances it is at least 1.5 ft.",
        )
    ]  # fmt: skip
    assert refused(floor, bench("ROLL-1", 0, 0), bench("CUT-1", 20, 36.05))[0] == (
        "places[1].y", 40.05, "40 ft", "CUT-1 reaches to 40.05 ft from the upper wall; the room is 40 ft deep.",
    )  # fmt: skip


def test_rows_that_cannot_be_are_refused_together(floor):
    found = refused(
        floor,
        bench("SAW-9", 0, 0),
        bench("CUT-1", 10, 0, kind="area"),
        bench("Store", 20, 0, kind="door", width=0.1),
        bench("Way out", 30, 0, kind="door", clearance=21),
        bench("STORE", 40, 0, kind="area"),
        bench(" ", 50, 0, kind="attic"),
    )
    assert [(field, text) for field, _, _, text in found] == [
        ("places[0].code", "There is no station “SAW-9”."),
        ("places[1].code", "CUT-1 is a station. Give the area another name."),
        ("places[2].width", "Store: the width can be 0.5 to 500 ft, not 0.1 ft."),
        ("places[3].clearance", "Way out: the clearance can be 0 to 20 ft, not 21 ft."),
        ("places[3].code", "Way out: there is a door already; there can be one."),
        ("places[4].code", "STORE is there twice. It can be there once."),
        ("places[5].code", " : the kind can be station, rack, wrapping, door, area, not attic."),
    ]


def test_who_began_with_an_older_layout_saves_nothing(floor):
    stood(floor, bench("CUT-1", 0, 0))
    with pytest.raises(Conflict, match="supervisor changed this layout while you worked on it"):
        stood(floor, bench("CUT-1", 30, 0))
    assert LayoutPlace.objects.get(code="CUT-1").x_ft == 0
    with pytest.raises(NotFound):
        plans.layout_save(pk=99, edition=1, things=[], actor=WHO, now=NOW)


# -- what was carried --------------------------------------------------------------------


LINE = (
    Thing("Rack", "rack", 0, 0, 4, 4),
    bench("CUT-1", 10, 0),
    bench("ROLL-1", 20, 0),
    bench("ROLL-2", 20, 30),
    bench("SEAM-1", 30, 0),
    bench("ASSEMBLE-1", 40, 0),
    bench("WRAP-1", 50, 0),
    Thing("Door", "door", 56, 10, 4, 4),
)


def test_travel_of_an_order_by_hand(floor):
    """Four elbows of five gores, raw ends: 20 segments from the rack to ASSEMBLE-1, five legs of 10 ft less one.

    One trip a leg: rack, CUT-1, ROLL-1, SEAM-1, ASSEMBLE-1, WRAP-1 are 5 × 10 ft; WRAP-1 to the door 6 + 10.
    Five days: 66 ÷ 5 a day, 66 ÷ 4 for a fitting.
    """
    stood(floor, *LINE)
    finished(factories_cutting.released(), now=LATER)
    (read,) = floor_read(days=5, now=LATER).reads
    assert {(leg.begin, leg.end): (leg.pieces * 5, leg.trips * 5, leg.way) for leg in read.travel.legs} == {
        ("Rack", "CUT-1"): (20, 1, 10),
        ("CUT-1", "ROLL-1"): (20, 1, 10),
        ("ROLL-1", "SEAM-1"): (20, 1, 10),
        ("SEAM-1", "ASSEMBLE-1"): (20, 1, 10),
        ("ASSEMBLE-1", "WRAP-1"): (4, 1, 10),
        ("WRAP-1", "Door"): (4, 1, 16),
    }
    assert read.travel.feet == pytest.approx(66 / 5)
    assert read.travel.minutes == pytest.approx(66 / 5 / 210)
    assert read.travel.per_fitting == pytest.approx(66 / 4)
    FloorRoom.objects.update(carried=6)
    (read,) = floor_read(days=5, now=LATER).reads
    assert read.travel.feet == pytest.approx((4 * 4 * 10 + 10 + 16) / 5), (
        "20 segments are 4 trips, 4 elbows one"
    )


def test_the_station_is_the_one_that_scanned_and_missed_scans_are_left_out(floor):
    stood(floor, *LINE)
    finished(factories_cutting.released(), now=LATER, at={"roll": "ROLL-2"})
    (read,) = floor_read(days=5, now=LATER).reads
    ways = {(leg.begin, leg.end): leg.way for leg in read.travel.legs}
    assert ways["CUT-1", "ROLL-2"] == ways["ROLL-2", "SEAM-1"] == 40
    order = factories_cutting.released()
    finished(order, now=LATER, skip=("roll",))
    (read,) = floor_read(days=5, now=LATER).reads
    assert {("CUT-1", "SEAM-1"), ("CUT-1", "ROLL-2")} <= {(leg.begin, leg.end) for leg in read.travel.legs}


def test_only_the_days_asked_for_are_read_in_two_queries(floor, django_assert_num_queries):
    finished(factories_cutting.released(), now=LATER)
    calendar = shop_calendar()
    with django_assert_num_queries(2):
        assert len(made_lately(calendar, days=5, now=LATER + timedelta(days=1)).made) == 4
    assert made_lately(calendar, days=5, now=LATER + timedelta(days=10)).made == ()


def test_where_more_was_finished_the_newest_are_read_and_their_days_counted(floor, monkeypatch):
    monkeypatch.setattr("shopfloor.floor_travel.MOST_FITTINGS", 4)
    finished(factories_cutting.released(), now=LATER - timedelta(hours=1))
    finished(factories_cutting.released(), now=LATER)
    found = made_lately(shop_calendar(), days=5, now=LATER)
    assert found.is_cut and len(found.made) == 4
    assert found.days == pytest.approx(3 / 60 / 7.75), "the four wraps of the newer order are a minute apart"


# -- tries -------------------------------------------------------------------------------


def tried(layout, way="copy", name="A try") -> FloorLayout:
    lately = made_lately(shop_calendar(), days=5, now=LATER)
    return plans.layout_try(pk=layout.pk, name=name, way=way, lately=lately, actor=WHO, now=NOW)


def test_a_copy_and_patterns_are_tries_and_change_nothing_as_it_stands(floor):
    plans.room_save(width=90, depth=40, carried=None, walk=210, actor=WHO, now=NOW)
    before = plans.layout_things(floor)
    assert plans.layout_things(tried(floor)) == before
    for way in ("line", "u", "two rows"):
        made = plans.layout_things(tried(floor, way, way))
        assert faults(plans.room_of(FloorRoom.objects.get()), made) == []
        assert [one for one in made if one.stays] == [one for one in before if one.stays]
    assert plans.layout_things(floor) == before


def test_the_search_makes_a_try_that_says_who_changes_places(floor):
    """ROLL-1 and ROLL-2 change: all work was rolled at ROLL-2, which stands far off."""
    stood(floor, *LINE)
    finished(factories_cutting.released(), now=LATER, at={"roll": "ROLL-2"})
    made = tried(floor, "search")
    read = floor_read(days=5, now=LATER)
    stands, other = read.reads
    assert (stands.travel.feet * 5, other.travel.feet * 5) == pytest.approx((66 + 60, 66))
    assert [plain(one) for one in moved_said(read, other)] == [
        "ROLL-1 goes to the place of ROLL-2, 30 ft from where it is.",
        "ROLL-2 goes to the place of ROLL-1, 30 ft from where it is.",
    ]
    with pytest.raises(Conflict, match="found nothing better"):
        tried(made, "search", "Again")


def test_the_search_leaves_what_is_fixed_and_says_when_there_is_nothing_to_go_by(floor):
    with pytest.raises(Conflict, match="No fitting was finished in these days"):
        tried(floor, "search")
    stood(floor, *(replace(one, is_fixed=one.code == "ROLL-2") for one in LINE))
    finished(factories_cutting.released(), now=LATER, at={"roll": "ROLL-2"})
    with pytest.raises(Conflict, match="found nothing better"):
        tried(floor, "search")


def test_a_layout_that_changes_while_the_search_works_makes_no_try(floor, monkeypatch):
    stood(floor, *LINE)
    finished(factories_cutting.released(), now=LATER, at={"roll": "ROLL-2"})
    search = plans.changed_places

    def meanwhile(*given):
        stood(FloorLayout.objects.get(), *LINE[:3])
        return search(*given)

    monkeypatch.setattr(plans, "changed_places", meanwhile)
    with pytest.raises(Conflict, match="As it stands was changed meanwhile"):
        tried(floor, "search")
    assert FloorLayout.objects.count() == 1


def test_what_a_try_is_refused_for(floor, monkeypatch):
    with pytest.raises(WrongInput, match="Enter a name of 1 to 60 characters"):
        tried(floor, name=" ")
    with pytest.raises(WrongInput, match="There is a layout “As it stands” already"):
        tried(floor, name="As it stands")
    with pytest.raises(WrongInput, match="It can be search, copy, line, u, two rows"):
        tried(floor, "ring")
    stood(floor, *LINE, bench("ENDS-1", 0, 35, width=59.0))
    with pytest.raises(Conflict, match="WRAP-1 has no room in this pattern: it is 4.ft × 4.ft"):
        tried(floor, "u")
    monkeypatch.setattr(plans, "MOST_LAYOUTS", 1)
    with pytest.raises(Conflict, match="1 layouts are kept"):
        tried(floor)
    assert FloorLayout.objects.count() == 1


def test_a_try_comes_to_stand_and_how_it_stood_is_kept(floor):
    made = tried(floor)
    plans.layout_stands(pk=made.pk, actor=WHO, now=NOW)
    assert plans.layout_standing() == made
    assert sorted(FloorLayout.objects.values_list("name", flat=True)) == [
        "As it stands",
        f"As it stood until {timezone.localtime(NOW):%Y-%m-%d}",
    ]
    with pytest.raises(Conflict, match="stands like this already"):
        plans.layout_stands(pk=made.pk, actor=WHO, now=NOW)
    with pytest.raises(Conflict, match="Only a try can be removed"):
        plans.layout_remove(pk=made.pk, actor=WHO, now=NOW)
    plans.layout_remove(pk=floor.pk, actor=WHO, now=NOW)
    assert FloorLayout.objects.count() == 1


# -- pages, without JavaScript -------------------------------------------------------------


def form_of(page) -> dict[str, str]:
    """What a browser without scripts sends when nothing is changed."""
    html, found = page.content.decode(), {}
    for tag in re.findall(r"<input\b[^>]*>", html):
        values = dict(re.findall(r'([\w-]+)="([^"]*)"', tag))
        is_box = values.get("type") == "checkbox"
        if not is_box or " checked" in tag:
            found[values["name"]] = "on" if is_box else unescape(values.get("value", ""))
    for name, options in re.findall(r'<select name="([^"]+)".*?>(.*?)</select>', html, re.S):
        found[name] = re.search(r'value="([^"]*)" selected', options)[1]
    return found


def row_of(form: dict[str, str], code: str) -> str:
    return next(name for name, value in form.items() if value == code and name.endswith("-code"))[
        : -len("code")
    ]


def test_before_there_is_a_room_the_page_says_who_gives_it(shop, browse):
    assert "A supervisor gives the size of the room" in text_of(browse("office").get("/floor-plan/"))
    supervisor = browse("supervisor")
    assert "/floor-plan/room/" in supervisor.get("/floor-plan/").content.decode()
    answer = supervisor.post("/floor-plan/room/", {"width": "sixty", "depth": "40", "walk": "210"})
    assert answer.status_code == 400 and "“sixty” is not a length" in alert_of(answer)
    answer = supervisor.post(
        "/floor-plan/room/", {"width": "60 1/2", "depth": "480 in", "walk": "210"}, follow=True
    )
    assert "The room is saved." in text_of(answer)
    room = FloorRoom.objects.get()
    assert (room.width_ft, room.depth_ft, room.carried) == (60.5, 40, None)


def test_things_are_moved_by_numbers(floor, browse):
    stood(floor, *LINE)
    supervisor, path = browse("supervisor"), f"/floor-plan/{floor.pk}/edit/"
    sent = form_of(supervisor.get(path))
    roll, ends = row_of(sent, "ROLL-1"), row_of(sent, "ENDS-1")
    assert sent[f"{ends}x"] == "", "it is in use and not on the plan"
    sent |= {f"{roll}x": "20.257", f"{roll}y": "12 1/2", f"{roll}is_turned": "on", f"{roll}is_fixed": "on"}
    sent |= {f"{ends}x": "2", f"{ends}y": "20"}
    new = sorted(name for name, value in sent.items() if name.endswith("-code") and not value)[0][
        : -len("code")
    ]
    sent |= {f"{new}code": "Oven", f"{new}x": "30", f"{new}y": "30", f"{new}width": "3", f"{new}depth": "3"}
    assert supervisor.post(path, sent).status_code == 302
    moved = LayoutPlace.objects.get(code="ROLL-1")
    assert (moved.x_ft, moved.y_ft, moved.is_turned, moved.is_fixed) == (20.26, 12.5, True, True)
    assert LayoutPlace.objects.get(code="ENDS-1").width_ft == 6
    assert LayoutPlace.objects.get(code="Oven").kind == "area"
    answer = supervisor.post(path, sent)
    assert answer.status_code == 409 and "Nothing was saved; load it again" in text_of(answer)


def test_what_is_wrong_is_said_at_its_row_and_what_was_typed_stays(floor, browse):
    stood(floor, *LINE)
    supervisor, path = browse("supervisor"), f"/floor-plan/{floor.pk}/edit/"
    sent = form_of(supervisor.get(path))
    roll = row_of(sent, "ROLL-1")
    answer = supervisor.post(path, sent | {f"{roll}x": "1/2/4"})
    assert answer.status_code == 400 and "“1/2/4” is not a length" in alert_of(answer)
    answer = supervisor.post(path, sent | {f"{roll}x": ""})
    assert "ROLL-1: enter how far it is from the left, or neither of the two." in alert_of(answer)
    answer = supervisor.post(path, sent | {f"{roll}x": "12"})
    assert answer.status_code == 400 and "lies 2 ft over" in plain(alert_of(answer))
    assert form_of(answer)[f"{roll}x"] == "12"
    assert supervisor.post(path, {}).status_code == 400
    assert LayoutPlace.objects.get(code="ROLL-1").x_ft == 20


def test_the_pages_show_figures_and_a_try_beside_them(floor, browse, monkeypatch):
    monkeypatch.setattr("shopfloor.views.floor_plan.timezone.now", lambda: LATER)
    stood(floor, *LINE)
    finished(factories_cutting.released(), now=LATER, at={"roll": "ROLL-2"})
    supervisor = browse("supervisor")
    page = text_of(supervisor.get("/floor-plan/"))
    assert "Carried a day 25 ft" in page and "For a fitting 31.5 ft" in page
    assert "It turns back at ROLL-2" in page
    assert "Rack 0.2 4.0 CUT-1 0.2 4.0" in page, (
        "from the rack 1 trip and 20 pieces in 5 days, and so on from CUT-1"
    )
    assert "Not on the plan: ENDS-1." in page
    answer = supervisor.post(f"/floor-plan/{floor.pk}/try/", {"name": "Better", "way": "search"}, follow=True)
    assert "−12 ft (−48 %)" in text_of(answer)
    assert "ROLL-1 goes to the place of ROLL-2" in text_of(answer)
    assert "Better" in text_of(supervisor.get("/floor-plan/"))
    for path in ("/floor-plan/", answer.request["PATH_INFO"]):
        assert "Move things" not in text_of(browse("office").get(path))
    answer = supervisor.post(f"/floor-plan/{floor.pk}/try/", {"name": "Better", "way": "copy"})
    assert answer.status_code == 400 and "There is a layout “Better” already" in alert_of(answer)
    assert supervisor.get("/floor-plan/?days=all").status_code == 200


def test_a_shop_that_types_millimetres_reads_metres(floor, browse):
    """60 ft are 18.288 m exactly."""
    assert METRES.typed(60) == "18.29" and METRES.read("3.048") == pytest.approx(10.0066, abs=1e-4), "3.05 m"
    assert METRES.read("18.29") == pytest.approx(60.0066, abs=1e-4)
    assert METRES.read("60 in") == pytest.approx(1.52 / 0.3048, abs=1e-4) and FEET.read("60 in") == 5
    now = [dict(row) for row in rows("shop")]
    for row in now:
        row["value"] = "mm" if row["key"] == "unit" else row["value"]
    save(name="shop", new_rows=now, seen=None, note="", actor=WHO, now=NOW)
    sent = form_of(browse("supervisor").get("/floor-plan/room/"))
    assert (sent["width"], sent["depth"]) == ("18.29", "12.19")
    for layout in (floor, *(tried(floor, way, way) for way in ("u", "two rows"))):
        page = browse("supervisor").get(f"/floor-plan/{layout.pk}/edit/")
        before = dict(layout.places.values_list("code", "x_ft"))
        assert browse("supervisor").post(f"/floor-plan/{layout.pk}/edit/", form_of(page)).status_code == 302
        assert dict(layout.places.values_list("code", "x_ft")) == pytest.approx(before, abs=0.02)
