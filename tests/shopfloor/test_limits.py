"""Limits and refusals of the HTTP contract: each row of its table by name, asked from outside.

`row("…")` names the row that a test is of; the last test fails for a row that none is of.
"""

from __future__ import annotations

import base64
import csv
import io
import json
import time
from contextlib import contextmanager
from datetime import timedelta

import pytest
from django.conf import settings as app_settings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection, connections
from django.test import Client
from django.utils import timezone

from fittings.models import Customer, KeptAnswer, Order, Segment
from shared import turn
from shared.api import body_digest
from shared.sheets import guarded
from shopfloor.access import CODE_DIGITS, CODE_GOOD_FOR
from shopfloor.api.board import _is_allowed
from shopfloor.keys import actor_of_key
from shopfloor.models import EnrolmentCode, Key, Station, Tablet
from shopfloor.open_streams import CHECK_SECONDS
from tests.conftest import ApiCaller
from tests.factories import NOW, OFFICE_ACTOR, elbow_params, key_for, line, order, order_body, person
from tests.pages import browser_of
from travelers.models import Operator, Scan, Task
from travelers.release import order_release

from .access_table import SUPPORT, example, examples, table_rows
from .conftest import PASSWORD
from .floor_of_four import scan, segments, stations

ROWS = (
    *("JSON body", "uploads", "text in CSV and XLSX that we write", "numbers"),
    *("repeated create, import, release", "two editors", "wrong sign-in", "keys", "enrolling a tablet"),
    *("a badge", "database busy or disk low", "board older than 30 s on a display"),
)
tested: set[str] = set()


def row(name: str):
    assert name in ROWS, name

    def mark(test):
        tested.add(name)
        return test

    return mark


@contextmanager
def nothing_stored():
    def counts():
        return [model.objects.count() for model in (Order, Customer, Segment, Task, Scan, KeptAnswer, Key)]

    before = counts()
    yield
    assert counts() == before


def refused(answer, status: int) -> dict:
    """The problem details of a refusal: a sentence at least."""
    assert answer.status_code == status, answer.content[:300]
    assert answer["Content-Type"] == "application/problem+json"
    body = answer.json()
    assert body["status"] == status and body["title"] and body["detail"].endswith(".")
    return body


# -- JSON body -------------------------------------------------------------------


def body_rows():
    return [row for row in table_rows() if row.is_api and set(row.methods) & {"POST", "PATCH"}]


@row("JSON body")
def test_json_body_above_two_mebibytes_is_refused_at_every_address(shop):
    there = examples()
    long = b'{"notes": "' + b"x" * (2 * 1024 * 1024 - 12) + b'"}'
    assert len(long) == 2 * 1024 * 1024 + 1
    callers = {role: Client(headers={"Authorization": f"Token {key_for(role)}"}) for role in ("supervisor",)}
    with nothing_stored():
        for one in body_rows():
            for method in set(one.methods) & {"POST", "PATCH"}:
                path = example(one.address, there)
                answer = callers["supervisor"].generic(method, path, long, content_type="application/json")
                assert "2097152" in refused(answer, 413)["detail"], path


@row("JSON body")
def test_json_body_of_two_mebibytes_is_read(office):
    body = json.dumps(order_body()).encode()
    whole = body + b" " * (2 * 1024 * 1024 - len(body))
    assert office.call("POST", "orders/", raw=whole).status_code == 201


# -- uploads ----------------------------------------------------------------------


@row("uploads")
def test_upload_beyond_five_mebibytes_and_its_frame_is_refused_unread_wherever_it_is_sent(shop):
    there, client = examples(), browser_of("office")
    anybody = Client()
    for one in table_rows():
        if "POST" not in one.methods or one.address == SUPPORT:
            continue
        for sender in (client, anybody):
            answer = sender.post(
                example(one.address, there),
                b"x",
                content_type="multipart/form-data; boundary=frame",
                CONTENT_LENGTH=str(app_settings.LONGEST_BODY + 1),
            )
            assert answer.status_code == 413, one.address
            assert b"at most 6291456" in answer.content


@row("uploads")
def test_api_takes_no_file_where_json_is_asked_for(office):
    key = office.headers
    with nothing_stored():
        for path in ("orders/", "customers/", "develop/", "nest/", "stock/"):
            file = SimpleUploadedFile("orders.csv", b"customer\r\n", content_type="text/csv")
            answer = office.client.post(f"/api/v1/{path}", {"file": file}, **key)
            assert answer.status_code == 415, path


# -- text in CSV and XLSX that we write ----------------------------------------------


