"""Users: added, changed, closed by the office; whom it cannot close; what ends with an account; one's own password."""

from __future__ import annotations

import re

import pytest
from django.test import Client
from django.urls import reverse

from shared.problems import Conflict, NotAllowed, WrongInput
from shopfloor import people
from shopfloor.keys import actor_of_key, key_make
from shopfloor.models import Person, PersonChange
from tests.factories import OFFICE_ACTOR
from tests.pages import alert_of, text_of

from .conftest import NOW, PASSWORD

DOING = {"actor": OFFICE_ACTOR, "now": NOW}
NEW = {
    "username": "nora",
    "full_name": "Nora Invented",
    "role": "supervisor",
    "password": "four seams and a hem",
}


def sign_in(name: str, password: str = PASSWORD) -> Client:
    client = Client()
    client.post("/sign-in/", {"name": name, "password": password})
    return client


def is_in(client: Client) -> bool:
    return client.get(reverse("own_password")).status_code == 200


# -- adding -----------------------------------------------------------------


def test_a_new_user_signs_in_with_role_and_password(shop):
    people.person_add(**NEW, **DOING)
    client = sign_in("nora", NEW["password"])
    assert client.get("/stations/").status_code == 200
    change = PersonChange.objects.get()
    assert (change.person.username, change.by, change.at) == ("nora", "office", NOW)
    assert people.change_text(change) == "Added as supervisor"
    assert Person.objects.get(username="nora").get_full_name() == "Nora Invented"


@pytest.mark.parametrize(
    ("field", "value", "word"),
    [
        ("username", "", "Enter the user name"),
        ("username", "Nora Invented", "small letters"),
        ("username", "n" * 51, "at most 50"),
        ("username", "new", "already"),
        ("username", "OFFICE", "already"),
        ("username", "cut-1", "already"),
        ("full_name", " ", "1 to 80"),
        ("full_name", "x" * 81, "1 to 80"),
        ("role", "operator", "office, supervisor, display"),
        ("password", "short", "10 characters"),
        ("password", "password123", "common"),
        ("password", "x" * 1001, "1000"),
    ],
)
def test_wrong_input_is_named_and_nobody_is_added(field, value, word, person, station):
    person("office")
    station("CUT-1", ["cut"])
    with pytest.raises(WrongInput) as wrong:
        people.person_add(**NEW | {field: value}, **DOING)
    [error] = wrong.value.errors
    assert error.field == field
    assert word in error.message
    assert Person.objects.count() == 1 and not PersonChange.objects.exists()


def test_every_wrong_field_is_named_at_once_and_no_password_is_told(shop):
    given = {"username": "-", "full_name": "", "role": "boss", "password": "qxj"}
    with pytest.raises(WrongInput) as wrong:
        people.person_add(**given, **DOING)
    assert [error.field for error in wrong.value.errors] == ["username", "full_name", "role", "password"]
    assert "qxj" not in str(wrong.value.as_dict())


def test_the_user_name_is_no_password(shop):
    with pytest.raises(WrongInput, match="user name"):
        people.person_add(**NEW | {"username": "long-user-name", "password": "Long-User-Name"}, **DOING)


def test_a_made_password_is_shown_once_and_opens(signed_in):
    office = signed_in("office")
    page = office.post(reverse("person_new"), NEW | {"password": ""})
    assert "no-store" in page["Cache-Control"]
    [password] = re.findall(r'password-shown code">([^<]+)<', page.content.decode())
    assert re.fullmatch(r"(?:[0-9a-z]{4}-){3}[0-9a-z]{4}", password)
    assert is_in(sign_in("nora", password))
    assert password not in office.get(reverse("people")).content.decode()


# -- what ends with an account ------------------------------------------------


def test_a_closed_account_is_out_everywhere_and_its_keys_and_sessions_stay_dead_when_it_is_opened_again(
    person,
):
    person("office")
    nora = person("display", "nora")
    client = sign_in("nora")
    _, secret = key_make(now=NOW, person=nora)
    assert is_in(client) and actor_of_key(secret)
    people.person_change(username="nora", data={"is_active": False}, **DOING)
    assert not is_in(client) and actor_of_key(secret) is None
    assert not is_in(sign_in("nora"))
    people.person_change(username="nora", data={"is_active": True}, **DOING)
    assert not is_in(client) and actor_of_key(secret) is None
    assert is_in(sign_in("nora"))


def test_a_password_set_by_the_office_ends_sessions_and_keys(person):
    nora = person("display", "nora")
    client = sign_in("nora")
    _, secret = key_make(now=NOW, person=nora)
    people.person_set_password(username="nora", password="another one entirely", **DOING)
    assert not is_in(client) and actor_of_key(secret) is None
    assert not is_in(sign_in("nora")) and is_in(sign_in("nora", "another one entirely"))


def test_ones_own_password_ends_the_other_sessions_and_keeps_the_keys(person):
    nora = person("display", "nora")
    here, elsewhere = sign_in("nora"), sign_in("nora")
    _, secret = key_make(now=NOW, person=nora)
    typed = {"old": PASSWORD, "new": "another one entirely", "again": "another one entirely"}
    assert here.post(reverse("own_password"), typed).status_code == 302
    assert is_in(here) and not is_in(elsewhere) and actor_of_key(secret)
    assert is_in(sign_in("nora", "another one entirely"))


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ({"old": "not it at all"}, "not your password of now"),
        ({"again": "something else here"}, "not the same"),
        ({"new": PASSWORD, "again": PASSWORD}, "is the one of now"),
        ({"new": "short", "again": "short"}, "at least 10 characters"),
        ({"old": ""}, "Enter your password of now"),
    ],
)
def test_a_wrong_change_of_the_own_password_changes_nothing(typed, words, person):
    person("display", "nora")
    client = sign_in("nora")
    given = {"old": PASSWORD, "new": "another one entirely", "again": "another one entirely"} | typed
    answer = client.post(reverse("own_password"), given)
    assert answer.status_code == 400
    assert words in alert_of(answer)
    assert is_in(sign_in("nora"))


