"""The stock by its API: answers, units, paging, versions, keys, roles."""

import pytest

from fittings.models import StockItem

SHEET = {"form": "sheet", "material": "galvanized", "gauge": 24, "width": 48, "length": 120}


def test_a_sheet_is_added_and_answered_whole(office):
    answer = office.post("stock/", {**SHEET, "count": 20, "cost_each": 41.5, "note": "Rack 3"})
    assert answer.status_code == 201
    body = dict(answer.json())
    assert body.pop("changed_by").startswith("office")
    assert body.pop("changed_at")
    assert body == {
        "id": StockItem.objects.get().pk,
        "name": "48x120",
        "form": "sheet",
        "material": "galvanized",
        "gauge": 24,
        "unit": "in",
        "width": 48,
        "length": 120,
        "count": 20,
        "cost_each": "41.50",
        "code": "",
        "made_from": None,
        "plan": None,
        "note": "Rack 3",
        "is_active": True,
        "version": 1,
    }
    assert office.get(f"stock/{StockItem.objects.get().pk}/").json() == answer.json()


def test_millimetres_in_and_out(office):
    body = office.post("stock/", {**SHEET, "unit": "mm", "width": 1219.2, "length": 2438.4}).json()
    assert (body["unit"], body["width"], body["length"]) == ("mm", 1219.2, 2438.4)
    item = StockItem.objects.get()
    assert (item.width_in, item.length_in) == pytest.approx((48, 96), abs=1e-6)
    assert office.get(f"stock/{item.pk}/").json()["width"] == pytest.approx(48)
    assert office.get("stock/?unit=mm").json()["results"][0]["length"] == pytest.approx(2438.4)


def test_the_list_is_filtered_and_paged(office):
    for gauge, length in ((24, 96), (24, 120), (26, 96)):
        office.post("stock/", {**SHEET, "gauge": gauge, "length": length})
    office.post("stock/", {**SHEET, "form": "coil", "length": 240})
    assert office.get("stock/").json()["count"] == 4
    found = office.get("stock/?material=galvanized&gauge=24&form=sheet").json()
    assert [row["name"] for row in found["results"]] == ["48x96", "48x120"]
    page = office.get("stock/?page_size=3&page=2").json()
    assert (page["count"], len(page["results"]), page["next"]) == (4, 1, None)
    for wrong in ("form=plate", "gauge=many", "unit=ft", "retired=perhaps"):
        answer = office.get(f"stock/?{wrong}")
        assert (answer.status_code, answer.json()["errors"][0]["field"]) == (400, wrong.split("=")[0])


def test_a_change_names_its_version(office):
    made = office.post("stock/", SHEET).json()
    path = f"stock/{made['id']}/"
    assert office.patch(path, {"count": 3}).status_code == 400
    changed = office.patch(path, {"version": 1, "count": 3, "cost_each": "40"}).json()
    assert (changed["version"], changed["count"], changed["cost_each"]) == (2, 3, "40.00")
    stale = office.patch(path, {"version": 1, "count": 9})
    assert (stale.status_code, stale.json()["version"]) == (409, 2)
    assert StockItem.objects.get().count == 3


def test_an_answer_can_be_sent_back_as_it_came(office):
    made = office.post("stock/", {**SHEET, "count": 3, "cost_each": "40.00"}).json()
    again = office.patch(f"stock/{made['id']}/", made)
    assert (again.status_code, again.json()) == (200, made)


def test_an_item_is_retired_and_brought_back(office):
    made = office.post("stock/", SHEET).json()
    path = f"stock/{made['id']}/"
    assert office.patch(path, {"version": 1, "is_active": False}).json()["is_active"] is False
    assert office.get("stock/").json()["count"] == 0
    assert office.get("stock/?retired=true").json()["results"][0]["id"] == made["id"]
    assert office.patch(path, {"version": 2, "is_active": True}).json()["is_active"] is True
    assert office.patch(path, {"version": 3, "is_active": "yes"}).status_code == 400


def test_the_same_key_adds_once(office):
    answers = [office.post("stock/", SHEET, idempotency_key="one") for _ in range(2)]
    assert [answer.status_code for answer in answers] == [201, 201]
    assert answers[0].json() == answers[1].json()
    assert StockItem.objects.count() == 1
    assert office.post("stock/", {**SHEET, "length": 96}, idempotency_key="one").status_code == 422


def test_a_wrong_body_is_refused_with_all_its_fields(office):
    answer = office.post("stock/", {**SHEET, "gauge": 99, "length": 500, "count": -1, "cost_each": "x"})
    assert (answer.status_code, answer["Content-Type"]) == (400, "application/problem+json")
    assert [error["field"] for error in answer.json()["errors"]] == ["gauge", "length", "count", "cost_each"]
    for raw in (b"[1]", b'"x"', b'{"width": NaN}', b'{"width": 1e999}'):
        assert office.call("POST", "stock/", raw=raw).status_code == 400
    assert StockItem.objects.count() == 0


@pytest.mark.parametrize("role", ["office", "supervisor", "operator", "display", ""])
def test_stock_is_for_office_and_supervisor(api_as, office, role):
    made = office.post("stock/", SHEET).json()
    path = f"stock/{made['id']}/"
    is_good = role in ("office", "supervisor")
    refusal = 403 if role else 401
    caller = api_as(role)
    asked = [
        (caller.get("stock/"), 200),
        (caller.get(path), 200),
        (caller.post("stock/", {**SHEET, "length": 96}), 201),
        (caller.patch(path, {"version": 1, "count": 3}), 200),
    ]
    for answer, good in asked:
        assert answer.status_code == (good if is_good else refusal)
    assert StockItem.objects.count() == (2 if is_good else 1)


def test_an_unknown_item_is_404(office):
    assert office.get("stock/999/").status_code == 404
    assert office.patch("stock/999/", {"version": 1}).status_code == 404
