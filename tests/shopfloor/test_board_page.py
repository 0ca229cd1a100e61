"""The board through its addresses: who may see it, what is not sent twice, what stands on the wall."""

from __future__ import annotations

import doctest
import json
from dataclasses import replace
from datetime import timedelta
from types import SimpleNamespace

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from shared.units import NO_BREAK
from shopfloor import live as live_module
from shopfloor.attention import LateRisk
from shopfloor.keys import key_make
from shopfloor.models import Key
from shopfloor.views import board as board_views
from tests.factories import key_for
from travelers.models import Task
from travelers.pulse import pulse_beat

from .floor_of_four import operation_codes, released, scan, segments, stations

NOW = timezone.now()


@pytest.fixture
def floor(shop):
    stations()
    return released(
        now=NOW - timedelta(hours=1), due=(timezone.localtime(NOW) - timedelta(days=1)).date().isoformat()
    )


def caller(role: str) -> Client:
    return Client(headers={"Authorization": f"Token {key_for(role)}"})


def test_the_api_answers_the_contracts_names(floor):
    body = caller("display").get("/api/v1/board/").json()
    assert {"as_of", "version", "operations", "bottleneck", "short_kits", "late_risk"} <= body.keys()
    assert [one["operation"] for one in body["operations"]] == operation_codes()
    wanted = {
        "waiting",
        "ready",
        "running",
        "held",
        "done_today",
        "oldest_ready_minutes",
        "hours_queued",
        "arrivals_per_hour",
        "finishes_per_hour",
        "piling_up",
        "why",
    }
    assert all(wanted <= one.keys() for one in body["operations"])


@pytest.mark.parametrize("path", ["/api/v1/board/", "/api/v1/board/stream/"])
def test_nobody_sees_the_board_without_a_key(shop, path):
    answer = Client().get(path, headers={"Accept": "text/event-stream" if "stream" in path else "*/*"})
    assert answer.status_code == 401
    assert answer["Content-Type"] == "application/problem+json"


@pytest.mark.parametrize("role", ["office", "supervisor", "operator", "display"])
def test_every_role_may_read_the_api(floor, role):
    assert caller(role).get("/api/v1/board/").status_code == 200


@pytest.mark.parametrize(
    ("role", "status"), [("office", 200), ("supervisor", 200), ("display", 200), ("operator", 403)]
)
def test_the_page_is_for_those_who_steer(floor, role, status):
    for path in ("/board/", "/board/part/"):
        assert caller(role).get(path).status_code == status


@pytest.mark.parametrize("path", ["/api/v1/board/", "/board/part/"])
def test_what_the_client_has_is_not_sent_again(floor, path, monkeypatch):
    monkeypatch.setattr(live_module, "this_minute", lambda: 7)
    client = caller("display")
    first = client.get(path)
    with CaptureQueriesContext(connection) as seen:
        again = client.get(path, headers={"If-None-Match": first["ETag"]})
    assert again.status_code == 304 and not again.content
    assert len(seen) == 2, "the key and the version"
    pulse_beat(changes=1)
    fresh = client.get(path, headers={"If-None-Match": first["ETag"]})
    assert fresh.status_code == 200 and fresh["ETag"] != first["ETag"]


def test_ages_are_sent_again_once_a_minute(floor, monkeypatch):
    client = caller("display")
    monkeypatch.setattr(live_module, "this_minute", lambda: 7)
    first = client.get("/api/v1/board/")
    monkeypatch.setattr(live_module, "this_minute", lambda: 8)
    assert client.get("/api/v1/board/", headers={"If-None-Match": first["ETag"]}).status_code == 200


def test_a_scan_is_in_the_next_answer(floor):
    client = caller("display")
    before = client.get("/api/v1/board/").json()
    scan(segments(floor)[0].code, "cut", now=NOW)
    after = client.get("/api/v1/board/").json()
    assert after["version"] > before["version"]
    assert after["operations"][0]["ready"] == before["operations"][0]["ready"] - 1


def test_the_stream_is_of_events(live_shop):
    answer = caller("display").get("/api/v1/board/stream/", headers={"Accept": "text/event-stream"})
    assert answer.status_code == 200
    assert answer["Content-Type"] == "text/event-stream"
    assert answer["Cache-Control"] == "no-store"
    chunks = iter(answer.streaming_content)
    assert next(chunks) == b"retry: 2000\n\n"
    event = next(chunks)
    assert event.startswith(b"id: ") and b"\nevent: version\ndata: {" in event
    assert json.loads(event.split(b"data: ")[1])["operations"]
    answer.close()
    assert live_module.live.seats_taken == 0
    watcher = live_module.live._watcher
    if watcher is not None:
        watcher.join(3)


