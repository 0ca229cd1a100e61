"""The running numbers of tablets' scans: no part of what a scan is, and a missing one is seen.

Expected values are counted by hand.
"""

from __future__ import annotations

import pytest

from shopfloor.models import NumberGap, NumberSeries
from travelers.models import Scan, ScanMismatch

from .conftest import NOW
from .tablets import OTHER_SERIES, enrolled, scan, send


@pytest.fixture
def rolls(station):
    """A browser that is the tablet of ROLL-1."""
    return enrolled(station(), NOW)[1]


def gaps() -> list:
    return [gap.missing for gap in NumberGap.objects.filter(closed_at=None).order_by("pk")]


def results(answer) -> list[dict]:
    assert answer.status_code == 200, answer.content
    return answer.json()["results"]


# -- the number is beside the scan ------------------------------------------


def test_number_is_kept_with_its_scan_and_told_in_the_record(rolls):
    send(rolls, [scan(1), scan(2)])
    assert list(Scan.objects.order_by("sequence").values_list("number", flat=True)) == [1, 2]
    record = rolls.get("/api/v1/scans/").json()["results"]
    assert [row["number"] for row in record] == [1, 2]


@pytest.mark.parametrize("again", [{"number": 9}, {}])
def test_same_scan_with_another_number_or_none_is_no_other_body(rolls, again):
    first = scan(7)
    send(rolls, [first])
    other = {name: value for name, value in first.items() if name != "number"} | again
    assert results(send(rolls, [other]))[0]["outcome"] == "repeated"
    assert ScanMismatch.objects.count() == 0
    assert Scan.objects.get().number == 7


def test_same_id_with_another_code_still_is_another_body(rolls):
    first = scan(1)
    send(rolls, [first])
    send(rolls, [first | {"code": "AA0001"}])
    assert "number" not in ScanMismatch.objects.get().body


def test_an_older_page_without_numbers_goes_on(rolls):
    assert results(send(rolls, [scan(None)], series=""))[0]["sequence"] == 1
    assert Scan.objects.get().number is None
    assert not NumberSeries.objects.exists()


@pytest.mark.parametrize("number", [0, -1, 1_000_000_001, 1.5, True, "7", [7]])
def test_a_number_that_is_none_is_refused_by_name_value_and_limit(rolls, number):
    answer = results(send(rolls, [{**scan(None), "number": number}, scan(1)]))
    assert answer[0]["outcome"] == "refused"
    assert answer[0]["message"] == f"Number is {number}; it can be 1 to 1000000000."
    assert answer[1]["reason_code"] != "wrong_input"
    assert NumberSeries.objects.get().highest == 1


# -- gaps -------------------------------------------------------------------


def test_no_gap_while_numbers_come_in_order(rolls):
    send(rolls, [scan(1), scan(2)])
    send(rolls, [scan(3)])
    assert gaps() == []
    assert NumberSeries.objects.get().highest == 3


def test_a_gap_is_seen_with_what_lies_before_and_after(rolls):
    before, after = scan(2), scan(5)
    send(rolls, [scan(1), before])
    send(rolls, [after])
    gap = NumberGap.objects.get()
    assert (gap.first, gap.last, gap.missing) == (3, 4, [[3, 4]])
    assert (gap.before, gap.after) == (before["id"], after["id"])


def test_a_gap_at_the_very_beginning_is_seen(rolls):
    send(rolls, [scan(4)])
    assert gaps() == [[[1, 3]]]
    assert NumberGap.objects.get().before == ""


def test_a_late_arrival_makes_the_gap_smaller_and_the_last_one_closes_it(rolls):
    send(rolls, [scan(1), scan(6)])
    send(rolls, [scan(3)])
    assert gaps() == [[[2, 2], [4, 5]]]
    send(rolls, [scan(5), scan(4)])
    assert gaps() == [[[2, 2]]]
    send(rolls, [scan(2)])
    assert gaps() == []
    assert NumberGap.objects.get().closed_at is not None


