"""Stations that are down: told, planned, ended; and what board, tablet and simulation make of it."""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.test import Client

from fittings.numbering import take
from shared.problems import Conflict, NotFound, WrongInput
from shared.roles import OPERATOR, Actor
from shopfloor.board import board
from shopfloor.downtime import (
    down_hours,
    down_now,
    downtime_end,
    downtime_tell,
    downtimes_open,
    hours_lost,
    station_down,
    station_up,
    words,
)
from shopfloor.floor_now import floor_now
from shopfloor.flow.calendar import Calendar
from shopfloor.flow.comparison import Change, changed
from shopfloor.flow.floor import Bench, Floor, FloorError, Job, Step
from shopfloor.flow.queue import horizon
from shopfloor.flow.simulation import simulate
from shopfloor.keys import key_make
from shopfloor.models import Downtime, Station
from shopfloor.piling import Piling
from shopfloor.tablet import station_data
from shopfloor.working_time import shop_calendar
from tests.factories import SUPERVISOR_ACTOR, key_for
from tests.factories_cutting import released
from tests.pages import browser_of
from travelers.models import Operator, Pulse

ZONE = ZoneInfo("America/Chicago")
TEN = datetime(
    2026, 3, 4, 10, 0, tzinfo=ZONE
)  # a Wednesday; the usual shift is 7:00 to 15:30, breaks 9:30 and 12:00


@pytest.fixture
def roll(shop) -> Station:
    return Station.objects.create(code="ROLL-1", name="Roll", operations=["roll"])


@pytest.fixture
def badges(shop) -> dict[str, str]:
    operator = Operator.objects.create(code=take(1)[0], name="Ana Ruiz")
    return {operator.name: operator.code}


def tell(station: str = "ROLL-1", now: datetime = TEN, **more) -> Downtime:
    return downtime_tell(station=station, actor=SUPERVISOR_ACTOR, now=now, **more)


# -- the simulation: counted by hand --------------------------------------------------


def jobs(count: int) -> list[Job]:
    return [Job(str(at), (), (Step("roll", 1.0),)) for at in range(count)]


def test_a_bench_that_is_down_takes_up_nothing_until_it_runs_again():
    """Two pieces of an hour each; down for 3 h from the start: finished at 3 + 1 and 3 + 2."""
    floor = Floor(("roll",), (Bench("ROLL-1", ("roll",)),), downs={"ROLL-1": ((0.0, 3.0),)})
    assert simulate(floor, jobs(2), seed=1).done == {"0": 4.0, "1": 5.0}


def test_what_is_in_work_when_a_planned_time_begins_is_finished_first():
    """Planned from 1.5 to 4 h: the piece begun at 1 ends at 2, the third begins at 4."""
    floor = Floor(("roll",), (Bench("ROLL-1", ("roll",)),), downs={"ROLL-1": ((1.5, 4.0),)})
    assert simulate(floor, jobs(3), seed=1).done == {"0": 1.0, "1": 2.0, "2": 5.0}


def test_the_other_bench_does_the_work_meanwhile_and_a_piece_that_came_is_not_forgotten():
    """One of two down to 2 h: alone the other does a piece an hour to then, then both: four end at 1, 2, 3, 3."""
    floor = Floor(("roll",), (Bench("A", ("roll",)), Bench("B", ("roll",))), downs={"A": ((0.0, 2.0),)})
    assert sorted(simulate(floor, jobs(4), seed=1).done.values()) == [1.0, 2.0, 3.0, 3.0]
    alone = Floor(("roll",), (Bench("A", ("roll",)),), downs={"A": ((0.5, 2.0),)})
    late = [Job("late", (), (Step("roll", 1.0),), released=1.0)]
    assert simulate(alone, late, seed=1).done == {"late": 3.0}, "it came while the bench was idle and down"


def test_a_time_that_is_none_cannot_be_simulated():
    bench = (Bench("A", ("roll",)),)
    with pytest.raises(FloorError, match="B is down"):
        simulate(Floor(("roll",), bench, downs={"B": ((0.0, 1.0),)}), jobs(1), seed=1)
    with pytest.raises(FloorError, match="ends after it begins"):
        simulate(Floor(("roll",), bench, downs={"A": ((2.0, 1.0),)}), jobs(1), seed=1)


def test_a_longer_day_stretches_the_time_and_a_bench_that_goes_takes_its_own_along():
    floor = Floor(
        ("roll",),
        (Bench("A", ("roll",)), Bench("B", ("roll",))),
        downs={"A": ((1.0, 2.0),), "B": ((0.0, 4.0),)},
    )
    other = changed(floor, Change({"roll": -1}, longer=1.5))
    assert other.downs == {"A": ((1.5, 3.0),)}


# -- telling ------------------------------------------------------------------------


