"""A day is played through the API with a clock that does not wait."""

from __future__ import annotations

import json
from collections import Counter

import pytest
from django.core.management import call_command
from django.test import Client
from django.utils import timezone

from fittings.models import Order
from shopfloor.models import Key, Person, Station
from shopfloor.player import Player, Unreachable
from tests import factories
from tests.factories_cutting import made_plan
from tests.travelers.floor import badge
from travelers.models import Scan, Task
from travelers.release import order_release
from travelers.replay import replay

pytestmark = pytest.mark.django_db
OPERATIONS = ("cut", "roll", "seam", "assemble", "ends", "wrap")


class Clock:
    """Time passes only by sleeping."""

    def __init__(self):
        self.seconds = 0.0

    def __call__(self) -> float:
        return self.seconds

    def sleep(self, seconds: float) -> None:
        self.seconds += seconds


@pytest.fixture
def playing(shop):
    """A shop with a bench an operation, two orders on the floor, and someone in the office."""
    for position, operation in enumerate(OPERATIONS):
        Station.objects.create(
            code=f"{operation.upper()}-1", name=operation, operations=[operation], position=position
        )
    for name in ("Sam Invented", "Pat Example", "Kim Fictional"):
        badge(name)
    Person.objects.create_user("office", role="office")
    params = {"diameter": 14, "angle": 90, "pieces": 3, "radius_ratio": 1.5}
    for _ in range(2):
        order = factories.order(lines=[factories.line(quantity=2, params=params, end_b="swage")])
        order_release(number=order.number, actor=factories.OFFICE_ACTOR, now=timezone.now())
    client = Client(raise_request_exception=False)
    calls = Counter()

    def call(method, path, key, body):
        calls[method, path.split("/")[0]] += 1
        response = client.generic(
            method,
            f"/api/v1/{path}",
            json.dumps(body) if body is not None else "",
            content_type="application/json",
            HTTP_AUTHORIZATION=f"Token {key}",
        )
        return response.status_code, response.json()

    said = []
    clock = Clock()

    def make(seed: int = 1, **more) -> Player:
        return Player(
            **{"call": call, "now": timezone.now(), "speed": 60, "seed": seed, "say": said.append,
               "clock": clock, "sleep": clock.sleep} | more
        )  # fmt: skip

    make.said, make.calls, make.clock = said, calls, clock
    return make


def test_a_day_moves_work_through_the_shop(playing, monkeypatch):
    monkeypatch.setattr("shopfloor.player.FORGETS", 0.0)
    monkeypatch.setattr("shopfloor.player.HOLDS", 0.0)
    monkeypatch.setattr("shopfloor.player.SCRAPS", 0.0)
    player = playing()
    player.open()
    done = player.play(110)
    player.close()
    assert done.outcomes["recorded"] > 60
    assert set(done.outcomes) <= {"recorded", "refused"}
    assert done.outcomes["refused"] <= done.outcomes["recorded"] * 0.1
    assert done.released >= 1
    played = Order.objects.filter(purchase_order__startswith="PLAY-", state__in=("released", "done"))
    assert played.count() == done.released
    assert Scan.objects.count() == sum(done.outcomes.values()) == playing.calls["POST", "scans"]
    assert Order.objects.filter(state="done").count() >= 1, "the first orders went out of the door"
    assert replay(write=False).differences == []


def test_cutters_finish_whole_sheets_where_there_are_any(playing):
    order = Order.objects.order_by("pk").first()
    plan = made_plan(order, sent=True)
    sheets = set(plan.sheets.values_list("code", flat=True))
    on_sheets = Task.objects.filter(operation="cut", segment__cut_pieces__plan=plan)
    minutes = sum(on_sheets.values_list("minutes", flat=True))
    player = playing()
    sheet = plan.sheets.get(position=1)
    assert sum(player.minutes_of(code, "cut") for code in sheets) == pytest.approx(minutes)
    player.open()
    player.play(minutes * 1.25 + 10)
    player.close()
    assert Scan.objects.filter(code=sheet.code, action="finish", outcome="recorded").exists()
    assert set(on_sheets.values_list("state", flat=True)) == {"done"}
    assert replay(write=False).differences == []


def test_a_quarter_of_an_hour_is_one_line_and_takes_its_time(playing):
    player = playing(speed=30)
    player.open()
    player.play(61)
    assert [line.split()[0] for line in playing.said] == ["0:15", "0:30", "0:45", "1:00"]
    assert 118 <= playing.clock.seconds <= 125, "an hour at thirty times the speed is two minutes"


def test_some_scans_are_forgotten_and_some_pieces_held_or_scrapped(playing, monkeypatch):
    """A day of mishaps: the chances are raised so that an hour shows what a day does."""
    for name in ("FORGETS", "SCRAPS", "HOLDS"):
        monkeypatch.setattr(f"shopfloor.player.{name}", 0.15)
    player = playing()
    player.open()
    done = player.play(75)
    assert {"start", "finish", "hold", "resume", "scrap"} <= set(done.actions)
    assert done.forgotten > 0
    assert Task.objects.filter(is_implied=True).exists() or Task.objects.filter(state="held").exists()
    assert replay(write=False).differences == []


def test_a_second_shift_of_the_same_seed_is_no_repeat_of_the_first(playing):
    """Ids are never used twice: a repeated id would get the first one's answer and do nothing."""
    for _ in range(2):
        player = playing()
        player.open()
        assert set(player.play(10).outcomes) <= {"recorded", "refused"}
        player.close()


def test_its_keys_are_dead_afterwards(playing):
    player = playing()
    player.open()
    assert Key.objects.filter(revoked_at=None).count() == len(OPERATIONS) + 1
    player.close()
    assert Key.objects.filter(revoked_at=None).count() == 0


def test_the_same_id_goes_again_while_the_app_is_away(playing):
    player = playing()
    whole, ids, away = player.call, [], [3]

    def call(method, path, key, body):
        if path == "scans/":
            ids.append(body["scans"][0]["id"])
            if away[0]:
                away[0] -= 1
                return 0, {}
        return whole(method, path, key, body)

    player.call = call
    player.open()
    player.play(20)
    assert len(set(ids[:4])) == 1
    assert Scan.objects.count() == len(ids) - 3


def test_it_gives_up_with_a_sentence(playing):
    player = playing(call=lambda *_: (0, {}))
    player.open()
    with pytest.raises(Unreachable, match="did not answer GET station/queue/"):
        player.play(10)


def test_the_command_takes_its_keys_back_when_the_app_is_not_there(playing, monkeypatch, capsys):
    monkeypatch.setattr("shopfloor.player.TRIES", 1)
    monkeypatch.setattr("shopfloor.player.time.sleep", lambda _: None)
    with pytest.raises(SystemExit) as ended:
        call_command("play_shift", "--url", "http://127.0.0.1:1", "--minutes", "5", "--speed", "10000")
    assert ended.value.code == 1
    assert "did not answer" in capsys.readouterr().err
    assert Key.objects.filter(revoked_at=None).count() == 0
