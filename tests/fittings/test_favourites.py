"""Favourites: kept under a name for one customer or for all, offered at entry, removed."""

import pytest

from fittings.favourites import favourite_keep, offered
from fittings.models import Favourite
from fittings.services import customer_create
from shared.problems import WrongInput
from tests.factories import NOW, OFFICE_ACTOR, elbow_params, line

pytestmark = pytest.mark.django_db


@pytest.fixture
def harbor(shop):
    return customer_create(data={"name": "Harbor Mechanical"}, actor=OFFICE_ACTOR, now=NOW)


def keep(name="Big elbow", **changes):
    return favourite_keep(data={"name": name, "line": line(), **changes}, actor=OFFICE_ACTOR, now=NOW)


def test_a_customer_is_offered_its_own_and_those_for_all(harbor):
    keep("Small")
    keep("Big", customer="harbor mechanical")
    assert [(one["name"], one["is_own"]) for one in offered("Harbor Mechanical", "in")] == [
        ("Big", True),
        ("Small", False),
    ]
    assert [one["name"] for one in offered("Somebody else", "in")] == ["Small"]


def test_of_one_name_the_customers_own_is_meant(harbor):
    keep("Elbow", line=line(params=elbow_params(diameter=20)))
    keep("elbow", customer="Harbor Mechanical", line=line(params=elbow_params(diameter=30)))
    [one] = offered("Harbor Mechanical", "in")
    assert one["values"]["diameter"] == "30"


def test_values_are_typed_texts_without_quantity_tag_and_system(shop):
    keep(line=line(params=elbow_params(diameter=14.5), system="Level 2"))
    [one] = offered("", "in")
    assert {"quantity", "tag", "system"}.isdisjoint(one["values"])
    assert (one["values"]["diameter"], one["values"]["kind"], one["values"]["gauge"]) == (
        "14 1/2",
        "gored_elbow",
        "24",
    )


def test_lengths_in_millimetres_are_kept_in_inches(shop):
    """368.3 mm / 25.4 = 14.5 in."""
    kept = keep(unit="mm", line=line(params=elbow_params(diameter=368.3)))
    assert kept.line["params"]["diameter"] == 14.5


def test_the_same_name_is_kept_anew(shop):
    keep("Elbow")
    keep("ELBOW", line=line(gauge=20))
    assert [(one.name, one.line["gauge"]) for one in Favourite.objects.all()] == [("ELBOW", 20)]


def test_what_cannot_be_made_is_refused_and_nothing_is_kept(shop):
    with pytest.raises(WrongInput) as refused:
        keep("", line=line(params=elbow_params(diameter=6000)), customer="Nobody known")
    fields = [error.field for error in refused.value.errors]
    assert fields == ["name", "line.params.diameter"]
    assert not Favourite.objects.exists()


def test_an_unknown_customer_is_refused(shop):
    with pytest.raises(WrongInput, match="There is no customer “Nobody known” yet."):
        keep(customer="Nobody known")


def test_a_program_keeps_lists_reads_and_removes(office):
    made = office.post("favourites/", {"name": "Elbow", "line": line()})
    assert made.status_code == 201
    pk = made.json()["id"]
    assert [one["name"] for one in office.get("favourites/?q=elb").json()["results"]] == ["Elbow"]
    assert office.get(f"favourites/{pk}/").json()["line"]["params"]["diameter"] == 14
    assert office.call("DELETE", f"favourites/{pk}/").status_code == 204
    assert office.get(f"favourites/{pk}/").status_code == 404
    assert office.call("DELETE", f"favourites/{pk}/").status_code == 404


def test_the_page_lists_and_removes(office_page):
    kept = keep()
    page = office_page.get("/favourites/").content.decode()
    assert "Big elbow" in page
    assert "all customers" in page
    assert office_page.post(f"/favourites/{kept.pk}/remove/").status_code == 302
    assert not Favourite.objects.exists()
