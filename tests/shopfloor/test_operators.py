"""Operators and badges: the supervisor's page, cards of all and of those chosen, and the same for programs."""

from __future__ import annotations

import pytest
from django.urls import reverse

from tests.pages import text_of
from tests.travelers.documents.reading import codes, pages, words
from travelers.models import Operator

from .conftest import NOW


def read(answer) -> set[str]:
    assert answer["Content-Type"] == "application/pdf"
    return {one.text for page in pages(answer.content) for one in codes(page)}


def test_cards_of_everyone_in_use_and_of_those_chosen(signed_in, operator):
    ana, ben, gone = operator("Ana Ruiz"), operator("Ben Okafor"), operator("Cy Gone", is_active=False)
    supervisor = signed_in("supervisor")
    everyone = supervisor.get(reverse("badges"))
    assert read(everyone) == {ana.code, ben.code}
    assert gone.code not in read(everyone)
    assert "Ana Ruiz" in words(everyone.content)[0]
    chosen = supervisor.get(reverse("badges"), {"code": [ben.code.lower()]})
    assert read(chosen) == {ben.code}


def test_a_card_printed_is_remembered_and_the_page_says_who_has_none(signed_in, operator):
    ana = operator("Ana Ruiz")
    operator("Ben Okafor")
    supervisor = signed_in("supervisor")
    assert "2 badges in use have no card yet" in text_of(supervisor.get(reverse("operators")))
    supervisor.get(reverse("badges"), {"code": [ana.code]})
    assert "1 badge in use has no card yet" in text_of(supervisor.get(reverse("operators")))
    ana.refresh_from_db()
    assert ana.card_printed_at > NOW


@pytest.mark.parametrize("code", ["ZZ00000", "", "nonsense"])
def test_a_badge_that_is_none_is_refused_and_nothing_is_noted(code, api_as, operator):
    ana = operator("Ana Ruiz")
    answer = api_as("supervisor").get(f"operators/badges.pdf?code={ana.code}&code={code}")
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["field"] == "code"
    ana.refresh_from_db()
    assert ana.card_printed_at is None


def test_without_anyone_there_is_no_card(api_as):
    answer = api_as("supervisor").get("operators/badges.pdf")
    assert (answer.status_code, answer.json()["detail"]) == (
        404,
        "Nobody has a badge yet. Add an operator first.",
    )


def test_the_name_is_mended_and_the_code_stays(signed_in, operator):
    ana = operator("Ana Riuz")
    answer = signed_in("supervisor").post(reverse("operator_name", args=[ana.pk]), {"name": "Ana  Ruiz"})
    assert answer.status_code == 302
    assert list(Operator.objects.values_list("code", "name")) == [(ana.code, "Ana Ruiz")]


def test_a_program_adds_changes_and_lists_operators(api_as):
    supervisor = api_as("supervisor")
    made = supervisor.post("operators/", {"name": "Ana Ruiz", "language": "es"}, idempotency_key="one")
    assert made.status_code == 201
    code = made.json()["code"]
    assert supervisor.post(
        "operators/", {"name": "Ana Ruiz", "language": "es"}, idempotency_key="one"
    ).json() == (made.json())
    changed = supervisor.patch(f"operators/{code}/", {"name": "Ana Ruiz-Sample", "is_active": False}).json()
    assert changed == {
        "code": code,
        "name": "Ana Ruiz-Sample",
        "language": "es",
        "is_active": False,
        "card_printed_at": None,
    }
    assert supervisor.get("operators/").json()["results"] == [changed]
    assert supervisor.get(f"operators/{code.lower()}/").json() == changed


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({"name": ""}, "name"),
        ({"name": 7}, "name"),
        ({"name": "x" * 81}, "name"),
        ({"language": "fr"}, "language"),
        ({"is_active": 1}, "is_active"),
        ({"code": "DX00012"}, "code"),
    ],
)
def test_a_wrong_change_names_the_field_and_changes_nothing(body, field, api_as, operator):
    ana = operator("Ana Ruiz")
    answer = api_as("supervisor").patch(f"operators/{ana.code}/", body)
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["field"] == field
    kept = Operator.objects.get()
    assert (kept.name, kept.language, kept.is_active) == ("Ana Ruiz", "en", True)


@pytest.mark.parametrize(
    "body", [{}, {"name": " "}, {"name": "Ana", "badge": "X"}, {"name": "Ana", "language": 3}]
)
def test_a_wrong_new_operator_gets_no_badge(body, api_as):
    assert api_as("supervisor").post("operators/", body).status_code == 400
    assert not Operator.objects.exists()
