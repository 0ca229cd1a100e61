"""Scans of lots, scrapping and undoing: which pieces a scan is about, and what becomes of them."""

from __future__ import annotations

from datetime import timedelta

import pytest

from fittings.models import Segment
from tests.travelers.floor import NOW, facts, station
from travelers.replay import replay

pytestmark = pytest.mark.django_db


# -- lots and counts -----------------------------------------------------------------------


def test_a_traveler_stands_for_all_that_is_left_here(on):
    on.scan("cut", on.segment(2).code)
    done = on.scan("cut", on.traveler)
    assert (done.outcome, done.message) == ("recorded", "The lot cut. Next: Roll.")
    assert on.states("cut", 1) == on.states("cut", 2) == ["done"] * 3
    assert on.task("cut", 2).finished_at == NOW + timedelta(minutes=1)


def test_a_count_takes_that_many_in_order(on):
    done = on.scan("cut", on.traveler, count=4)
    assert done.outcome == "recorded"
    assert on.states("cut", 1) == ["done"] * 3
    assert on.states("cut", 2) == ["done", "ready", "ready"]
    assert on.scan("cut", on.traveler, count=2).outcome == "recorded"
    assert on.states("cut", 2) == ["done"] * 3


def test_a_count_of_more_than_is_left_changes_nothing(on):
    on.scan("cut", on.traveler, count=4)
    before = facts()
    found = on.scan("cut", on.traveler, count=3)
    assert (found.outcome, found.message) == ("refused", "Only 2 of this lot are left here; the count is 3.")
    assert facts() == before


def test_a_count_that_arrives_late_takes_nothing_that_others_counted(on):
    """By its own time the lot was whole; two tablets cannot count the same six pieces."""
    late = on.body(on.traveler, "finish", count=1)
    on.scan("cut", on.traveler, count=6)
    before = facts()
    found = on.send(station("cut", "CUT-2"), late)
    assert (found.outcome, found.changed) == ("refused", 0)
    assert found.message.startswith("The lot: Cut was finished by Sam Invented")
    assert facts() == before


def test_at_assembly_a_count_counts_fittings(on):
    on.scan("seam", on.traveler)
    assert on.scan("assemble", on.traveler, count=1).outcome == "recorded"
    assert (on.states("assemble", 1), on.states("assemble", 2)) == (["done"], ["ready"])


@pytest.mark.parametrize("count", [0, -1, 1.5, "2", True, 10**9, [], float("1e300")])
def test_a_count_that_is_none_is_refused(on, count):
    before = facts()
    found = on.scan("cut", on.traveler, count=count)
    assert found.outcome == "refused"
    assert "1 to 100000" in found.message
    assert facts() == before


def test_a_label_is_one_piece(on):
    assert on.scan("cut", on.segment(1).code, count=2).outcome == "refused"
    assert on.scan("cut", on.segment(1).code, count=1).outcome == "recorded"


def test_a_lot_goes_on_without_what_is_on_hold(on):
    on.scan("cut", on.segment(1).code, "hold", reason="Stain")
    assert on.scan("cut", on.traveler).outcome == "recorded"
    assert on.states("cut", 1) == ["held", "done", "done"]


# -- scrap ------------------------------------------------------------------------------------


def test_scrap_makes_the_piece_again_with_a_new_code(on):
    old = on.segment(2)
    on.scan("cut", old.code)
    done = on.scan("roll", old.code, "scrap", reason="Rolled flat")
    assert done.outcome == "recorded"
    old.refresh_from_db()
    again = on.segment(2, generation=2)
    assert (old.state, again.state, again.role, again.pattern) == ("scrapped", "open", old.role, old.pattern)
    assert again.code != old.code
    assert on.task("cut", 2, generation=2).state == "ready"
    assert on.task("roll", 2, generation=2).minutes == on.task("roll", 2).minutes
    refused = on.scan("cut", old.code)
    assert refused.message.startswith("Gore 2 of 3 was scrapped by Sam Invented")
    done = on.scan("cut", again.code)
    assert done.message == "Gore 2 of 3 (made again, 2) cut. Next: Roll."


def test_scrap_twice_over_makes_a_third(on):
    on.scan("cut", on.segment(1).code, "scrap")
    on.scan("cut", on.segment(1, generation=2).code, "scrap")
    third = on.segment(1, generation=3)
    assert third.state == "open"
    assert on.scan("cut", third.code).outcome == "recorded"
    assert replay(write=False).differences == []


def test_scrap_of_a_fitting_makes_all_its_pieces_again(on):
    on.scan("assemble", on.fitting.code)
    assert on.scan("assemble", on.fitting.code, "scrap", reason="Dropped").outcome == "recorded"
    assert Segment.objects.filter(fitting=on.fitting, generation=2, state="open").count() == 3
    assert on.states("assemble") == ["waiting"]
    assert replay(write=False).differences == []


def test_an_undone_scrap_voids_the_new_piece(on):
    on.scan("cut", on.segment(1).code, "scrap")
    assert on.scan("cut", on.segment(1).code, "undo").outcome == "recorded"
    assert on.segment(1).state == "open"
    assert on.segment(1, generation=2).state == "void"
    assert on.scan("cut", on.segment(1, generation=2).code).message.endswith("is void. Do not make it.")
    again = on.scan("cut", on.segment(1).code, "scrap")
    assert again.outcome == "recorded"
    assert on.segment(1, generation=2).state == "open"
    assert Segment.objects.filter(fitting=on.fitting).count() == 4


# -- undo --------------------------------------------------------------------------------------


def test_undo_without_a_name_takes_the_stations_last_scan_of_the_code(on):
    code = on.segment(1).code
    on.scan("cut", code)
    on.scan("roll", code, "start")
    refused = on.scan("cut", code, "undo")
    assert refused.message.startswith("Gore 1 of 3 went on to Roll by Sam Invented")
    assert on.scan("roll", code, "undo").outcome == "recorded"
    assert on.scan("cut", code, "undo").outcome == "recorded"
    assert on.states("cut")[0] == "ready"
    nothing = on.scan("cut", code, "undo")
    assert (nothing.outcome, nothing.message) == ("refused", "Gore 1 of 3: there is nothing to undo here.")


def test_undo_by_name(on):
    code = on.segment(1).code
    first = on.scan("cut", code, "start")
    on.scan("cut", code, "hold", reason="x")
    assert on.scan("cut", code, "undo", undoes=first.id).outcome == "recorded"
    assert on.task("cut", 1).state == "held"
    again = on.scan("cut", code, "undo", undoes=first.id)
    assert (again.outcome, again.message) == ("refused", "Gore 1 of 3: that scan is undone already.")


def test_undo_of_a_lot_takes_back_all_of_it(on):
    on.scan("cut", on.traveler)
    assert on.scan("cut", on.traveler, "undo").outcome == "recorded"
    assert on.states("cut", 1) == on.states("cut", 2) == ["ready"] * 3
    assert on.states("roll", 1) == ["waiting"] * 3


def test_undo_of_another_pieces_scan_is_refused(on):
    other = on.scan("cut", on.segment(1, fitting=2).code)
    before = facts()
    assert on.scan("cut", on.segment(1).code, "undo", undoes=other.id).outcome == "refused"
    assert facts() == before