def test_guesses_of_the_own_password_are_counted_as_wrong_sign_ins(person):
    person("display", "nora")
    client = sign_in("nora")
    given = {"old": "not it at all", "new": "another one entirely", "again": "another one entirely"}
    statuses = [client.post(reverse("own_password"), given).status_code for _ in range(6)]
    assert statuses == [400] * 5 + [429]


# -- the last of a role --------------------------------------------------------


@pytest.mark.parametrize("role", ["office", "supervisor"])
@pytest.mark.parametrize("change", [{"is_active": False}, {"role": "display"}])
def test_the_last_of_a_role_stays(role, change, person):
    person(role)
    person(role, "closed", is_active=False)
    with pytest.raises(Conflict, match=f"last {role} account"):
        people.person_change(username=role, data=change, **DOING)
    found = Person.objects.get(username=role)
    assert (found.role, found.is_active) == (role, True)
    assert not PersonChange.objects.exists()


def test_the_last_but_one_may_go_and_a_display_always(person):
    for name in ("office", "second"):
        person("office", name)
    person("display")
    people.person_change(username="second", data={"role": "supervisor"}, **DOING)
    people.person_change(username="display", data={"is_active": False}, **DOING)
    texts = [people.change_text(one) for one in people.people_changes()]
    assert texts == ["Closed: signed out everywhere, keys revoked", "Role office → supervisor"]


def test_the_page_says_why_the_last_stays(signed_in):
    office = signed_in("office")
    answer = office.post(reverse("person_active", args=["office"]), {"is_active": "no"})
    assert answer.status_code == 409
    assert "last office account in use" in alert_of(answer)


def test_accounts_of_the_support_pages_are_not_the_offices(person):
    person("office", "root", is_superuser=True, is_staff=True)
    for change in ({"is_active": False}, {"full_name": "Other"}):
        with pytest.raises(NotAllowed, match="support pages"):
            people.person_change(username="root", data=change, **DOING)
    with pytest.raises(NotAllowed, match="support pages"):
        people.person_set_password(username="root", password="another one entirely", **DOING)
    assert is_in(sign_in("root"))


# -- pages --------------------------------------------------------------------


def test_the_office_changes_name_and_role_and_the_history_says_so(signed_in, person):
    office = signed_in("office")
    person("display", "nora", first_name="Nora", last_name="Sample")
    typed = {"full_name": "Nora Invented", "role": "supervisor"}
    assert office.post(reverse("person", args=["nora"]), typed).status_code == 302
    words = text_of(office.get(reverse("person", args=["nora"])))
    assert "Name Nora Sample → Nora Invented" in words
    assert "Role display → supervisor" in words
    assert "nora" in text_of(office.get(reverse("people")))


def test_only_the_office_sees_users_and_everyone_the_own_password(signed_in):
    for role, status in (("office", 200), ("supervisor", 403), ("display", 403)):
        client = signed_in(role)
        assert client.get(reverse("people")).status_code == status
        assert is_in(client)


# -- the API ------------------------------------------------------------------


def test_a_program_adds_and_changes_users(api_as):
    office, _ = api_as("office"), api_as("supervisor")
    made = office.post("people/", NEW, idempotency_key="one")
    assert made.status_code == 201
    assert made.json() == {
        "username": "nora",
        "full_name": "Nora Invented",
        "role": "supervisor",
        "is_active": True,
        "signed_in_at": None,
    }
    assert office.post("people/", NEW, idempotency_key="one").status_code == 201
    assert Person.objects.filter(username="nora").count() == 1
    assert office.post("people/", NEW).status_code == 400
    assert office.patch("people/nora/", {"role": "display"}).json()["role"] == "display"
    assert office.patch("people/nora/", {"password": "another one entirely"}).status_code == 200
    assert is_in(sign_in("nora", "another one entirely"))
    assert [one["what"] for one in office.get("people/changes/").json()["results"]] == [
        "Password set by the office: signed out everywhere, keys revoked",
        "Role supervisor → display",
        "Added as supervisor",
    ]


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({"username": "other"}, "username"),
        ({"is_active": "no"}, "is_active"),
        ({"password": "another one entirely", "role": "office"}, "password"),
        ({"password": None}, "password"),
        ({"role": ["office"]}, "role"),
        ({"full_name": 7 * "x" * 12}, "full_name"),
    ],
)
def test_a_wrong_change_by_a_program_names_the_field(body, field, api_as, person):
    person("display", "nora")
    answer = api_as("office").patch("people/nora/", body)
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["field"] == field
    assert Person.objects.get(username="nora").role == "display"


def test_an_unknown_user_is_not_found(api_as):
    assert api_as("office").get("people/nobody/").status_code == 404
    assert api_as("office").patch("people/nobody/", {"role": "display"}).status_code == 404


@pytest.mark.parametrize("given", [{}, {"username": 7}, {**NEW, "is_superuser": True}])
def test_a_wrong_new_user_by_a_program_adds_nobody(given, api_as):
    office, before = api_as("office"), Person.objects.count()
    assert office.post("people/", given).status_code == 400
    assert Person.objects.count() == before
