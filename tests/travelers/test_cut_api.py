"""Cut plans by their API: the whole way as a program goes it, units, paging, keys, roles, refusals."""

from __future__ import annotations

import xml.etree.ElementTree
from io import BytesIO

import pytest
from shapely.geometry import Polygon

from fittings.models import CutPiece, CutPlan
from tests.factories import ROLES
from tests.travelers.cut_floor import live, proven_plan, released, stock, work

METAL = {"material": "galvanized", "gauge": 24, "effort": "quick"}
PLAN_FIELDS = [
    "number",
    "state",
    "version",
    "material",
    "gauge",
    "unit",
    "effort",
    "seed",
    "gap",
    "margin",
    "turns",
    "seams",
    "due_to",
    "stock",
    "utilisation",
    "bound",
    "parts_area",
    "stock_area",
    "cost",
    "message",
    "made_by",
    "asked_at",
    "made_at",
    "sent_at",
    "sent_by",
    "ended_at",
    "job",
    "comparisons",
    "sheets",
    "without_sheet",
]


def planned(office, **changes) -> dict:
    answer = office.post("cut-plans/", METAL | changes)
    assert answer.status_code == 201, answer.content
    return answer.json()


def made(office, **changes) -> dict:
    number = planned(office, **changes)["number"]
    assert work()
    return office.get(f"cut-plans/{number}/").json()


def test_a_program_goes_the_whole_way(office):
    order = released(quantity=3)
    stock(count=9)
    waiting = office.get("cut-work/").json()["results"]
    assert [(row["material"], row["gauge"], row["pieces"], row["orders"]) for row in waiting] == [
        ("galvanized", 24, 9, 1)
    ]
    asked = planned(office)
    assert list(asked) == PLAN_FIELDS
    assert (asked["state"], asked["job"]["state"], len(asked["without_sheet"])) == ("making", "queued", 9)
    assert work()
    plan = office.get(f"cut-plans/{asked['number']}/").json()
    assert (plan["state"], plan["job"]["state"], plan["without_sheet"]) == ("made", "done", [])
    pieces = [piece for sheet in plan["sheets"] for piece in sheet["pieces"]]
    assert {piece["order"] for piece in pieces} == {order.number}
    assert len({piece["code"] for piece in pieces}) == 9
    assert all(piece["is_live"] and piece["cut"] == "ready" for piece in pieces)
    assert [sheet["position"] for sheet in plan["sheets"]] == list(range(1, len(plan["sheets"]) + 1))
    sent = office.post(f"cut-plans/{plan['number']}/send/", {"version": plan["version"]})
    assert (sent.status_code, sent.json()["state"]) == (200, "sent")
    codes = [sheet["code"] for sheet in sent.json()["sheets"]]
    assert all(codes)
    proven_plan(CutPlan.objects.get())
    sheet = office.get(f"cut-sheets/{codes[0]}/").json()
    assert (sheet["plan"], sheet["state"], sheet["code"]) == (plan["number"], "sent", codes[0])
    for piece in sheet["pieces"]:
        assert Polygon(piece["outline"]).area == pytest.approx(piece["area"], rel=1e-4)
    by_id = office.get(f"cut-sheets/{sheet['id']}/").json()
    assert by_id == sheet
    piece = sheet["pieces"][0]
    body = {"code": piece["code"], "reason": "scratched"}
    off = office.post(f"cut-sheets/{codes[0]}/take-off/", body)
    assert (off.status_code, off.json()["is_live"], off.json()["off"]["reason"]) == (200, False, "scratched")
    assert office.get("cut-work/").json()["results"][0]["pieces"] == 1


def test_lengths_are_taken_and_given_in_millimetres(office):
    released()
    stock()
    asked = planned(office, unit="mm", gap=5.08, margin=12.7)
    assert (asked["unit"], asked["gap"], asked["margin"]) == ("mm", 5.08, 12.7)
    plan = CutPlan.objects.get()
    assert (plan.gap_in, plan.margin_in) == pytest.approx((0.2, 0.5))
    assert work()
    inches = office.get("cut-plans/1/").json()["sheets"][0]
    millimetres = office.get("cut-plans/1/?unit=mm").json()["sheets"][0]
    for name in ("width", "length", "used_length"):
        assert millimetres[name] == pytest.approx(25.4 * inches[name], abs=0.01)
    assert millimetres["pieces"][0]["x"] == pytest.approx(25.4 * inches["pieces"][0]["x"], abs=1e-3)
    assert millimetres["pieces"][0]["area"] == pytest.approx(25.4**2 * inches["pieces"][0]["area"], rel=1e-5)
    wrong = office.post("cut-plans/", METAL | {"unit": "mm", "gap": 60})
    assert wrong.json()["errors"][0]["message"] == "Gap is 60 mm; it can be 0 to 50.8 mm."


