"""POST and GET /api/v1/scans/: the contract of the tablets and of those who read the record."""

from __future__ import annotations

import json

import pytest
from django.test import Client

from shopfloor.keys import key_make
from shopfloor.models import Key, Station
from tests.conftest import ApiCaller
from tests.travelers.floor import NOW, Floor, floor
from travelers.models import Scan, ScanMismatch
from travelers.replay import replay

pytestmark = pytest.mark.django_db
KEYS_OF_A_RESULT = {"id", "outcome", "first_outcome", "message", "code", "operation", "changed", "sequence"}


@pytest.fixture
def on(shop) -> Floor:
    return floor()


@pytest.fixture
def tablet(on):
    """`tablet("CUT-1", "cut")`: a caller with the key of that station."""

    def make(code: str, *operations: str) -> ApiCaller:
        station, _ = Station.objects.get_or_create(
            code=code, defaults={"name": code, "operations": list(operations)}
        )
        return ApiCaller(Client(raise_request_exception=False), key_make(now=NOW, station=station)[1])

    return make


def results(response) -> list[dict]:
    assert response.status_code == 200, response.content
    return response.json()["results"]


def test_a_batch_answers_each_scan_in_order(on, tablet):
    good = on.body(on.segment(1).code, "finish")
    wrong = on.body("GARBAGE", "finish")
    found = results(
        tablet("CUT-1", "cut").post(
            "scans/", {"scans": [good, wrong, good, on.body(on.segment(2).code, "finish")]}
        )
    )
    assert [one["outcome"] for one in found] == ["recorded", "refused", "repeated", "recorded"]
    assert [one["first_outcome"] for one in found] == ["recorded", "refused", "recorded", "recorded"]
    assert all(set(one) >= KEYS_OF_A_RESULT for one in found)
    assert [one["sequence"] for one in found] == [1, 2, 1, 3]
    assert found[0]["message"] == "Gore 1 of 3 cut. Next: Roll."
    assert [one["changed"] for one in found] == [2, 0, 0, 2]


def test_a_batch_sent_again_after_a_lost_answer_changes_nothing(on, tablet):
    caller = tablet("CUT-1", "cut")
    batch = {"scans": [on.body(on.segment(position).code, "finish") for position in (1, 2, 3)]}
    first = results(caller.post("scans/", batch))
    again = results(caller.post("scans/", batch))
    assert [one["outcome"] for one in again] == ["repeated"] * 3
    assert [(one["message"], one["sequence"]) for one in again] == [
        (one["message"], one["sequence"]) for one in first
    ]
    assert Scan.objects.count() == 3


def test_five_hundred_at_once(on, tablet):
    code = on.segment(1).code
    found = results(
        tablet("CUT-1", "cut").post("scans/", {"scans": [on.body(code, "start") for _ in range(500)]})
    )
    assert [one["outcome"] for one in found].count("recorded") == 1
    assert [one["sequence"] for one in found] == list(range(1, 501))


@pytest.mark.parametrize(
    "body",
    [None, [], {}, {"scans": None}, {"scans": []}, {"scans": "x"}, {"scans": {}}, {"scans": [{}] * 501}],
)
def test_a_body_that_is_no_batch_is_refused_naming_the_range(on, tablet, body):
    response = tablet("CUT-1", "cut").post("scans/", body)
    assert response.status_code == 400
    assert response["Content-Type"] == "application/problem+json"
    problem = response.json()
    assert [(one["field"], one["limit"]) for one in problem["errors"]] == [
        ("scans", "a list of 1 to 500 scans")
    ]
    assert Scan.objects.count() == 0


@pytest.mark.parametrize(
    "raw", [b"{", b"\xff\xfe", b'{"scans": [NaN]}', b'{"scans": [1e999]}', b"[" * 100_000]
)
def test_what_is_no_json_is_refused(on, tablet, raw):
    response = tablet("CUT-1", "cut").call("POST", "scans/", raw=raw)
    assert response.status_code == 400
    assert Scan.objects.count() == 0


def test_a_body_above_two_mebibytes_is_refused(on, tablet):
    raw = json.dumps({"scans": [{"id": "x" * (2 * 1024 * 1024)}]}).encode()
    assert tablet("CUT-1", "cut").call("POST", "scans/", raw=raw).status_code == 413
    assert Scan.objects.count() == 0


def test_things_that_are_no_scans_in_a_batch_do_not_stop_the_others(on, tablet):
    good = on.body(on.segment(1).code, "finish")
    found = results(tablet("CUT-1", "cut").post("scans/", {"scans": [None, 7, "x", [], {}, good]}))
    assert [one["outcome"] for one in found] == ["refused"] * 5 + ["recorded"]


@pytest.mark.parametrize(("role", "status"), [("", 401), ("office", 403), ("display", 403)])
def test_who_may_not_scan(on, api_as, role, status):
    response = api_as(role).post("scans/", {"scans": [on.body(on.segment(1).code, "finish")]})
    assert response.status_code == status
    assert response.json()["status"] == status
    assert Scan.objects.count() == 0


def test_a_badge_alone_opens_nothing(on):
    """It is printed on a card; without an enrolled tablet's key it is just a text."""
    for key in (on.badge, "", "Token"):
        caller = ApiCaller(Client(raise_request_exception=False), key)
        assert caller.post("scans/", {"scans": [on.body(on.segment(1).code, "finish")]}).status_code == 401