@row("text in CSV and XLSX that we write")
@pytest.mark.parametrize("first", ["=", "+", "-", "@", "\t", "\r", "\0"])
def test_text_that_a_spreadsheet_would_count_gets_a_leading_apostrophe(first):
    assert guarded(f"{first}1+1") == f"'{first}1+1"


@row("text in CSV and XLSX that we write")
@pytest.mark.parametrize("value", [-3, 0, 2.5, -0.125, None, "1+1", "AHU-3", ""])
def test_numbers_stay_numbers_and_plain_text_itself(value):
    assert guarded(value) == value


@row("text in CSV and XLSX that we write")
def test_csv_that_we_write_holds_no_formula(shop):
    """A reason is typed by anybody at a tablet, and stands in the office's spreadsheet."""
    stations()
    made = order(lines=[line(quantity=1)])
    order_release(number=made.number, actor=OFFICE_ACTOR, now=NOW)
    for piece, reason in zip(segments(made), ("=1+1", "+1", "-1+2", "@SUM(A1)"), strict=False):
        scan(piece.code, "cut", now=NOW, action="scrap", reason=reason)
    answer = browser_of("office").get("/cut-plans/figures.csv?what=scrap&months=all")
    assert answer.status_code == 200
    head, *rows = csv.reader(io.StringIO(answer.content.decode()))
    assert {one[head.index("reason")] for one in rows} == {"'=1+1", "'+1", "'-1+2", "'@SUM(A1)"}
    assert {one[head.index("segments")] for one in rows} == {"1"}


# -- numbers -----------------------------------------------------------------------


NOT_NUMBERS = ("NaN", "Infinity", "-Infinity", "1e999", "-1e999", "9" * 5000)


@row("numbers")
@pytest.mark.parametrize("word", NOT_NUMBERS)
def test_number_that_is_none_is_refused_within_a_second_wherever_a_body_is_taken(shop, word):
    there, raw = examples(), b'{"diameter": ' + word.encode() + b"}"
    without_body = (
        "/release/",
        "/cancel/",
        "/stop/",
        "/again/",
        "/drop/",
        "/send/",
        "/take-off/",
        "/pin/",
        "/revoke/",
        "/secret/",
        "/trial/",
        "/key/",
        "/end/",
        "/stands/",
        "/take-back/",
    )
    keys = {role: key_for(role) for role in ("supervisor", "office", "operator")}
    with nothing_stored():
        for one in body_rows():
            if one.address.endswith(without_body):
                continue
            for method in set(one.methods) & {"POST", "PATCH"}:
                began = time.process_time()
                who = next(role for role in ("supervisor", "office", "operator") if one.told[role] == "yes")
                client = Client(headers={"Authorization": f"Token {keys[who]}"})
                answer = client.generic(
                    method, example(one.address, there), raw, content_type="application/json"
                )
                refused(answer, 400)
                assert time.process_time() - began < 1, one.address


@row("numbers")
@pytest.mark.parametrize(
    ("params", "field"),
    [
        ({"diameter": 1e308}, "diameter"),
        ({"diameter": -14}, "diameter"),
        ({"diameter": 0}, "diameter"),
        ({"angle": 1e9}, "angle"),
        ({"pieces": 10**30}, "pieces"),
        ({"radius_ratio": -1e300}, "radius_ratio"),
    ],
)
def test_number_out_of_range_is_refused_within_a_second_naming_field_value_and_range(office, params, field):
    given = line(params=elbow_params(**params))
    began = time.monotonic()
    with nothing_stored():
        answer = office.post("orders/", order_body(lines=[given]))
    assert time.monotonic() - began < 1
    (error,) = refused(answer, 400)["errors"]
    assert error["field"] == f"lines[0].params.{field}"
    assert error["value"] not in ("", None) and error["limit"] and error["message"].endswith(".")


# -- repeated create, release --------------------------------------------------------


@row("repeated create, import, release")
def test_repeated_create_and_release_get_the_first_answer_and_one_effect(office):
    made = [office.post("orders/", order_body(), idempotency_key="make") for _ in range(2)]
    assert [answer.status_code for answer in made] == [201, 201]
    assert made[0].json() == made[1].json()
    number = made[0].json()["number"]
    released = [office.post(f"orders/{number}/release/", idempotency_key="go") for _ in range(2)]
    assert [answer.status_code for answer in released] == [200, 200]
    assert released[0].json() == released[1].json()
    assert (Order.objects.count(), Segment.objects.count()) == (1, 20)