def test_plans_are_listed_filtered_and_paged(office):
    stock()
    for _ in range(3):
        released()
        made(office)
    office.post("cut-plans/3/drop/")
    rows = office.get("cut-plans/").json()["results"]
    assert [row["number"] for row in rows] == [3, 2, 1]
    assert [row["pieces_count"] for row in rows] == [6, 6, 6]
    assert all(row["sheets_count"] for row in rows)
    assert [row["number"] for row in office.get("cut-plans/?state=dropped").json()["results"]] == [3]
    assert office.get("cut-plans/?material=galvanized&gauge=22").json()["count"] == 0
    page = office.get("cut-plans/?page_size=2&page=2").json()
    assert (page["count"], [row["number"] for row in page["results"]], page["next"]) == (3, [1], None)
    for wrong in ("state=lost", "gauge=many", "unit=ft"):
        answer = office.get(f"cut-plans/?{wrong}")
        assert (answer.status_code, answer.json()["errors"][0]["field"]) == (400, wrong.split("=")[0])


def test_the_same_key_plans_and_sends_once(office):
    released()
    stock(count=9)
    first = office.post("cut-plans/", METAL, idempotency_key="plan-1")
    again = office.post("cut-plans/", METAL, idempotency_key="plan-1")
    assert (first.status_code, again.status_code) == (201, 201)
    assert first.json() == again.json()
    assert CutPlan.objects.count() == 1
    other = office.post("cut-plans/", METAL | {"gap": 0.5}, idempotency_key="plan-1")
    assert other.status_code == 422
    assert work()
    sent = office.post("cut-plans/1/send/", {}, idempotency_key="send-1")
    repeat = office.post("cut-plans/1/send/", {}, idempotency_key="send-1")
    assert (sent.status_code, repeat.status_code) == (200, 200)
    assert sent.json() == repeat.json()
    assert office.post("cut-plans/1/send/", {}).status_code == 409


def test_a_refused_request_changes_nothing_and_its_key_is_free_again(office):
    released()
    assert office.post("cut-plans/", METAL, idempotency_key="k").status_code == 409
    assert (CutPlan.objects.count(), CutPiece.objects.count()) == (0, 0)
    stock()
    assert office.post("cut-plans/", METAL, idempotency_key="k").status_code == 201


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({"gap": 5}, "gap"),
        ({"margin": -1}, "margin"),
        ({"margin": "wide"}, "margin"),
        ({"turns": "some"}, "turns"),
        ({"seams": ["free"]}, "seams"),
        ({"effort": "forever"}, "effort"),
        ({"seed": 1.5}, "seed"),
        ({"due_to": "soon"}, "due_to"),
        ({"orders": "1001"}, "orders"),
        ({"orders": ["77777"]}, "orders[0]"),
        ({"stock": [0]}, "stock"),
        ({"stock": [987654]}, "stock[0]"),
        ({"gauge": None}, "gauge"),
        ({"material": "cheese"}, "material"),
        ({"gapp": 1}, "gapp"),
        ({"unit": "ft"}, "unit"),
    ],
)
def test_every_wrong_field_is_named(office, body, field):
    released()
    stock()
    answer = office.post("cut-plans/", METAL | body)
    assert answer.status_code == 400
    assert answer["Content-Type"] == "application/problem+json"
    errors = answer.json()["errors"]
    assert [error["field"] for error in errors] == [field]
    assert all(error["limit"] and error["message"].endswith(".") for error in errors)
    assert CutPlan.objects.count() == 0


def test_several_wrong_fields_are_named_at_once(office):
    answer = office.post("cut-plans/", {"material": "cheese", "gap": 9, "effort": "x"})
    assert {error["field"] for error in answer.json()["errors"]} >= {"material", "gap", "effort"}


def test_the_second_planner_is_told_by_the_api(api_as):
    released()
    stock()
    first = planned(api_as("office"))
    answer = api_as("supervisor").post("cut-plans/", METAL)
    assert answer.status_code == 409
    assert answer.json()["plans"] == [first["number"]]
    assert f"(made by {first['made_by']})" in answer.json()["detail"]