def test_it_is_down_until_somebody_says_that_it_runs_again(roll):
    before = Pulse.objects.get().version
    told = tell(reason="Machine fault", until_at=TEN + timedelta(hours=1))
    assert down_now(now=TEN + timedelta(hours=9)) == {"ROLL-1": told}, "past its expected end too"
    assert words(told, now=TEN) == "Down since 10:00. Back about 11:00. Machine fault."
    assert words(told, now=TEN + timedelta(days=1)).startswith(
        "Down since Wed 4 Mar, 10:00. It was due back Wed 4 Mar"
    )
    late = words(told, now=TEN + timedelta(hours=1))
    assert late == "Down since 10:00. It was due back 11:00. Machine fault."
    downtime_end(pk=told.pk, actor=SUPERVISOR_ACTOR, now=TEN + timedelta(hours=2))
    assert down_now(now=TEN + timedelta(hours=3)) == {}
    assert Pulse.objects.get().version == before + 2, "the screens hear of both"


def test_a_planned_time_begins_and_ends_by_itself(roll):
    told = tell(from_at=TEN + timedelta(hours=1), until_at=TEN + timedelta(hours=2))
    at = {hours: set(down_now(now=TEN + timedelta(hours=hours))) for hours in (0, 1, 1.9, 2)}
    assert at == {0: set(), 1: {"ROLL-1"}, 1.9: {"ROLL-1"}, 2: set()}
    assert list(downtimes_open(now=TEN)) == [told] and not downtimes_open(now=TEN + timedelta(hours=2))
    with pytest.raises(Conflict):
        downtime_end(pk=told.pk, actor=SUPERVISOR_ACTOR, now=TEN + timedelta(hours=3))


def test_the_same_time_is_not_told_twice(roll):
    tell()
    with pytest.raises(Conflict, match="End that first"):
        tell()
    with pytest.raises(Conflict):
        tell(from_at=TEN + timedelta(days=1), until_at=TEN + timedelta(days=2))
    assert Downtime.objects.count() == 1


@pytest.mark.parametrize(
    ("more", "field"),
    [
        ({"until_at": TEN - timedelta(hours=1)}, "until_at"),
        ({"until_at": TEN}, "until_at"),
        ({"until_at": TEN + timedelta(days=400)}, "until_at"),
        ({"from_at": TEN + timedelta(hours=1)}, "until_at"),
        ({"from_at": TEN + timedelta(days=400), "until_at": TEN + timedelta(days=401)}, "from_at"),
        ({"reason": "x" * 201}, "reason"),
    ],
)
def test_a_wrong_time_is_refused_with_field_and_limit(roll, more, field):
    with pytest.raises(WrongInput) as refused:
        tell(**more)
    assert [error.field for error in refused.value.errors] == [field]
    assert not Downtime.objects.exists()


def test_only_a_station_in_use_can_be_down(roll):
    Station.objects.update(is_active=False)
    with pytest.raises(WrongInput, match="not in use"):
        tell()
    with pytest.raises(NotFound):
        tell(station="NO-1")


# -- what is made of it ---------------------------------------------------------------


def test_hours_are_those_of_the_shops_work(roll):
    """From 10:00 to 12:15 of a day with a break from 12:00 to 12:30: 2 h of work. Unknown: to 15:30, 5 h from 10:00."""
    calendar = Calendar(ZONE)
    tell(until_at=TEN + timedelta(hours=2, minutes=15))
    assert down_hours(downtimes_open(now=TEN), calendar=calendar, now=TEN) == {"ROLL-1": ((0.0, 2.0),)}
    Downtime.objects.update(until_at=None)
    assert down_hours(downtimes_open(now=TEN), calendar=calendar, now=TEN) == {"ROLL-1": ((0.0, 5.0),)}
    look = horizon(calendar, TEN)
    assert look.hours == 5.0
    assert hours_lost(downtimes_open(now=TEN), look, calendar=calendar, now=TEN) == {"ROLL-1": 5.0}


def test_the_board_clears_less_and_says_why(roll, tmp_path):
    Station.objects.create(code="ROLL-2", name="Roll", operations=["roll"])
    released()

    def bay():
        found = board(now=TEN, piling=Piling(tmp_path / "piling"))
        (one,) = (one for one in found.operations if one.operation == "roll")
        return found, one

    _, before = bay()
    assert (before.stations, before.hours_clear) == (2, 10.0)
    tell(reason="Machine fault", until_at=TEN + timedelta(hours=1))
    found, after = bay()
    assert (after.stations, after.hours_clear) == (2, 9.0), "it runs again within the day"
    assert "ROLL-1 is down." in after.why
    assert [(one.station, one.reason) for one in found.down] == [("ROLL-1", "Machine fault")]
    assert found.as_dict()["down"][0]["station"] == "ROLL-1"
    Downtime.objects.update(until_at=None)
    _, after = bay()
    assert (after.stations, after.hours_clear) == (1, 5.0)


