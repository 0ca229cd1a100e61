"""Programs: keys with scopes. Every address of the API against every scope, as the published table has it."""

from __future__ import annotations

import re
from datetime import timedelta
from pathlib import Path

import pytest
from django.test import Client
from django.utils import timezone

from shared.problems import WrongInput
from shopfloor.models import Key, Program
from shopfloor.outward.programs import program_add, program_change, program_new_key
from shopfloor.scopes import SCOPES, scope_of
from tests.factories import NOW, OFFICE_ACTOR
from tests.pages import browser_of

from .access_table import TABLE, example, examples, table_rows

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("shop")]
CLOSED = re.compile(r"/api/v1/(station|programs|people)/")
NEEDS_NONE = ("/api/v1/health/", "/api/v1/develop/", "/api/v1/kinds/", "/api/v1/nest/")


def key(*scopes: str, name: str = "Accounting", **more) -> str:
    data = {"name": name, "scopes": list(scopes)} | more
    return program_add(data=data, actor=OFFICE_ACTOR, now=timezone.now())[1]


def client(secret: str) -> Client:
    return Client(raise_request_exception=False, headers={"Authorization": f"Token {secret}"})


def published() -> dict[str, str]:
    """The scopes as ACCESS.md has them."""
    rows = re.findall(r"^\| `(\w+:\w+)` \| (.+?) \|$", Path(TABLE).read_text(), re.MULTILINE)
    return dict(rows)


def test_the_published_scopes_are_those_there_are():
    assert published() == SCOPES


def test_every_address_of_the_api_has_a_scope_or_is_closed_on_purpose():
    unknown = []
    for row in table_rows():
        for method in row.methods if row.is_api else ():
            scope = scope_of(method, row.address)
            if CLOSED.match(row.address):
                assert scope is None, f"{row.address} is closed to programs"
            elif row.address in NEEDS_NONE:
                assert scope == ""
            elif scope not in SCOPES:
                unknown.append(f"{method} {row.address}: {scope}")
    assert not unknown, (
        "Add a rule to shopfloor/scopes.py, and its scope to SCOPES and ACCESS.md:\n" + "\n".join(unknown)
    )


def test_a_key_opens_what_its_scope_names_and_nothing_else():
    there, wrong = examples(), []
    of_all = {scope: client(key(scope, name=f"only {scope}")) for scope in SCOPES}
    without = {
        scope: client(key(*[one for one in SCOPES if one != scope], name=f"all but {scope}"))
        for scope in SCOPES
    }
    for row in table_rows():
        for method in row.methods if row.is_api else ():
            path, scope = example(row.address, there), scope_of(method, row.address)
            if scope is None or scope == "" or row.address == "/api/v1/board/stream/":
                continue
            if method == "GET":  # an act would change the shop for the next question
                answer = of_all[scope].get(path)
                if answer.status_code in (401, 403):
                    wrong.append(f"{method} {path} refuses a key with {scope}: {answer.content[:200]}")
            answer = without[scope].generic(method, path, b"{}", content_type="application/json")
            if answer.status_code != 403 or scope not in answer.json()["detail"]:
                wrong.append(f"{method} {path} answers a key without {scope}: {answer.status_code}")
    assert not wrong, "\n".join(wrong)


def test_a_key_that_may_write_can_make_and_release_an_order():
    from tests import factories

    program = client(key("orders:read", "orders:write"))
    body = factories.order_body()
    answer = program.post("/api/v1/orders/", body, content_type="application/json")
    assert answer.status_code == 201, answer.content
    number = answer.json()["number"]
    assert (
        program.post(f"/api/v1/orders/{number}/release/", content_type="application/json").status_code == 200
    )
    stored = program.get(f"/api/v1/orders/{number}/").json()
    assert stored["state"] == "released"


def test_a_program_opens_no_page_and_makes_no_keys():
    program = client(key(*SCOPES))
    assert program.get("/orders/").status_code == 302
    assert program.get("/api/v1/programs/").status_code == 403
    body = {"name": "Another", "scopes": ["orders:write"]}
    assert program.post("/api/v1/programs/", body, content_type="application/json").status_code == 403
    assert Program.objects.count() == 1
    assert program.get("/api/v1/health/").status_code == 200
    assert program.get("/api/v1/station/queue/").status_code == 403


def test_a_key_ends_with_its_last_day():
    secret = key("events:read", expires=timezone.localdate().isoformat())
    assert client(secret).get("/api/v1/events/").status_code == 200
    ends = Key.objects.get(program__isnull=False).expires_at
    assert timezone.localtime(ends).strftime("%H:%M") == "00:00"
    assert timezone.localdate(ends) == timezone.localdate() + timedelta(days=1)
    Key.objects.update(expires_at=timezone.now() - timedelta(seconds=1))
    assert client(secret).get("/api/v1/events/").status_code == 401


def test_a_new_key_ends_the_one_before_and_shutting_out_ends_all():
    secret = key("events:read")
    program = Program.objects.get()
    _, fresh = program_new_key(pk=program.pk, actor=OFFICE_ACTOR, now=timezone.now())
    assert client(secret).get("/api/v1/events/").status_code == 401
    assert client(fresh).get("/api/v1/events/").status_code == 200
    program_change(pk=program.pk, data={"is_active": False}, actor=OFFICE_ACTOR, now=NOW)
    assert client(fresh).get("/api/v1/events/").status_code == 401
    program_change(pk=program.pk, data={"is_active": True}, actor=OFFICE_ACTOR, now=NOW)
    assert client(fresh).get("/api/v1/events/").status_code == 200


def test_when_it_was_seen_is_noted():
    secret = key("events:read")
    assert Program.objects.get().seen_at is None
    client(secret).get("/api/v1/events/")
    assert timezone.now() - Program.objects.get().seen_at < timedelta(minutes=1)


@pytest.mark.parametrize(
    ("data", "field"),
    [
        ({"scopes": ["events:read"]}, "name"),
        ({"name": "X" * 61, "scopes": ["events:read"]}, "name"),
        ({"name": "A"}, "scopes"),
        ({"name": "A", "scopes": []}, "scopes"),
        ({"name": "A", "scopes": ["everything"]}, "scopes"),
        ({"name": "A", "scopes": ["events:read"], "expires": "2001-01-01"}, "expires"),
        ({"name": "A", "scopes": ["events:read"], "role": "office"}, "role"),
    ],
)
def test_a_wrong_program_is_refused_with_field_and_limit(data, field):
    with pytest.raises(WrongInput) as refused:
        program_add(data=data, actor=OFFICE_ACTOR, now=NOW)
    assert [error.field for error in refused.value.errors] == [field]
    assert not Program.objects.exists() and not Key.objects.filter(program__isnull=False).exists()


def test_the_page_shows_a_key_once_and_says_what_is_missing():
    page = browser_of("office")
    answer = page.post("/settings/programs/", {"name": "Time clock"})
    assert answer.status_code == 400 and "Choose at least one scope" in answer.content.decode()
    answer = page.post(
        "/settings/programs/", {"name": "Time clock", "scopes": ["scans:read"], "expires": "31 Dec 2031"}
    )
    secret = re.search(r"Authorization: Token ([\w-]+)", answer.content.decode())[1]
    assert client(secret).get("/api/v1/scans/").status_code == 200
    listed = page.get("/settings/programs/").content.decode()
    assert "Time clock" in listed and secret not in listed
