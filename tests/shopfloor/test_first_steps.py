"""The door of an empty shop, and the steps that tick themselves."""

from __future__ import annotations

from datetime import timedelta
from io import StringIO

import pytest
from django.core.management import call_command
from django.test import Client
from django.urls import reverse

from shared.problems import Conflict, TooManyTries, WrongInput
from shopfloor import first_steps as steps
from shopfloor.keys import key_make
from shopfloor.models import FirstSteps, Person, PersonChange, Station, Tablet
from tests.factories import OFFICE_ACTOR, SUPERVISOR_ACTOR, line, order
from tests.pages import alert_of, text_of
from tests.travelers.floor import floor
from travelers.badge_cards import badge_cards
from travelers.models import Operation, Operator

from .conftest import NOW

URL = "/first-steps/"
FIRST = {"full_name": "Olive Invented", "username": "olive", "password": "four seams and a hem"}


def typed(code: str, **changes) -> dict:
    return FIRST | {"code": code, "again": FIRST["password"]} | changes


def done() -> set[str]:
    return {step.name for step in steps.guide(OFFICE_ACTOR).steps if step.is_done}


# -- the door -----------------------------------------------------------------


def test_the_code_makes_the_first_account_and_signs_it_in(shop, client):
    code = steps.setup_code_make(now=NOW)
    assert client.get("/")["Location"] == URL
    assert f'href="{URL}"' in client.get("/sign-in/").content.decode()
    page = client.get(URL, {"code": code})
    assert code in page.content.decode() and "no-store" in page["Cache-Control"]
    assert client.post(URL, typed(code.lower().replace("-", " "))).status_code == 302
    olive = Person.objects.get()
    assert (olive.username, olive.role, olive.is_superuser) == ("olive", "office", False)
    assert "0 of" not in text_of(client.get(URL)) and client.get(reverse("people")).status_code == 200
    assert PersonChange.objects.get().by == "olive"
    assert FirstSteps.objects.get().digest == ""


def test_the_code_is_not_kept_as_it_is(shop):
    code = steps.setup_code_make(now=NOW)
    assert code.replace("-", "") not in str(FirstSteps.objects.values().get()).upper()


def test_without_the_code_nobody_gets_in(shop, client):
    steps.setup_code_make(now=NOW)
    answer = client.post(URL, typed("AAAA-BBBB-CCCC"))
    assert answer.status_code == 400 and "code is wrong" in alert_of(answer)
    assert not Person.objects.exists()


def test_where_no_code_was_made_none_fits(shop):
    for code in ("", "AAAA-BBBB-CCCC"):
        with pytest.raises(WrongInput):
            steps.shop_open(code=code, **FIRST, now=NOW)
    assert not Person.objects.exists()


def test_a_new_code_ends_the_one_before(shop):
    first, second = steps.setup_code_make(now=NOW), steps.setup_code_make(now=NOW)
    with pytest.raises(WrongInput):
        steps.shop_open(code=first, **FIRST, now=NOW)
    assert steps.shop_open(code=second, **FIRST, now=NOW).username == "olive"


def test_the_code_is_dead_once_there_is_an_account(shop, person, client):
    code = steps.setup_code_make(now=NOW)
    person("display")
    with pytest.raises(Conflict, match="already"):
        steps.shop_open(code=code, **FIRST, now=NOW)
    with pytest.raises(Conflict, match="already"):
        steps.setup_code_make(now=NOW)
    assert client.post(URL, typed(code)).status_code in (302, 401)
    assert list(Person.objects.values_list("username", flat=True)) == ["display"]


def test_a_closed_account_opens_the_door_to_nobody(person, client):
    person("office", is_active=False)
    assert client.get(URL)["Location"].startswith("/sign-in/")


def test_guesses_are_counted(shop):
    code = steps.setup_code_make(now=NOW)
    for _ in range(5):
        with pytest.raises(WrongInput):
            steps.shop_open(code="AAAA-BBBB-CCCC", **FIRST, now=NOW)
    with pytest.raises(TooManyTries):
        steps.shop_open(code=code, **FIRST, now=NOW)
    assert steps.shop_open(code=code, **FIRST, now=NOW + timedelta(seconds=31))


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"password": "short", "again": "short"}, "at least 10 characters"),
        ({"again": "another one entirely"}, "not the same"),
        ({"username": "Olive Invented"}, "small letters"),
        ({"full_name": ""}, "Enter your full name"),
    ],
)
def test_a_wrong_first_account_is_named_and_the_code_stays_good(changes, words, shop, client):
    code = steps.setup_code_make(now=NOW)
    answer = client.post(URL, typed(code, **changes))
    assert answer.status_code == 400 and words in alert_of(answer)
    assert not Person.objects.exists()
    assert client.post(URL, typed(code)).status_code == 302