def test_a_plan_is_stopped_made_again_and_dropped(office):
    released(quantity=4)
    stock()
    planned(office, effort="long", seed=3)
    assert office.post("cut-plans/1/stop/").json()["job"]["wants_stop"] is True
    assert work()
    again = office.post("cut-plans/1/again/", {"unit": "mm", "gap": 6.35, "effort": "quick"})
    assert again.status_code == 201
    told = again.json()
    assert (told["number"], told["gap"], told["effort"], told["seed"]) == (2, 6.35, "quick", 3)
    assert CutPlan.objects.get(number=1).state == "dropped"
    assert (
        office.post("cut-plans/1/again/", {"material": "aluminum"}).json()["errors"][0]["field"] == "material"
    )
    dropped = office.post("cut-plans/2/drop/")
    assert (dropped.status_code, dropped.json()["state"]) == (200, "dropped")
    assert live(CutPlan.objects.get(number=2)) == 0
    assert office.post("cut-plans/2/stop/").status_code == 409


def test_a_stale_version_is_not_sent(office):
    released()
    stock()
    plan = made(office)
    answer = office.post("cut-plans/1/send/", {"version": plan["version"] + 1})
    assert (answer.status_code, answer.json()["errors"][0]["field"]) == (409, "version")
    assert office.post("cut-plans/1/send/", {"version": "now"}).status_code == 400
    assert office.post("cut-plans/1/send/", {"when": "now"}).status_code == 400
    assert CutPlan.objects.get().state == "made"


def test_what_is_not_there_is_said(office):
    for path in (
        "cut-plans/8/",
        "cut-sheets/8/",
        "cut-sheets/ZZZZZZZZ/",
        "cut-sheets/8.svg",
        "cut-plans/8/sheets.pdf",
    ):
        answer = office.get(path)
        assert (answer.status_code, answer["Content-Type"]) == (404, "application/problem+json"), path


def test_files_of_a_plan_and_its_sheets(office):
    import ezdxf
    from ezdxf import recover

    released()
    stock()
    plan = made(office)
    key = plan["sheets"][0]["id"]
    assert office.get("cut-plans/1/sheets.pdf").content.startswith(b"%PDF")
    assert office.get("cut-plans/1/sheets.zip").content.startswith(b"PK")
    svg = office.get(f"cut-sheets/{key}.svg")
    assert svg["Content-Type"] == "image/svg+xml"
    assert xml.etree.ElementTree.fromstring(svg.content).tag.endswith("svg")
    drawing, audit = recover.read(BytesIO(office.get(f"cut-sheets/{key}.dxf?unit=mm").content))
    assert not audit.has_errors
    assert drawing.units == ezdxf.units.MM
    assert office.get(f"cut-sheets/{key}.dxf?unit=ft").status_code == 400
    assert office.get(f"cut-sheets/{key}.pdf").content.startswith(b"%PDF-")


@pytest.mark.parametrize("role", [*ROLES, ""])
def test_only_office_and_supervisor_plan_and_tablets_read(api_as, office, role):
    released()
    stock()
    made(office)
    caller = api_as(role)
    may_write, may_read = role in ("office", "supervisor"), role in ("office", "supervisor", "operator")
    refused = 403 if role else 401
    assert caller.get("cut-plans/").status_code == (200 if may_write else refused)
    for path in ("cut-work/", "cut-plans/1/", "cut-plans/1/sheets.pdf"):
        assert caller.get(path).status_code == (200 if may_read else refused), path
    for path in (
        "cut-plans/",
        "cut-plans/1/stop/",
        "cut-plans/1/again/",
        "cut-plans/1/send/",
        "cut-sheets/1/take-off/",
    ):
        status = caller.post(path, {"surprise": 1}).status_code
        assert status in ((400, 409) if may_write else (refused,)), path
    assert caller.post("cut-plans/1/drop/").status_code == (200 if may_write else refused)


def test_a_plan_is_answered_in_few_queries_however_many_pieces(office, django_assert_max_num_queries):
    released(quantity=1)
    stock()
    made(office)
    released(quantity=12, pieces=5)
    made(office)
    for number in (1, 2):
        with django_assert_max_num_queries(9):
            assert office.get(f"cut-plans/{number}/").status_code == 200
    with django_assert_max_num_queries(6):
        office.get("cut-plans/")