@row("repeated create, import, release")
def test_repeated_key_with_another_body_is_422_and_while_the_first_runs_409(office):
    office.post("orders/", order_body(), idempotency_key="make")
    with nothing_stored():
        refused(office.post("orders/", order_body(notes="Other"), idempotency_key="make"), 422)
    digest = body_digest(["POST", "/api/v1/orders/", order_body()])
    KeptAnswer.objects.update(status=None, body=None, body_digest=digest, made_at=timezone.now())
    with nothing_stored():
        answer = office.post("orders/", order_body(), idempotency_key="make")
        assert "still running" in refused(answer, 409)["detail"]


# -- two editors ---------------------------------------------------------------------


@row("two editors")
def test_two_editors_the_second_is_told_what_changed(office):
    office.post("orders/", order_body())
    assert office.patch("orders/1001/", {"version": 1, "notes": "Mine", "priority": 1}).status_code == 200
    stale = refused(office.patch("orders/1001/", {"version": 1, "notes": "Theirs"}), 409)
    assert {"notes", "priority"} <= set(stale["changed"])
    assert Order.objects.get().notes == "Mine"
    refused(office.patch("orders/1001/", {"notes": "Without a version"}), 400)


# -- wrong sign-in --------------------------------------------------------------------


@row("wrong sign-in")
@pytest.mark.parametrize("name", ["known", "disabled", "unknown"])
def test_wrong_sign_in_is_429_after_five_misses_in_the_same_words_for_everyone(shop, name):
    for given, active in (("known", True), ("disabled", False)):
        someone = person("office")
        someone.username, someone.is_active = given, active
        someone.set_password(PASSWORD)
        someone.save()
    client = Client()
    password = PASSWORD if name == "disabled" else "not it"
    for _ in range(5):
        answer = client.post("/sign-in/", {"name": name, "password": password})
        assert answer.status_code == 400
        assert "The name or the password is wrong." in answer.content.decode()
    answer = client.post("/sign-in/", {"name": name, "password": PASSWORD})
    assert answer.status_code == 429
    assert 25 <= int(answer["Retry-After"]) <= 30
    assert "Too many wrong tries." in answer.content.decode()


# -- keys ------------------------------------------------------------------------------


@row("keys")
def test_key_has_128_bits_is_stored_hashed_and_dead_once_revoked(shop, rf):
    secret = key_for("office")
    assert len(base64.urlsafe_b64decode(secret + "=" * (-len(secret) % 4))) * 8 >= 128
    kept = Key.objects.values().get()
    assert secret not in json.dumps(kept, default=str)
    caller = ApiCaller(Client(), secret)
    assert caller.get("orders/").status_code == 200
    request = rf.get("/api/v1/board/stream/", HTTP_AUTHORIZATION=f"Token {secret}")
    may_go_on = _is_allowed(request, actor_of_key(secret))
    assert may_go_on()
    Key.objects.update(revoked_at=timezone.now())
    refused(caller.get("orders/"), 401)
    assert not may_go_on()
    assert CHECK_SECONDS + app_settings.DATABASES["default"]["OPTIONS"].get("timeout", 5) < 60


# -- enrolling a tablet -------------------------------------------------------------------


@row("enrolling a tablet")
def test_enrolling_takes_a_supervisors_code_of_six_digits_or_more_good_for_ten_minutes(shop):
    Station.objects.create(code="ROLL-1", name="Roll", operations=["roll"])
    assert CODE_DIGITS >= 6 and timedelta(minutes=10) == CODE_GOOD_FOR
    supervisor = browser_of("supervisor")
    page = supervisor.post("/stations/at/ROLL-1/enrolment/").content.decode()
    code = "".join(filter(str.isdigit, page.split("enrol-code")[1].split("</p>")[0]))
    late = EnrolmentCode.objects.get()
    assert late.expires_at - timezone.now() <= timedelta(minutes=10)
    tablet = Client()
    assert tablet.post("/enrol/", {"code": code, "name": "By the rolls"}).status_code == 302
    assert tablet.get("/station/").status_code == 200
    assert Client().post("/enrol/", {"code": code}).status_code == 400
    listed = supervisor.get("/stations/at/ROLL-1/").content.decode()
    assert "By the rolls" in listed
    supervisor.post(f"/stations/tablets/{Tablet.objects.get().pk}/revoke/")
    assert tablet.get("/api/v1/station/queue/").status_code == 401


# -- a badge ---------------------------------------------------------------------------------


