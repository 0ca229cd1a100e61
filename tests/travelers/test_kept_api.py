"""Kept pieces for programs: listed, kept, moved, ended, offered, used by a release."""

from __future__ import annotations

import pytest

from fittings.models import KeptPiece, Order, Segment
from tests import factories
from tests.travelers.floor import LATER, floor
from tests.travelers.kept_floor import agrees, draft, fittings_kept, release, segments_kept
from travelers.models import Task
from travelers.release import order_cancel

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("shop")]


def codes_of_cancelled(*positions: int) -> list[str]:
    """Labels of cut gores of a cancelled order, not kept yet."""
    old = floor(quantity=1)
    for position in positions:
        old.scan("cut", old.segment(position).code)
    order_cancel(number=old.order.number, actor=factories.OFFICE_ACTOR, now=LATER)
    return [old.segment(position).code for position in positions]


def test_pieces_are_kept_by_their_codes(office):
    codes = codes_of_cancelled(2, 3)
    answer = office.post("kept/", {"codes": codes, "why": "cancelled", "place": "A4", "note": "Good"})
    assert answer.status_code == 201
    kept = answer.json()["kept"]
    assert [(one["code"], one["position"], one["role"], one["done"], one["place"]) for one in kept] == [
        (codes[0], 2, "middle_gore", ["cut"], "A4"),
        (codes[1], 3, "end_gore", ["cut"], "A4"),
    ]
    assert (kept[0]["why"], kept[0]["note"], kept[0]["is_fitting"], kept[0]["used_for"]) == (
        "cancelled",
        "Good",
        False,
        None,
    )


def test_the_same_request_twice_keeps_once(office):
    body = {"codes": codes_of_cancelled(2), "why": "cancelled"}
    first = office.post("kept/", body, idempotency_key="k-1")
    again = office.post("kept/", body, idempotency_key="k-1")
    assert (first.status_code, again.status_code) == (201, 201)
    assert first.json() == again.json()
    assert KeptPiece.objects.count() == 1


def test_any_label_of_a_finished_fitting_is_the_whole_fitting(office):
    on = floor(quantity=1)
    for operation in ("cut", "roll", "seam", "assemble", "wrap"):
        on.scan(operation, on.fitting.code)
    answer = office.post("kept/", {"codes": [on.segment(2).code.lower()], "why": "returned"})
    (kept,) = answer.json()["kept"]
    assert (kept["is_fitting"], kept["code"], kept["position"]) == (True, on.fitting.code, None)
    assert kept["done"] == ["cut", "roll", "seam", "assemble", "wrap"]


def test_a_kept_fitting_that_was_used_and_came_back_is_kept_by_its_old_code(office):
    (kept,) = fittings_kept()
    on = release(draft(quantity=1), [kept])
    answer = office.post("kept/", {"codes": [kept.fitting.code], "why": "returned"})
    assert answer.status_code == 201, answer.json()
    assert answer.json()["kept"][0]["code"] == on.fitting.code


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({"codes": [], "why": "returned"}, "codes"),
        ({"codes": "2345", "why": "returned"}, "codes"),
        ({"codes": ["0"] * 201, "why": "returned"}, "codes"),
        ({"codes": ["ZZ"], "why": "returned"}, "codes[0]"),
        ({"codes": [17], "why": "returned"}, "codes[0]"),
        ({"codes": ["{code}"], "why": "changed"}, "why"),
        ({"codes": ["{code}"]}, "why"),
        ({"codes": ["{code}"], "why": "cancelled", "place": 4}, "place"),
        ({"codes": ["{code}"], "why": "cancelled", "color": "red"}, "color"),
        ({"codes": ["{code}", "{code}"], "why": "cancelled"}, "codes[1]"),
        ({"codes": ["{other}"], "why": "cancelled"}, "codes[0]"),
    ],
)
def test_what_is_wrong_is_named_and_nothing_kept(office, body, field):
    code = codes_of_cancelled(2)[0]
    other = floor(quantity=1).segment(1).code
    if isinstance(body["codes"], list):
        named = {"{code}": code, "{other}": other}
        body = body | {"codes": [named.get(one, one) for one in body["codes"]]}
    answer = office.post("kept/", body)
    assert answer.status_code == 400
    assert [error["field"] for error in answer.json()["errors"]] == [field]
    assert all(error["message"].endswith((".", "?")) for error in answer.json()["errors"])
    assert KeptPiece.objects.count() == 0