def test_several_holes_of_one_batch_are_one_gap(rolls):
    send(rolls, [scan(number) for number in (2, 3, 7, 9)])
    assert gaps() == [[[1, 1], [4, 6], [8, 8]]]


def test_order_within_a_batch_makes_no_gap(rolls):
    send(rolls, [scan(number) for number in (3, 1, 2)])
    assert gaps() == []


def test_a_repeated_delivery_closes_the_gap_too(rolls):
    """As after an end of the server between recording the scans and noting their numbers."""
    lost = scan(None)
    send(rolls, [lost])
    send(rolls, [scan(2)])
    assert gaps() == [[[1, 1]]]
    assert results(send(rolls, [lost | {"number": 1}]))[0]["outcome"] == "repeated"
    assert gaps() == []


def test_a_scan_that_was_not_kept_leaves_its_number_missing(rolls):
    send(rolls, [scan(1), scan(2, id=""), scan(3)])
    assert gaps() == [[[2, 2]]]


def test_a_refused_scan_has_come(rolls):
    assert results(send(rolls, [scan(1), scan(2)]))[0]["outcome"] == "refused"
    assert gaps() == []


def test_two_tablets_of_a_station_have_numbers_of_their_own(station):
    place = station()
    one, other = enrolled(place, NOW)[1], enrolled(place, NOW)[1]
    send(one, [scan(1), scan(2)])
    send(other, [scan(1)], series=OTHER_SERIES)
    assert gaps() == []
    assert sorted(NumberSeries.objects.values_list("highest", flat=True)) == [1, 2]


def test_numbers_go_on_where_the_tablet_is_enrolled_again_elsewhere(station):
    send(enrolled(station(), NOW)[1], [scan(1), scan(2)])
    tablet, moved = enrolled(station("SEAM-1", ["seam"]), NOW)
    send(moved, [scan(3)])
    assert gaps() == []
    assert NumberSeries.objects.get().key_id == tablet.key_id


def test_numbers_that_begin_anew_say_that_the_store_was_emptied(rolls):
    last, first = scan(3), scan(1)
    send(rolls, [scan(1), scan(2), last])
    send(rolls, [first], series=OTHER_SERIES)
    gap = NumberGap.objects.get()
    assert (gap.first, gap.last, gap.before, gap.after) == (4, None, last["id"], first["id"])
    assert gap.series.highest == 3


def test_the_emptied_store_is_taken_back_where_its_numbers_go_on(rolls):
    send(rolls, [scan(1)])
    send(rolls, [scan(1)], series=OTHER_SERIES)
    send(rolls, [scan(2)])
    assert gaps() == []


def test_without_a_series_the_numbers_are_the_keys_own(rolls):
    send(rolls, [scan(1), scan(3)], series="")
    assert gaps() == [[[2, 2]]]
    send(rolls, [scan(1), scan(2)])
    assert gaps() == [[[2, 2]]]
    assert NumberSeries.objects.count() == 2


@pytest.mark.parametrize("series", ["short", "x" * 65, "no spaces in it", "<b>bold-bold</b>"])
def test_a_series_that_cannot_be_read_counts_as_none(rolls, series):
    send(rolls, [scan(1)], series=series)
    assert NumberSeries.objects.get().name.startswith("key ")


def test_numbers_cost_a_batch_of_any_size_the_same(rolls, django_assert_max_num_queries):
    from shared.roles import Actor
    from shopfloor.scan_numbers import numbers_note

    actor = Actor("ROLL-1", "operator", "ROLL-1", ("roll",), None)
    numbers_note(actor=actor, series="a-long-name", numbers={1: "a"}, now=NOW)
    with django_assert_max_num_queries(1):
        numbers_note(actor=actor, series="a-long-name", numbers={n: f"{n}" for n in range(2, 502)}, now=NOW)
    assert NumberSeries.objects.get().highest == 501