@row("a badge")
def test_badge_counts_only_with_a_tablets_key_and_opens_no_office_act(shop):
    there = examples()
    badge, station = Operator.objects.order_by("pk").first(), Station.objects.get(code="CUT-1")
    scan = {
        "id": "badge-1",
        "code": there["pieces"]["code"],
        "action": "finish",
        "badge": badge.code,
        "scanned_at": timezone.now().isoformat(),
    }
    with nothing_stored():
        refused(ApiCaller(Client()).post("scans/", {"scans": [scan]}), 401)
        refused(ApiCaller(Client(), badge.code).post("scans/", {"scans": [scan]}), 401)
    tablet = ApiCaller(Client(), key_for("operator"))
    with nothing_stored():
        refused(tablet.post("orders/", order_body() | {"badge": badge.code}), 403)
        refused(tablet.post(f"orders/{there['orders']['number']}/cancel/", {"badge": badge.code}), 403)
        refused(tablet.post("tables/gores/", {"badge": badge.code}), 403)
    assert station.tablets.count() == 1


# -- database busy or disk low -----------------------------------------------------------------


@contextmanager
def somebody_writing():
    """Another connection holds what every scan and order needs, until the end."""
    other = connections.create_connection("default")
    try:
        with other.cursor() as cursor:
            if connection.vendor == "sqlite":
                cursor.execute("BEGIN IMMEDIATE")
            else:
                cursor.execute("BEGIN")
                cursor.execute("LOCK TABLE fittings_order, travelers_pulse IN EXCLUSIVE MODE")
        yield
    finally:
        other.close()


@row("database busy or disk low")
@pytest.mark.django_db(transaction=True)
def test_database_busy_is_503_after_five_seconds_while_reads_go_on_and_then_it_goes_through(live_shop):
    office = ApiCaller(Client(), key_for("office"))
    office.post("orders/", order_body())
    with somebody_writing():
        began = time.monotonic()
        answer = office.post("orders/", order_body())
        waited = time.monotonic() - began
        refused(answer, 503)
        assert 1 <= int(answer["Retry-After"]) <= 60
        assert turn.PATIENCE_SECONDS - 1 < waited < 9, waited
        began = time.monotonic()
        assert office.get("orders/1001/").status_code == 200
        assert office.get("board/").status_code == 200
        assert time.monotonic() - began < 3
        assert Order.objects.count() == 1
    assert office.post("orders/", order_body()).status_code == 201
    assert Order.objects.count() == 2


@contextmanager
def no_room_left():
    """The database cannot grow: SQLite by its own limit, PostgreSQL by the error that a full disk gives."""
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("VACUUM")  # pages that other tests emptied would be room
            cursor.execute("PRAGMA page_count")
            cursor.execute(f"PRAGMA max_page_count = {cursor.fetchone()[0]}")
        else:
            cursor.execute(
                "CREATE FUNCTION no_room() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE EXCEPTION "
                "'could not extend file: No space left on device' USING ERRCODE = '53100'; END $$"
            )
            cursor.execute(
                "CREATE TRIGGER full_disk BEFORE INSERT ON fittings_order EXECUTE FUNCTION no_room()"
            )
    try:
        yield
    finally:
        with connection.cursor() as cursor:
            if connection.vendor == "sqlite":
                cursor.execute("PRAGMA max_page_count = 4294967294")
            else:
                cursor.execute("DROP TRIGGER full_disk ON fittings_order; DROP FUNCTION no_room()")


@row("database busy or disk low")
@pytest.mark.django_db(transaction=True)
def test_disk_low_is_503_while_reads_go_on_and_then_it_goes_through(live_shop):
    office = ApiCaller(Client(raise_request_exception=False), key_for("office"))
    office.post("orders/", order_body())
    kept = Order.objects.count()
    big = order_body(notes="x" * 1500, lines=[line(quantity=1, tag=f"T{n}") for n in range(40)])
    with no_room_left():
        answers = [office.post("orders/", big) for _ in range(6)]
        full = [answer for answer in answers if answer.status_code != 201]
        assert full, "the database took everything"
        for answer in full:
            refused(answer, 503)
            assert int(answer["Retry-After"]) >= 1
        assert Order.objects.count() == kept + len(answers) - len(full)
        assert office.get("orders/1001/").status_code == 200
    assert office.post("orders/", big).status_code == 201


# -- the board ---------------------------------------------------------------------------------------


@row("board older than 30 s on a display")
def test_board_older_than_thirty_seconds_is_told_in_words(shop):
    """What the page begins with; `tests/end_to_end/test_board_stale.py` sees it said."""
    page = browser_of("display").get("/board/").content.decode()
    assert 'data-stale-after="30"' in page
    assert "Old numbers." in page


def test_every_row_of_the_contract_has_its_test():
    assert set(ROWS) - tested == set()
