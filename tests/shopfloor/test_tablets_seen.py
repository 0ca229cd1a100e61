"""What tablets tell of themselves: kept as when they were seen, and shown on the page of stations."""

from __future__ import annotations

import json
from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from shopfloor import presence
from shopfloor.models import Tablet
from tests.pages import text_of

from .conftest import NOW
from .tablets import enrolled, scan, send

JSON_SCHEMA = "application/vnd.oai.openapi+json"
TOLD = {
    "version": "1a2b3c4d",
    "unsent": 7,
    "oldest_unsent": 2400,
    "battery": 81,
    "charging": "no",
}


@pytest.fixture(autouse=True)
def forget():
    presence._written.clear()


@pytest.fixture
def clock(monkeypatch):
    """The server's clock, set by hand: clock(seconds) after NOW."""
    at = [NOW]
    monkeypatch.setattr(timezone, "now", lambda: at[0])

    def put(seconds: float) -> None:
        at[0] = NOW + timedelta(seconds=seconds)

    return put


def poll(client, **headers):
    given = {f"HTTP_TABLET_{name.upper()}": str(value) for name, value in headers.items()}
    answer = client.get(reverse("api_station_queue"), **given)
    assert answer.status_code == 200
    return answer


def told(tablet: Tablet) -> tuple:
    tablet.refresh_from_db()
    return tablet.version, tablet.unsent, tablet.oldest_unsent_at, tablet.battery, tablet.is_charging


# -- kept -------------------------------------------------------------------


def test_a_queue_poll_tells_and_is_kept(station, clock):
    tablet, client = enrolled(station(), NOW)
    poll(client, **TOLD)
    assert told(tablet) == ("1a2b3c4d", 7, NOW - timedelta(minutes=40), 81, False)
    assert tablet.seen_at == NOW


def test_a_batch_of_scans_tells_and_is_kept(station, clock):
    tablet, client = enrolled(station(), NOW)
    assert send(client, [scan(1)], **TOLD).status_code == 200
    assert told(tablet) == ("1a2b3c4d", 7, NOW - timedelta(minutes=40), 81, False)


def test_a_tablet_that_tells_nothing_was_seen_all_the_same(station, clock):
    tablet, client = enrolled(station(), NOW)
    poll(client)
    assert told(tablet) == ("", None, None, None, None)
    assert tablet.seen_at == NOW


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("version", "x" * 41),
        ("version", "<script>"),
        ("unsent", "-1"),
        ("unsent", "many"),
        ("unsent", "99999999999999999999"),
        ("unsent", "²"),
        ("oldest_unsent", "1e9"),
        ("battery", "101"),
        ("charging", "perhaps"),
    ],
)
def test_what_cannot_be_read_counts_as_not_told_and_refuses_nothing(station, clock, name, value):
    tablet, client = enrolled(station(), NOW)
    value = value.encode().decode("latin-1")
    assert send(client, [scan(1)], **(TOLD | {name: value})).status_code == 200
    good = {
        "version": "1a2b3c4d", "unsent": 7, "oldest_unsent": NOW - timedelta(minutes=40), "battery": 81,
        "charging": False,
    }  # fmt: skip
    if name in ("unsent", "oldest_unsent"):
        good["oldest_unsent"] = None
    good[name] = "" if name == "version" else None
    assert told(tablet) == tuple(good.values())


def test_it_is_written_at_most_every_half_minute(station, clock, django_assert_num_queries):
    tablet, client = enrolled(station(), NOW)
    poll(client, battery=90)
    for seconds in (1, 15, 29):
        clock(seconds)
        poll(client, battery=50)
    assert told(tablet)[3] == 90
    clock(30)
    poll(client, battery=50)
    assert (told(tablet)[3], tablet.seen_at) == (50, NOW + timedelta(seconds=30))


def test_another_process_that_wrote_it_just_now_is_enough(station, clock):
    tablet, client = enrolled(station(), NOW)
    poll(client, battery=90)
    presence._written.clear()
    clock(10)
    poll(client, battery=50)
    assert told(tablet)[3] == 90


def test_a_server_clock_that_was_put_back_writes_again(station, clock):
    tablet, client = enrolled(station(), NOW)
    poll(client)
    clock(-3600)
    poll(client)
    tablet.refresh_from_db()
    assert tablet.seen_at == NOW - timedelta(hours=1)


def test_a_database_that_is_busy_stops_no_queue(station, monkeypatch):
    from shared.problems import Busy

    def busy(**_):
        raise Busy()

    tablet, client = enrolled(station(), NOW)
    monkeypatch.setattr(presence, "write_turn", busy)
    poll(client, **TOLD)
    tablet.refresh_from_db()
    assert tablet.seen_at is None


def test_only_the_tablet_itself_is_seen(station, signed_in, clock):
    tablet, _ = enrolled(station(), NOW)
    supervisor = signed_in("supervisor")
    supervisor.post("/api/v1/scans/", {"scans": [scan(1, station="ROLL-1")]}, content_type="application/json")
    tablet.refresh_from_db()
    assert tablet.seen_at is None


