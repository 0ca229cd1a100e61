"""Flow, measured times, what if and the floor plan, for programs: what the pages say and do."""

from __future__ import annotations

import pytest

from shopfloor.models import FloorLayout, FloorRoom, Station, Study
from tests.factories_cutting import released
from travelers.models import Operation

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("shop")]


@pytest.fixture
def stations(shop):
    return [
        Station.objects.create(code=f"{code.upper()}-1", name=code, operations=[code], position=at)
        for at, code in enumerate(Operation.objects.order_by("position").values_list("code", flat=True))
    ]


def wrong(answer) -> list[str]:
    assert answer.status_code == 400, answer.content
    return [error["field"] for error in answer.json()["errors"]]


def test_the_flow_is_told_in_facts_and_tables(api_as):
    told = api_as("supervisor").get("flow/?period=own&first=2026-03-02&last=2026-03-04").json()
    assert (told["first"], told["last"]) == ("2026-03-02", "2026-03-04")
    assert told["facts"] and told["tables"]
    for table in told["tables"]:
        assert all(len(row) == len(table["columns"]) for row in table["rows"]), table["name"]


@pytest.mark.parametrize(
    ("query", "field"),
    [
        ("period=own", "first"),
        ("gauge=99", "gauge"),
        ("by=moon", "by"),
        ("size=wide", "size"),
        ("kind=hat", "kind"),
    ],
)
def test_a_wrong_range_is_told(api_as, query, field):
    assert field in wrong(api_as("office").get(f"flow/?{query}"))


def test_measured_times_are_told_and_only_proposals_are_adopted(api_as):
    office = api_as("office")
    told = office.get("measured-times/").json()
    assert told["results"] == [] and told["version"] >= 1
    body = {
        "version": told["version"],
        "until": told["until"],
        "methods": [{"operation": "roll", "method": "x"}],
    }
    assert wrong(office.post("measured-times/adopt/", body)) == ["way"]
    assert wrong(office.post("measured-times/adopt/", {"version": 1, "until": "now", "methods": "all"})) == [
        "until",
        "methods",
    ]


def test_a_question_is_asked_listed_stopped_and_taken_away(api_as, stations):
    office = api_as("office")
    released()
    answer = office.post("what-if/", {"name": "A second roll", "benches": {"roll": 1}, "runs": 5, "days": 1})
    assert answer.status_code == 202, answer.content
    made = answer.json()
    assert made["state"] == "making" and made["changes"]
    assert [one["id"] for one in office.get("what-if/").json()["results"]] == [made["id"]]
    assert office.post(f"what-if/{made['id']}/stop/").status_code == 200
    from shared.jobs import work_once
    from shopfloor.studies import STUDY, STUDY_WORK

    assert work_once({STUDY: STUDY_WORK}, worker="test")
    one = office.get(f"what-if/{made['id']}/").json()
    assert one["state"] == "made" and one["result"]["runs"] >= 1
    assert office.delete(f"what-if/{made['id']}/").status_code == 204
    assert not Study.objects.exists()


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({"benches": {"roll": 1}}, "name"),
        ({"name": "A"}, "change"),
        ({"name": "A", "benches": {"roll": "1"}}, "benches"),
        ({"name": "A", "benches": {"moon": 1}}, "benches.moon"),
        ({"name": "A", "people": 0}, "people"),
        ({"name": "A", "rule": "luck"}, "rule"),
        ({"name": "A", "color": "red"}, "color"),
    ],
)
def test_a_wrong_question_is_told_and_not_kept(api_as, body, field):
    assert field in wrong(api_as("office").post("what-if/", body))
    assert not Study.objects.exists()


def test_the_room_is_made_a_layout_tried_saved_and_taken(api_as, stations):
    supervisor = api_as("supervisor")
    assert supervisor.get("floor-plan/").json() == {"room": None, "layouts": []}
    room = {"width": 80, "depth": 40, "walk": 210, "carried": None}
    assert supervisor.put("floor-plan/", room).json() == room
    (standing,) = supervisor.get("floor-plan/").json()["layouts"]
    made = supervisor.post(f"floor-plan/{standing['id']}/try/", {"name": "A copy", "way": "copy"}).json()
    assert {place["code"] for place in made["places"]} >= {station.code for station in stations}
    door = next(place for place in made["places"] if place["code"] == "Door")
    door["y"] += 1
    body = {"edition": made["edition"], "places": made["places"]}
    saved = supervisor.put(f"floor-plan/{made['id']}/", body).json()
    assert saved["edition"] == made["edition"] + 1
    assert next(place for place in saved["places"] if place["code"] == "Door")["y"] == door["y"]
    assert supervisor.put(f"floor-plan/{made['id']}/", body).status_code == 409
    assert supervisor.post(f"floor-plan/{made['id']}/stands/").json()["is_standing"]
    assert supervisor.delete(f"floor-plan/{standing['id']}/").status_code == 204
    assert FloorLayout.objects.get().pk == made["id"]
    assert api_as("office").put("floor-plan/", room).status_code == 403


def test_what_does_not_fit_or_is_no_number_is_told_and_changes_nothing(api_as, stations):
    supervisor = api_as("supervisor")
    assert set(wrong(supervisor.put("floor-plan/", {"width": "wide", "depth": 1e9, "walk": True}))) == {
        "width",
        "depth",
        "walk",
    }
    assert not FloorRoom.objects.exists()
    supervisor.put("floor-plan/", {"width": 80, "depth": 40, "walk": 210})
    standing = FloorLayout.objects.get()
    path = f"floor-plan/{standing.pk}/"
    places = supervisor.get(path).json()["places"]
    places[0]["x"] = 500
    assert wrong(supervisor.put(path, {"edition": 1, "places": places}))[0].startswith("places[")
    assert "places[0].x" in wrong(
        supervisor.put(path, {"edition": 1, "places": [{"code": "A", "x": "left"}]})
    )
    standing.refresh_from_db()
    assert standing.edition == 1
