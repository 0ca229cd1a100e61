"""Every address × every method × every role and nobody, against the published table (ACCESS.md)."""

from __future__ import annotations

from collections import Counter
from copy import copy
from urllib.parse import urlsplit

import pytest
from django.db import transaction
from django.test import Client
from django.urls import reverse

from shared.roles import OPERATOR
from shopfloor.keys import TABLET_COOKIE, key_make
from shopfloor.models import Person
from tests.factories import NOW, key_for
from tests.pages import browser_of

from .access_table import METHODS, SUPPORT, WHO, Row, addresses, example, examples, suggested, table_rows

SIGN_OUT = "/sign-out/"
SHUT = ("405", "no (401)", "no (403)", "sign in")
BESIDE_SIGN_IN = (200, 201, 202, 204, 302, 303, 304, 400, 404, 409, 413, 422)


def test_every_address_has_its_rows_and_every_row_its_address():
    there, published = set(addresses()), {row.address for row in table_rows()}
    lacking = "\n".join(suggested(address) for address in sorted(there - published))
    assert not lacking, f"Add to ACCESS.md, with who may open it and by which methods:\n{lacking}"
    assert published - there == set(), "ACCESS.md has rows of addresses that there are no more"
    again = Counter((row.address, method) for row in table_rows() for method in row.methods)
    assert [one for one, count in again.items() if count > 1] == []


def browser(who: str) -> Client:
    """As a person meets the app: a session, or a tablet's cookie."""
    if who != OPERATOR:
        client = browser_of("" if who == "nobody" else who)
    else:
        client = Client()
        client.cookies[TABLET_COOKIE] = key_for(OPERATOR)
    client.raise_request_exception = False
    return client


def program(who: str) -> Client:
    """As a program meets it: a key."""
    headers = {} if who == "nobody" else {"Authorization": f"Token {key_for(who)}"}
    return Client(raise_request_exception=False, headers=headers)


def told(answer) -> str:
    """What an answer says about the door, in the table's words."""
    status, goes_to = answer.status_code, urlsplit(answer.headers.get("Location", "")).path
    if goes_to == reverse("sign_in"):
        return "sign in"
    if goes_to == reverse("enrol"):
        return "enroll"
    if status in (401, 403):
        return f"no ({status})"
    return "yes" if status in BESIDE_SIGN_IN else str(status)


def wanted(row: Row, method: str, who: str) -> str:
    word = row.told[who]
    is_act_of_nobody = who == "nobody" and word == "sign in" and method != "GET"
    if word == "no" or (is_act_of_nobody and row.address != SIGN_OUT):
        return "no (401)" if who == "nobody" else "no (403)"
    return word


def asked(client: Client, method: str, path: str):
    """The answer; whatever it changed is taken back, so that the next finds the same shop."""
    cookies = copy(client.cookies)
    with transaction.atomic():
        answer = client.generic(method, path, b"{}", content_type="application/json")
        transaction.set_rollback(True)
    client.cookies = cookies
    return answer


@pytest.mark.parametrize("come", [browser, program], ids=["by session or cookie", "by key"])
@pytest.mark.parametrize("who", WHO)
def test_each_address_tells_each_role_what_is_published(shop, who, come):
    there, client, wrong = examples(), come(who), []
    rows = [row for row in table_rows() if row.address != SUPPORT]
    named: dict[str, set[str]] = {}
    for row in rows:
        path = example(row.address, there)
        named.setdefault(path, set()).update(row.methods)
        for method in row.methods:
            found, want = told(asked(client, method, path)), wanted(row, method, who)
            if found != want:
                wrong.append(f"{method} {row.address} tells {who} “{found}”; ACCESS.md says “{want}”")
    for path, methods in named.items() if come is browser else ():
        for method in set(METHODS) - methods:
            found = told(asked(client, method, path))
            if found not in SHUT:
                wrong.append(f"{method} {path} tells {who} “{found}”; ACCESS.md does not name it, so 405")
    assert not wrong, "\n".join(wrong)


def sent_by_support(client: Client, path: str) -> str:
    """What a support page says; its own sign-in is only a sign to the app's."""
    answer = client.get(path)
    assert answer.status_code == 302, path
    return told(client.get(answer["Location"]))


def test_the_support_pages_are_no_roles(shop):
    """Only an account made for support comes in, by its session; whoever else is sent to the one sign-in."""
    row = next(row for row in table_rows() if row.address == SUPPORT)
    paths = ["/admin/", "/admin/fittings/", "/admin/fittings/customer/", "/admin/fittings/order/add/"]
    for who in WHO:
        for client in (browser(who), program(who)):
            for path in paths:
                assert sent_by_support(client, path) == row.told[who], (path, who)
                assert client.post(path, {"name": "X"}).status_code == 302, (path, who)
    support = browser("office")
    Person.objects.filter(pk=support.session["_auth_user_id"]).update(is_staff=True, is_superuser=True)
    assert support.get("/admin/fittings/customer/").status_code == 200
    headers = {"Authorization": f"Token {key_make(now=NOW, person=Person.objects.get(is_staff=True))[1]}"}
    assert sent_by_support(Client(headers=headers), "/admin/") == "sign in"


def acts() -> list[tuple[Row, str]]:
    """What changes something: each row of the table with a method that is no reading."""
    return [(row, method) for row in table_rows() for method in row.methods if method != "GET"]


@pytest.mark.parametrize("who", [who for who in WHO if who != "nobody"])
def test_no_act_of_a_session_or_cookie_goes_without_the_csrf_token(shop, who):
    there, client, passed = examples(), browser(who), []
    client.handler.enforce_csrf_checks = True
    for row, method in acts():
        path = example(row.address, there) if row.address != SUPPORT else "/admin/fittings/customer/add/"
        answer = asked(client, method, path)
        if answer.status_code != 403:
            passed.append(f"{method} {path} answers {who} {answer.status_code} without the token")
    assert not passed, "\n".join(passed)


def test_rows_are_read_as_they_are_published():
    assert wanted(Row("/x/", ("POST",), dict.fromkeys(WHO, "sign in")), "POST", "nobody") == "no (401)"
    assert table_rows("| `/x/` | GET | no | yes | no | no | no |")[0].told["supervisor"] == "no"
    with pytest.raises(AssertionError, match="ACCESS.md"):
        table_rows("| `/x/` | GET | no | perhaps | no | no | no |")