def test_a_revoked_key_is_dead_on_the_next_request(on, tablet):
    caller = tablet("CUT-1", "cut")
    assert results(caller.post("scans/", {"scans": [on.body(on.segment(1).code, "finish")]}))
    Key.objects.update(revoked_at=NOW)
    assert caller.post("scans/", {"scans": [on.body(on.segment(2).code, "finish")]}).status_code == 401
    assert Scan.objects.count() == 1


def test_a_station_out_of_use_scans_no_more(on, tablet):
    caller = tablet("CUT-1", "cut")
    Station.objects.update(is_active=False)
    assert caller.post("scans/", {"scans": [on.body(on.segment(1).code, "finish")]}).status_code == 401


def test_the_station_is_the_keys_own(on, tablet):
    body = on.body(on.segment(1).code, "finish", station="ROLL-1")
    found = results(tablet("CUT-1", "cut").post("scans/", {"scans": [body]}))
    assert found[0]["message"] == "Only a supervisor may scan for another station."
    done = results(tablet("CUT-1", "cut").post("scans/", {"scans": [on.body(on.segment(1).code, "finish")]}))
    assert done[0]["operation"] == "cut"
    assert on.task("cut", 1).station == "CUT-1"


def test_a_supervisor_scans_for_any_station_in_use(on, tablet, api_as):
    tablet("ROLL-1", "roll")
    Station.objects.create(code="ROLL-9", name="Old rolls", operations=["roll"], is_active=False)
    code = on.segment(1).code
    bodies = [on.body(code, "finish", station=name, badge="") for name in ("ROLL-9", "NONE", "ROLL-1")]
    found = results(api_as("supervisor").post("scans/", {"scans": bodies}))
    assert [one["outcome"] for one in found] == ["refused", "refused", "recorded"]
    assert on.task("roll", 1).station == "ROLL-1"
    assert replay(write=False).differences == []


def test_the_same_id_with_another_body_is_listed_for_the_supervisor(on, tablet):
    caller = tablet("CUT-1", "cut")
    body = on.body(on.segment(1).code, "finish")
    caller.post("scans/", {"scans": [body, body | {"reason": "another"}]})
    assert ScanMismatch.objects.get().body["reason"] == "another"
    assert Scan.objects.get().reason == ""


# -- reading --------------------------------------------------------------------------------


def test_the_record_is_read_in_pages_oldest_first(on, tablet, api_as):
    caller = tablet("CUT-1", "cut")
    caller.post("scans/", {"scans": [on.body(on.segment(1).code, "start") for _ in range(7)]})
    office = api_as("office")
    page = office.get("scans/?since=2&page_size=3").json()
    assert (page["count"], page["previous"]) == (5, None)
    assert [row["sequence"] for row in page["results"]] == [3, 4, 5]
    rest = office.get(page["next"].removeprefix("/api/v1/")).json()
    assert ([row["sequence"] for row in rest["results"]], rest["next"]) == ([6, 7], None)
    assert office.get("scans/?since=7").json() == {"count": 0, "next": None, "previous": None, "results": []}


def test_a_row_tells_everything_of_its_scan(on, tablet, api_as):
    body = on.body(on.segment(1).code, "hold", reason="No sheet")
    tablet("CUT-1", "cut").post("scans/", {"scans": [body]})
    row = api_as("supervisor").get("scans/").json()["results"][0]
    assert {
        name: row[name] for name in ("id", "code", "action", "badge", "reason", "station", "operation")
    } == {
        "id": body["id"],
        "code": body["code"],
        "action": "hold",
        "badge": on.badge,
        "reason": "No sheet",
        "station": "CUT-1",
        "operation": "cut",
    }
    assert row["outcome"] == "recorded"
    assert row["scanned_at"] is not None
    assert row["received_at"] is not None


@pytest.mark.parametrize(
    "query", ["since=-1", "since=x", "since=1.5", "page_size=0", "page_size=501", "since=" + "9" * 30]
)
def test_a_wrong_question_names_field_and_range(on, api_as, query):
    response = api_as("office").get(f"scans/?{query}")
    assert response.status_code == 400
    error = response.json()["errors"][0]
    assert error["field"] == query.split("=")[0]
    assert "a whole number from" in error["limit"]


def test_who_may_read_the_record(on, tablet, api_as):
    assert api_as("").get("scans/").status_code == 401
    assert api_as("display").get("scans/").status_code == 403
    for caller in (api_as("office"), api_as("supervisor"), tablet("CUT-1", "cut")):
        assert caller.get("scans/").status_code == 200


@pytest.mark.parametrize("method", ["PUT", "PATCH", "DELETE"])
def test_the_record_cannot_be_changed(on, api_as, method):
    assert api_as("supervisor").call(method, "scans/", {}).status_code == 405


def test_one_scan_takes_few_queries(on, tablet, django_assert_max_num_queries):
    caller = tablet("CUT-1", "cut")
    caller.post("scans/", {"scans": [on.body(on.segment(1).code, "finish")]})
    with django_assert_max_num_queries(15):
        caller.post("scans/", {"scans": [on.body(on.segment(2).code, "finish")]})


def test_an_office_key_reads_but_a_stations_key_does_no_office_act(on, tablet):
    caller = tablet("CUT-1", "cut")
    assert caller.post(f"orders/{on.order.number}/cancel/").status_code == 403
    assert caller.post("orders/", {}).status_code == 403
