"""The numbers of a tablet for every kind: what is rolled to what, which ends, which pieces are at hand."""

from __future__ import annotations

import json

import pytest
from django.urls import reverse

from fittings.models import Fitting, Segment
from shared.units import fraction_text
from tests import factories
from tests.travelers.kinds import CASES, IDS
from travelers.models import Task
from travelers.release import order_release

OFFICE = factories.OFFICE_ACTOR
every_case = pytest.mark.parametrize(("kind", "params"), CASES, ids=IDS)


@pytest.fixture
def look(shop, station, tablet):
    """Releases one fitting; then `look(operation, position)` is what a tablet shows of a piece, None: the fitting."""

    def make(kind: str, params: dict, **line):
        made = factories.order(lines=[factories.line(quantity=1, kind=kind, params=params, **line)])
        order_release(number=made.number, actor=OFFICE, now=factories.NOW)
        clients = {}

        def see(operation: str, position: int | None = None) -> dict:
            if operation not in clients:
                clients[operation] = tablet(station(f"{operation.upper()}-1", [operation]))
            owner = Fitting if position is None else Segment
            code = owner.objects.get(**({} if position is None else {"position": position})).code
            answer = clients[operation].get(reverse("api_station_piece", args=[code]))
            assert answer.status_code == 200
            return answer.json()

        return see

    return make


def numbers(shown: dict) -> dict[str, str]:
    return {number["label"]: number["value"] for number in shown["numbers"]}


@every_case
def test_every_piece_has_its_numbers_at_every_operation(look, kind, params):
    see = look(kind, params, end_a="flange", end_b="swage")
    for operation, position in Task.objects.values_list("operation", "segment__position"):
        shown = see(operation, position)
        text = json.dumps(shown["numbers"]) + shown["where"] + shown["piece"] + json.dumps(shown["kit"])
        assert shown["numbers"] and "None" not in text and "null in" not in text and "nan" not in text
        assert shown["operation"] == operation
        assert all(number["value"].strip() for number in shown["numbers"])


@every_case
def test_the_queue_shows_every_piece_with_its_size(look, station, tablet, kind, params):
    look(kind, params)
    client = tablet(station("CUT-9", ["cut"]))
    queue = client.get(reverse("api_station_queue")).json()["queue"]
    assert len(queue) == min(8, Segment.objects.count())
    assert all(" in, 24 ga" in entry["size"] for entry in queue)
    nouns = {entry["piece"].split()[0] for entry in queue}
    assert nouns == ({"Gore"} if kind in ("gored_elbow", "offset") else {"Piece"})


def test_a_cone_is_rolled_to_its_two_diameters_and_its_slant(look):
    """Slant of a frustum: the square root of (12² + 2²), to the tape's nearest 1/32 in."""
    see = look("reducer", {"diameter_a": 14, "diameter_b": 10, "length": 12, "collar_a": 2, "collar_b": 2})
    assert numbers(see("roll", 2)) == {
        "Form": "cone",
        "Inside, edge A": "14 in",
        "Inside, edge B": "10 in",
        "Slant": f"{fraction_text((144 + 4) ** 0.5)} in",
        "Marked face": "outside",
    }
    assert numbers(see("roll", 1))["Inside diameter"] == "14 in"
    assert numbers(see("roll", 3))["Inside diameter"] == "10 in"
    whole = numbers(see("assemble"))
    assert whole["Pieces"] == "1 collar, 2 cone, 3 collar"
    assert (whole["Inside, end A"], whole["Inside, end B"]) == ("14 in", "10 in")


def test_a_branch_is_longest_at_its_sides(look):
    """14 in from the axis, less the run's mean radius r; at the sides less √(r² − b²), b the branch's mean radius."""
    see = look("tee", {"diameter": 14, "branch_diameter": 8, "length": 20, "branch_length": 14})
    run, branch = (14 + 0.0276) / 2, (8 + 0.0276) / 2
    found = numbers(see("cut", 2))
    assert found["Throat"] == found["Heel"] == f"{fraction_text(14 - run)} in"
    assert found["Side"] == f"{fraction_text(14 - (run**2 - branch**2) ** 0.5)} in"
    assert numbers(see("cut", 1))["Cut out"] == "1 hole"


def test_three_ends_are_three_and_a_caps_one_is_one(look):
    see = look(
        "tee",
        {"diameter": 14, "branch_diameter": 8, "length": 20, "branch_length": 14},
        end_a="raw",
        end_b="swage",
        end_c="flange",
    )
    found = numbers(see("ends"))
    assert [label for label in found if label.startswith("End ")] == ["End A", "End B", "End C"]
    assert found["End C"] == "Turned flange"
    assert found["Inside, end C"] == "8 in"


def test_the_turned_edge_of_a_cap(look):
    see = look("end_cap", {"diameter": 14, "depth": 1.5, "construction": "turned"})
    assert numbers(see("cut", 1))["Mark"] == "1 bend line"
    assert numbers(see("ends")) == {"End A": "Raw", "Goes inside": "none", "Inside diameter": "14 in"}
    assert see("ends")["kit"] is None


def test_a_disc_at_the_rolls_has_nothing_to_do_there(look):
    see = look("end_cap", {"diameter": 14, "depth": 1.5, "construction": "ring"})
    disc = Segment.objects.get(role="disc").position
    shown = see("roll", disc)
    assert shown["operation"] == ""
    kit = see("roll")["kit"]
    assert (kit["words"], [piece["role"] for piece in kit["pieces"]]) == ("0 of 1 here", ["Ring"])
    assert see("assemble")["kit"]["words"] == "0 of 2 here"