def test_the_command_prints_the_code_alone(shop, person):
    out = StringIO()
    call_command("setup_code", stdout=out)
    assert steps.shop_open(code=out.getvalue().strip(), **FIRST, now=NOW)
    wrong = StringIO()
    with pytest.raises(SystemExit) as ended:
        call_command("setup_code", stderr=wrong)
    assert ended.value.code == 1 and "can sign in already" in wrong.getvalue()


# -- the steps ----------------------------------------------------------------


def test_each_step_is_ticked_by_what_the_data_says(shop, person, client):
    person("office")
    client.force_login(Person.objects.get())
    assert done() == {"operations"}
    shown = {"name": "Round Works", "unit": "mm", "currency": "$", "language": "en", "seen": 1}
    assert client.post(reverse("shop_form"), shown).status_code == 302
    assert done() == {"operations", "shop"}
    person("supervisor")
    assert "people" in done()
    Station.objects.create(code="CUT-1", name="Cut", operations=["cut"])
    assert "stations" not in done()
    made = steps.usual_stations_add(actor=SUPERVISOR_ACTOR, now=NOW)
    assert [one.code for one in made] == ["ROLL-1", "SEAM-1", "ASSEMBLE-1", "ENDS-1", "WRAP-1"]
    assert "stations" in done() and "tablets" not in done()
    key, _ = key_make(now=NOW, station=made[0])
    Tablet.objects.create(name="T", station=made[0], key=key, enrolled_at=NOW)
    assert "tablets" in done() and "operators" not in done()
    Operator.objects.create(code="DX00012", name="Ana Ruiz")
    assert "operators" in done() and "badges" not in done()
    badge_cards(codes=(), actor=SUPERVISOR_ACTOR, now=NOW)
    assert {"badges"} == done() - {"operations", "shop", "people", "stations", "tablets", "operators"}
    order(lines=[line(quantity=1)])
    assert {"order"} == done() & {"order", "release", "scan", "stock"}
    on = floor(quantity=1, pieces=5)
    assert {"order", "release"} == done() & {"order", "release", "scan"}
    on.scan("cut", on.segment(1).code, "finish")
    assert "scan" in done()


def test_a_refused_scan_is_no_first_scan(shop):
    on = floor(quantity=1, pieces=5)
    on.scan("cut", "nonsense", "finish")
    assert "scan" not in done()


def test_usual_stations_take_no_code_that_is_taken(shop):
    Station.objects.create(code="ROLL-1", name="Out", operations=["roll"], is_active=False)
    assert "ROLL-2" in [one.code for one in steps.usual_stations_add(actor=SUPERVISOR_ACTOR, now=NOW)]
    assert steps.usual_stations_add(actor=SUPERVISOR_ACTOR, now=NOW) == []
    assert Station.objects.filter(is_active=True).count() == Operation.objects.count()


# -- being reminded -------------------------------------------------------------


def test_a_shop_that_began_empty_is_reminded_until_it_is_put_away(shop, client):
    code = steps.setup_code_make(now=NOW)
    client.post(URL, typed(code))
    for address in ("/orders/", "/settings/"):
        assert "First steps: 1 of 11 done" in text_of(client.get(address))
    assert client.post(URL, {"put_away": "yes"})["Location"] == reverse("settings")
    assert "1 of 11 done. Next" not in text_of(client.get("/orders/"))
    assert "First steps" in text_of(client.get("/settings/"))
    assert FirstSteps.objects.get().put_away_by == "olive"
    client.post(URL, {"put_away": "no"})
    assert "First steps: 1 of 11 done" in text_of(client.get("/orders/"))


def test_a_shop_that_was_there_before_is_not_reminded(signed_in):
    office = signed_in("office")
    assert "First steps:" not in text_of(office.get("/orders/"))
    assert office.get(URL).status_code == 200


def test_a_step_of_another_role_says_whose_it_is(signed_in):
    words = text_of(signed_in("office").get(URL))
    assert "The supervisor does this." in words
    assert "The office does this." in text_of(signed_in("supervisor").get(URL))


def test_stations_of_the_guide_are_the_supervisors(signed_in):
    address = reverse("first_steps_stations")
    assert signed_in("office").post(address).status_code == 403
    assert Client().post(address).status_code in (302, 401)
    assert not Station.objects.exists()
    assert signed_in("supervisor").post(address).status_code == 302
    assert Station.objects.count() == Operation.objects.count()