def test_what_if_and_promises_leave_it_out_for_that_time(roll):
    released()
    told = tell(until_at=TEN + timedelta(hours=1))
    there = floor_now(shop_calendar(), now=TEN)
    assert there.floor.downs == {"ROLL-1": ((0.0, 1.0),)}
    downtime_end(pk=told.pk, actor=SUPERVISOR_ACTOR, now=TEN)
    assert floor_now(shop_calendar(), now=TEN).floor.downs == {}


# -- the tablet, the pages, the API -----------------------------------------------------


def test_a_tablet_tells_and_shows_it_in_the_language_of_the_badge(roll, badges):
    actor = Actor("ROLL-1", OPERATOR, "ROLL-1", ("roll",))
    badge = badges["Ana Ruiz"]
    assert station_data(actor)["down"] is None
    told = station_down(code="ROLL-1", badge=badge, reason="Machine fault", minutes=30, actor=actor, now=TEN)
    assert (told.told_by, told.until_at - told.from_at) == ("Ana Ruiz", timedelta(minutes=30))
    shown = station_data(actor)["down"]
    assert shown["words"].startswith("Down since") and shown["in"]["es"]["words"].startswith("Parada desde")
    assert "Falla de la máquina" in shown["in"]["es"]["words"]
    back_at = datetime.fromisoformat(shown["back_at"])
    assert back_at == told.until_at, "from then on a tablet without the network says that it was due"
    assert "It was due back" in shown["late"] and "Debía volver" in shown["in"]["es"]["late"]
    station_up(code="ROLL-1", badge=badge, actor=actor, now=TEN + timedelta(minutes=20))
    with pytest.raises(Conflict):
        station_up(code="ROLL-1", badge=badge, actor=actor, now=TEN + timedelta(minutes=21))


@pytest.mark.parametrize(
    "body", [{"badge": "NOBODY"}, {"badge": "", "reason": "x"}, {}, {"minutes": 0}, {"minutes": "a"}]
)
def test_a_tablet_without_a_badge_or_with_wrong_minutes_is_refused(roll, badges, body):
    if "minutes" in body:
        body = body | {"badge": badges["Ana Ruiz"]}
    client = Client(headers={"Authorization": f"Token {key_make(now=TEN, station=roll)[1]}"})
    answer = client.post("/api/v1/station/down/", body, content_type="application/json")
    assert answer.status_code == 400 and answer.json()["errors"][0]["field"] in ("badge", "minutes")
    assert not Downtime.objects.exists()


def test_a_tablet_tells_through_the_api(roll, badges):
    Operator.objects.filter(code=badges["Ana Ruiz"]).update(language="es")
    client = Client(headers={"Authorization": f"Token {key_make(now=TEN, station=roll)[1]}"})
    body = {"badge": badges["Ana Ruiz"], "reason": "Maintenance", "minutes": None}
    answer = client.post("/api/v1/station/down/", body, content_type="application/json")
    assert answer.status_code == 200 and "Mantenimiento" in answer.json()["words"]
    answer = client.post(
        "/api/v1/station/up/", {"badge": badges["Ana Ruiz"]}, content_type="application/json"
    )
    assert answer.json() == {"words": "ROLL-1 funciona otra vez."}


def test_the_supervisor_tells_plans_and_ends_on_the_page(roll):
    page = browser_of("supervisor")
    path = "/stations/at/ROLL-1/down/"
    answer = page.post(path, {"reason": "Maintenance", "from_at": "2031-03-04T08:00"})
    assert answer.status_code == 400 and "Say until when" in answer.content.decode()
    answer = page.post(path, {"reason": "Maintenance", "until_at": "tomorrow"})
    assert answer.status_code == 400 and "Enter a day and a time" in answer.content.decode()
    assert page.post(path, {"reason": "Machine fault"}).status_code == 302
    assert "Machine fault" in page.get(path).content.decode()
    assert "Down" in page.get("/stations/").content.decode()
    told = Downtime.objects.get()
    page.post(f"/stations/downtimes/{told.pk}/end/")
    shown = page.get(path).content.decode()
    assert "It runs, and nothing is planned." in shown and "In the last four weeks" in shown


def test_the_api_lists_tells_and_ends(roll):
    client = Client(headers={"Authorization": f"Token {key_for('supervisor')}"})
    answer = client.post(
        "/api/v1/downtimes/", {"station": "ROLL-1", "from_at": "x"}, content_type="application/json"
    )
    assert answer.status_code == 400 and answer.json()["errors"][0]["field"] == "from_at"
    answer = client.post("/api/v1/downtimes/", {"station": "ROLL-1"}, content_type="application/json")
    assert answer.status_code == 201
    made = answer.json()
    assert [one["id"] for one in client.get("/api/v1/downtimes/").json()["results"]] == [made["id"]]
    assert client.post(f"/api/v1/downtimes/{made['id']}/end/").status_code == 200
    assert client.get("/api/v1/downtimes/").json()["results"] == []