def test_the_headers_are_in_the_schema_as_optional(shop, client):
    schema = json.loads(client.get("/api/schema/", HTTP_ACCEPT=JSON_SCHEMA).content)["paths"]
    names = {
        "Tablet-Version", "Tablet-Unsent", "Tablet-Oldest-Unsent", "Tablet-Battery", "Tablet-Charging",
        "Tablet-Series",
    }  # fmt: skip
    for path, method in (("/api/v1/scans/", "post"), ("/api/v1/station/queue/", "get")):
        given = {
            one["name"]: one.get("required", False)
            for one in schema[path][method]["parameters"]
            if one["in"] == "header"
        }
        assert given == dict.fromkeys(names, False)


def test_the_page_carries_the_version_that_the_server_gives_out(tablet):
    assert f'data-version="{presence.page_version()}"' in tablet().get(reverse("station")).content.decode()


# -- shown ------------------------------------------------------------------


@pytest.fixture
def listed(signed_in):
    """The words of the page of stations."""
    client = signed_in("supervisor")
    return lambda: text_of(client.get(reverse("stations"))).replace("\xa0", " ")


def put(tablet: Tablet, **told) -> None:
    Tablet.objects.filter(pk=tablet.pk).update(**told)


def ago(**span):
    return timezone.now() - timedelta(**span)


def test_a_tablet_is_listed_with_all_that_it_told(station, listed):
    tablet, _ = enrolled(station(), NOW, "Tablet by the roll", by="pat")
    put(
        tablet, seen_at=ago(seconds=20), version=presence.page_version(), battery=81, is_charging=True, unsent=3,
        oldest_unsent_at=ago(minutes=4),
    )  # fmt: skip
    text = listed()
    assert "Tablet by the roll ROLL-1 20 s ago" in text
    assert "3, oldest 4 min 81 %, charging up to date none Wed 4 Mar, 09:00 by pat Revoke" in text
    assert "Not seen" not in text
    assert "Unsent for" not in text


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ({"seen_at": {"minutes": 16}}, "Not seen for 16 min"),
        ({"seen_at": {"days": 2, "hours": 3}}, "Not seen for 2 d 3 h"),
        ({"seen_at": {"seconds": 5}, "oldest_unsent_at": {"minutes": 11}}, "Unsent for 11 min"),
    ],
)
def test_a_tablet_not_seen_for_long_or_with_old_unsent_scans_is_marked_in_words(station, listed, told, words):
    tablet, _ = enrolled(station(), NOW)
    put(tablet, unsent=2, **{name: ago(**span) for name, span in told.items()})
    assert words in listed()


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ({"battery": 15, "is_charging": False}, "Battery low"),
        ({"version": "0ld00000"}, "older (0ld00000)"),
        ({"unsent": 0}, "none"),
    ],
)
def test_other_words(station, listed, told, words):
    tablet, _ = enrolled(station(), NOW)
    put(tablet, seen_at=timezone.now(), **told)
    assert words in listed()


def test_a_low_battery_that_is_charging_is_no_warning(station, listed):
    tablet, _ = enrolled(station(), NOW)
    put(tablet, seen_at=timezone.now(), battery=5, is_charging=True)
    assert "Battery low" not in listed()


def test_a_tablet_that_never_was_seen_is_marked_and_those_with_a_mark_come_first(station, listed):
    good, _ = enrolled(station("A-1"), NOW, "Good one")
    put(good, seen_at=timezone.now())
    enrolled(station("B-1"), NOW, "Silent one")
    text = listed()
    assert "Silent one B-1 Never seen" in text
    assert text.index("Silent one B-1") < text.index("Good one A-1")


def test_a_revoked_tablet_is_listed_no_more_and_revoking_is_one_press(station, signed_in, listed):
    tablet, client = enrolled(station(), NOW, "Lost tablet")
    assert "Lost tablet ROLL-1" in listed()
    signed_in("supervisor").post(reverse("tablet_revoke", args=[tablet.pk]))
    assert "Lost tablet ROLL-1" not in listed()
    assert client.get(reverse("api_station_queue")).status_code == 401


def test_numbers_that_have_not_come_are_counted_after_five_minutes(station, listed):
    from shopfloor.models import NumberGap

    tablet, client = enrolled(station(), NOW)
    send(client, [scan(2), scan(5)])
    put(tablet, seen_at=timezone.now(), battery=50, is_charging=False, version="", unsent=0)
    assert "50 % not told none" in listed()
    NumberGap.objects.update(noticed_at=ago(minutes=6))
    assert "50 % not told 3" in listed()


def test_the_list_costs_the_same_however_many_tablets(station, signed_in, django_assert_max_num_queries):
    client, place = signed_in("supervisor"), station()
    for number in range(30):
        enrolled(place, NOW, f"Tablet {number}")
    with django_assert_max_num_queries(12):
        answer = client.get(reverse("stations"))
    assert b"Tablet 29" in answer.content