def test_a_piece_is_moved_and_ended(office):
    (kept,) = segments_kept(2)
    moved = office.patch(f"kept/{kept.pk}/", {"place": "C2", "version": 1})
    assert (moved.status_code, moved.json()["place"], moved.json()["version"]) == (200, "C2", 2)
    assert office.patch(f"kept/{kept.pk}/", {"place": "D1", "version": 1}).status_code == 409
    ended = office.patch(f"kept/{kept.pk}/", {"ended": "lost"})
    assert (ended.json()["ended_why"], ended.json()["ended_by"][:6]) == ("lost", "office")
    assert office.patch(f"kept/{kept.pk}/", {"place": "D1"}).status_code == 409
    assert office.patch(f"kept/{kept.pk}/", {"ended": "eaten"}).status_code == 400
    assert office.get("kept/999/").status_code == 404


def test_the_list_goes_by_state_and_words(office):
    (first,) = segments_kept(2)
    (second,) = fittings_kept()

    def listed(query: str) -> list[int]:
        answer = office.get(f"kept/?{query}")
        assert answer.status_code == 200, answer.json()
        return sorted(one["id"] for one in answer.json()["results"])

    both = [first.pk, second.pk]
    assert listed("") == both
    assert listed("q=A4") == [first.pk]
    assert listed("q=14+90+elbow+24") == both
    assert listed("q=14+1/2+elbow") == []
    assert listed("q=tee") == []
    assert listed(f"q={second.fitting.code}") == [second.pk]
    release(draft(quantity=1), [first])
    assert (listed(""), listed("state=used"), listed("state=ended")) == ([second.pk], [first.pk], [])
    assert office.get("kept/?state=stolen").status_code == 400


def test_the_offer_names_what_the_release_takes(office):
    segments_kept(2)
    fittings_kept()
    order = draft(quantity=3)
    offers = office.get(f"orders/{order.number}/kept/").json()["offers"]
    assert [(one["line"], one["what"], one["done"], one["place"], one["needed"]) for one in offers] == [
        (1, "fittings", "finished", "B1", 3),
        (1, "middle gores", "cut and rolled", "A4", 3),
    ]
    ids = [one for offer in offers for one in offer["ids"]]
    answer = office.post(f"orders/{order.number}/release/", {"use_kept": ids})
    assert (answer.status_code, answer.json()["fittings_done"]) == (200, 1)
    assert Task.objects.filter(fitting__order__number=order.number, came_done=True).count() == 11 + 2
    assert office.get(f"orders/{order.number}/kept/").json()["offers"] == []
    agrees()


def test_an_offer_is_no_duty(office):
    segments_kept(2)
    order = draft(quantity=1)
    assert office.post(f"orders/{order.number}/release/").status_code == 200
    assert Task.objects.filter(came_done=True).count() == 0
    assert KeptPiece.objects.get().used_at is None


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ("all", "use_kept"),
        ([0], "use_kept[0]"),
        (["7"], "use_kept[0]"),
        ([True], "use_kept[0]"),
        ([99], "use_kept[0]"),
        (["{id}", "{id}"], "use_kept[1]"),
        ([2**63], "use_kept[0]"),
    ],
)
def test_wrong_ids_release_nothing(office, given, field):
    (kept,) = segments_kept(2)
    order = draft(quantity=1)
    body = {
        "use_kept": [kept.pk if one == "{id}" else one for one in given] if isinstance(given, list) else given
    }
    answer = office.post(f"orders/{order.number}/release/", body)
    assert answer.status_code == 400
    assert [error["field"] for error in answer.json()["errors"]] == [field]
    assert Order.objects.get(pk=order.pk).state == "draft"
    assert not Segment.objects.filter(fitting__order=order).exists()


def test_a_release_asked_twice_uses_once(office):
    (kept,) = segments_kept(2)
    order = draft(quantity=1)
    body = {"use_kept": [kept.pk]}
    first = office.post(f"orders/{order.number}/release/", body, idempotency_key="r-1")
    again = office.post(f"orders/{order.number}/release/", body, idempotency_key="r-1")
    assert (first.status_code, again.status_code) == (200, 200)
    assert first.json() == again.json()