def test_a_revoked_key_and_a_closed_account_are_not_allowed_on(shop, rf, person):
    from shopfloor.api.board import _is_allowed
    from shopfloor.keys import actor_of_key

    someone = person("display")
    key, secret = key_make(now=NOW, person=someone)
    request = rf.get("/", headers={"Authorization": f"Token {secret}"})
    is_allowed = _is_allowed(request, actor_of_key(secret))
    assert is_allowed()
    Key.objects.filter(pk=key.pk).update(revoked_at=NOW)
    assert not is_allowed()


def test_a_signed_out_browser_is_not_allowed_on(signed_in, rf):
    from shopfloor.api.board import _is_allowed
    from shopfloor.keys import actor_of_person
    from shopfloor.models import Person

    client = signed_in("supervisor")
    request = rf.get("/")
    request.session = client.session
    is_allowed = _is_allowed(request, actor_of_person(Person.objects.get(username="supervisor")))
    assert is_allowed()
    client.logout()
    assert not is_allowed()


def test_the_page_says_in_words_what_piles_up_and_why(floor):
    Task.objects.filter(operation="cut").update(minutes=60)
    pulse_beat(changes=1)
    page = caller("supervisor").get("/board/").content.decode()
    assert "Cut piles up" in page
    assert "20.0 h queued" in page and "20 gores of 1 order" in page


def test_the_page_is_calm_when_nothing_piles_up(shop):
    page = caller("supervisor").get("/board/").content.decode()
    assert "Nothing piles up" in page and "No order due soon is at risk" in page
    assert 'data-state="piling"' not in page
    assert "No station is in use yet. Add the first on the page Stations." in page


def test_the_page_says_whether_it_is_calm_for_want_of_work(shop):
    stations()
    pulse_beat(changes=1)
    assert "No work is on the floor." in caller("supervisor").get("/board/").content.decode()
    released(now=NOW)
    assert "Every bay clears its queue" in caller("supervisor").get("/board/").content.decode()


def test_the_page_names_the_short_kit_and_the_late_order(floor):
    for piece in segments(floor)[1:]:
        scan(piece.code, "seam", now=NOW)
    page = caller("supervisor").get("/board/").content.decode()
    assert "AHU-3</strong> of " in page and "gore 1 is at cut" in page
    assert "1 day overdue" in page
    assert "floor-icon" in page


def test_the_part_is_what_stands_in_the_page(floor):
    client = caller("supervisor")
    part = client.get("/board/part/").content.decode()
    page = client.get("/board/").content.decode()
    assert part.split('class="floor-clock"')[0] in page
    assert part.rstrip().endswith("</section>")


def test_the_page_works_without_a_script_and_has_none_inline(floor):
    page = caller("display").get("/board/").content.decode()
    assert '<noscript><meta http-equiv="refresh" content="10"></noscript>' in page
    assert " style=" not in page and "<style" not in page
    assert page.count("<script") == 1 and 'src="' in page.split("<script")[1].split(">")[0]


def test_a_display_gets_no_way_to_other_pages(floor):
    assert "floor-pages" not in caller("display").get("/board/").content.decode()
    assert "floor-pages" in caller("supervisor").get("/board/").content.decode()


def test_the_examples_in_the_docstrings_run():
    assert doctest.testmod(board_views).failed == 0


def test_an_order_at_risk_says_its_dates_where_they_are_known():
    late = LateRisk("1042", "Riverside Mechanical", "2026-03-03", 0, 12.44, 3.1, 4, "")
    assert board_views.late_words(late) == "due Tue: 12.4 h to do, 3.1 h left"
    dates = {"likely_at": "2026-03-03T14:00:00-06:00", "sure_at": "2026-03-04T10:00:00-06:00"}
    assert board_views.late_words(replace(late, **dates)) == f"due Tue, expected Tue, 90{NO_BREAK}% Wed"
    dates |= {"likely_at": "2026-03-11T14:00:00-06:00", "sure_at": "2026-03-11T15:00:00-06:00"}
    overdue = replace(late, days_overdue=1, hours_left=0.0, **dates)
    assert board_views.late_words(overdue) == "1 day overdue, expected 11 Mar"


def test_a_why_that_is_too_long_for_two_lines_leaves_out_what_the_pile_is_of_first():
    calm = SimpleNamespace(name="Wrap", said=("0.1 h queued.",))
    parts = ("6.5 h queued.", "31 gores of 3 orders.", "Seam starves from 14:10.", "BENCH-2 can do it.")
    assert board_views.piling_words([SimpleNamespace(name="Roll", said=parts), calm]) == (
        "6.5 h queued. 31 gores of 3 orders. Seam starves from 14:10. BENCH-2 can do it. Also: Wrap."
    )
    longer = (f"{'6' * 60}.5 h queued.", *parts[1:])
    said = board_views.piling_words([SimpleNamespace(name="Roll", said=longer), calm])
    assert said == f"{longer[0]} Seam starves from 14:10. BENCH-2 can do it. Also: Wrap."
    assert len(said) <= board_views.WHY_ROOM
