"""The shop's reasons to hold and to scrap: a table of the shop, on the tablet in each language, kept in the record."""

from __future__ import annotations

import pytest
from django.urls import reverse
from django.utils import timezone

from fittings import tables
from fittings.models import Segment
from shared.problems import WrongInput
from tests import factories
from tests.travelers.floor import floor
from travelers.models import Scan, Task

pytestmark = pytest.mark.django_db


def reasons_of(tablet, place) -> dict:
    return tablet(place).get(reverse("api_station_queue")).json()


def test_the_tablet_gets_the_reasons_by_act_and_language(station, tablet):
    data = reasons_of(tablet, station())
    assert data["reasons"]["hold"][0] == {"reason": "Wrong gauge or size", "words": "Wrong gauge or size"}
    assert data["in"]["es"]["reasons"]["hold"][1] == {"reason": "Damaged", "words": "Dañado"}
    assert [row["reason"] for row in data["in"]["es"]["reasons"]["scrap"]] == [
        row["reason"] for row in data["reasons"]["scrap"]
    ]


def test_the_shop_changes_them_and_the_next_list_has_them(station, tablet):
    place = station()
    rows = [
        {"act": "hold", "reason": "Wet paint", "spanish": "Pintura fresca", "source": "the shop"},
        {"act": "scrap", "reason": "Dropped", "spanish": "", "source": "the shop"},
    ]
    tables.save(
        name="reasons", new_rows=rows, seen=None, note="", actor=factories.OFFICE_ACTOR, now=timezone.now()
    )
    data = reasons_of(tablet, place)
    assert data["reasons"] == {
        "hold": [{"reason": "Wet paint", "words": "Wet paint"}],
        "scrap": [{"reason": "Dropped", "words": "Dropped"}],
        "down": [],
    }
    said = data["in"]["es"]["reasons"]
    assert (said["hold"][0]["words"], said["scrap"][0]["words"]) == ("Pintura fresca", "Dropped")


def test_office_and_supervisor_see_them_among_the_tables(signed_in):
    for role in ("office", "supervisor"):
        page = signed_in(role).get(reverse("table", args=["reasons"]))
        assert page.status_code == 200
        assert "Machine or tool down" in page.content.decode()


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"act": "finish"}, "it can be hold, scrap"),
        ({"reason": ""}, "it can be a text of 1 to"),
    ],
)
def test_a_wrong_row_is_named(shop, changes, said):
    row = {"act": "hold", "reason": "Wet", "spanish": "", "source": "the shop"} | changes
    with pytest.raises(WrongInput, match=said):
        tables.save(
            name="reasons",
            new_rows=[row],
            seen=None,
            note="",
            actor=factories.OFFICE_ACTOR,
            now=timezone.now(),
        )


def test_a_held_piece_says_its_reason_in_the_language_of_the_badge(station, tablet):
    on = floor(quantity=1)
    on.scan("cut", on.segment(1).code, "hold", reason="Damaged")
    on.scan("cut", on.segment(2).code, "hold", reason="Fell off the truck")
    queue = reasons_of(tablet, station("CUT-1", ["cut"]))["queue"]
    assert [row["why"] for row in queue if row["state"] == "held"] == [
        "On hold: Damaged",
        "On hold: Fell off the truck",
    ]
    held = [row["in"]["es"]["why"] for row in queue if row["state"] == "held"]
    assert held[0].endswith(": Dañado")
    assert held[1].endswith(": Fell off the truck")


def test_a_scrap_keeps_its_reason_and_the_piece_is_made_again(shop):
    on = floor(quantity=1)
    on.scan("cut", on.segment(2).code)
    done = on.scan("roll", on.segment(2).code, "scrap", reason="Formed wrong")
    assert done.outcome == "recorded"
    assert Scan.objects.get(sequence=done.sequence).reason == "Formed wrong"
    again = Segment.objects.get(position=2, generation=2)
    assert list(Task.objects.filter(segment=again).order_by("step").values_list("operation", "state")) == [
        ("cut", "ready"),
        ("roll", "waiting"),
        ("seam", "waiting"),
    ]
