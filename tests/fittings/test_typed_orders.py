"""What is typed and not saved: kept by token and revision, offered, ended; two windows never write over each other."""

from datetime import timedelta

import pytest

from fittings.models import Order, TypedOrder
from fittings.typed_orders import typed_end, typed_fields, typed_keep, typed_offers
from shared.problems import Conflict, WrongInput
from shared.roles import OFFICE, Actor
from tests.factories import NOW, OFFICE_ACTOR, line, order

pytestmark = pytest.mark.django_db
TOKEN = "0123456789abcdef"
FIELDS = [["customer", "Harbor Mechanical"], ["line-0-kind", "pipe"], ["line-0-quantity", "4"]]


def keep(revision=0, fields=None, token=TOKEN, page="", actor=OFFICE_ACTOR, now=NOW):
    return typed_keep(
        page=page, token=token, revision=revision, fields=fields or FIELDS, actor=actor, now=now
    )


def test_what_is_kept_is_given_again_and_offered():
    assert keep().revision == 1
    assert keep(1, [*FIELDS, ["line-1-kind", "tee"]]).revision == 2
    data, revision = typed_fields(TOKEN, OFFICE_ACTOR)
    assert (data["customer"], data["line-1-kind"], revision) == ("Harbor Mechanical", "tee", 2)
    [offer] = typed_offers("", OFFICE_ACTOR)
    assert (offer.token, offer.customer, offer.lines) == (TOKEN, "Harbor Mechanical", 2)


def test_a_window_that_saw_an_older_revision_is_refused_and_changes_nothing():
    keep()
    keep(1, [["customer", "The other window"]])
    with pytest.raises(Conflict, match="Another window went on with this at"):
        keep(1)
    with pytest.raises(Conflict):
        keep(0)
    assert typed_fields(TOKEN, OFFICE_ACTOR)[0]["customer"] == "The other window"


def test_the_same_once_more_is_answered_as_the_first_time():
    keep()
    assert keep(1, [["customer", "Harbor"]]).revision == 2
    assert keep(1, [["customer", "Harbor"]]).revision == 2


def test_what_was_ended_is_not_kept_again():
    keep()
    typed_end(token=TOKEN, actor=OFFICE_ACTOR, now=NOW)
    assert typed_fields(TOKEN, OFFICE_ACTOR) is None
    assert typed_offers("", OFFICE_ACTOR) == []
    for revision in (0, 1):
        with pytest.raises(Conflict, match="saved or thrown away"):
            keep(revision)


def test_a_late_keep_after_the_order_was_saved_is_refused():
    typed_end(token=TOKEN, actor=OFFICE_ACTOR, now=NOW)
    with pytest.raises(Conflict):
        keep(0)


def test_nobody_sees_what_another_typed():
    keep()
    other = Actor("somebody else", OFFICE)
    assert typed_fields(TOKEN, other) is None
    assert typed_offers("", other) == []


def test_what_belongs_to_one_order_is_not_offered_at_another():
    keep(page="1042")
    assert typed_offers("", OFFICE_ACTOR) == []
    assert len(typed_offers("1042", OFFICE_ACTOR)) == 1


def test_what_is_older_than_thirty_days_goes():
    keep(now=NOW - timedelta(days=31))
    keep(token="another-token", now=NOW)
    assert list(TypedOrder.objects.values_list("token", flat=True)) == ["another-token"]


@pytest.mark.parametrize("token", ["", "short", "x" * 41, "with a blank", None, 7])
def test_a_token_that_is_none_is_refused(token):
    with pytest.raises(WrongInput, match="The token can be 8 to 40"):
        keep(token=token)


@pytest.mark.parametrize(
    "fields", ["text", {"a": "b"}, [["a"]], [["a", 1]], [["a", "x" * 4001]], [["a", "b"]] * 20_001]
)
def test_fields_that_are_none_are_refused(fields):
    with pytest.raises(WrongInput, match="The fields can be at most 20000 pairs"):
        keep(fields=fields)
    assert not TypedOrder.objects.exists()


def test_the_page_shows_what_is_kept_and_saving_ends_it(office_page):
    body = {"page": "", "token": TOKEN, "revision": 0, "fields": FIELDS}
    answer = office_page.post("/orders/new/typed/", body, content_type="application/json")
    assert answer.json()["revision"] == 1
    assert "Harbor Mechanical, 1 line, typed until" in office_page.get("/orders/new/").content.decode()
    page = office_page.get(f"/orders/new/?typed={TOKEN}").content.decode()
    assert 'name="typed_revision" value="1"' in page
    assert 'value="Harbor Mechanical"' in page
    assert "typed until" not in page
    pipe = {
        "kind": "pipe",
        "material": "galvanized",
        "gauge": "24",
        "quantity": "4",
        "diameter": "14",
        "length": "48",
    }
    data = {"customer": "Harbor Mechanical", "act": "save", "lines": "1", "typed_token": TOKEN}
    data |= {f"line-0-{name}": value for name, value in pipe.items()} | {
        "line-0-end_a": "raw",
        "line-0-end_b": "raw",
    }
    assert office_page.post("/orders/new/", data).status_code == 302
    assert Order.objects.count() == 1
    assert "typed until" not in office_page.get("/orders/new/").content.decode()


def test_what_a_paste_could_not_place_holds_the_order_back(office_page):
    data = {"customer": "Harbor Mechanical", "act": "save", "lines": "1", "left": "Row 1, Room: 204"}
    data |= {
        "line-0-kind": "pipe",
        "line-0-material": "galvanized",
        "line-0-gauge": "24",
        "line-0-quantity": "4",
    }
    data |= {"line-0-diameter": "14", "line-0-length": "48", "line-0-end_a": "raw", "line-0-end_b": "raw"}
    answer = office_page.post("/orders/new/", data)
    assert answer.status_code == 400
    assert "What the paste could not place is still there." in answer.content.decode()
    assert "Row 1, Room: 204</textarea>" in answer.content.decode()
    assert not Order.objects.exists()


def test_thrown_away_is_no_longer_offered(office_page):
    body = {"page": "", "token": TOKEN, "revision": 0, "fields": FIELDS}
    office_page.post("/orders/new/typed/", body, content_type="application/json")
    answer = office_page.post(
        "/orders/new/typed/drop/", {"token": TOKEN, "back": "https://elsewhere.example/"}
    )
    assert answer.headers["Location"] == "/orders/new/"
    assert "typed until" not in office_page.get("/orders/new/").content.decode()


def test_lines_keep_the_order_of_the_page(office_page, shop):
    """A line that was put between two others has a higher number than the one below it."""
    pipe = {"kind": "pipe", "material": "galvanized", "gauge": "24", "diameter": "14", "length": "48"}
    data = {"customer": "Harbor Mechanical", "act": "save", "lines": "3"}
    for at, tag in ((0, "A"), (2, "B"), (1, "C")):
        data |= {f"line-{at}-{name}": value for name, value in {**pipe, "quantity": "1", "tag": tag}.items()}
        data |= {f"line-{at}-end_a": "raw", f"line-{at}-end_b": "raw"}
    assert office_page.post("/orders/new/", data).status_code == 302
    assert list(Order.objects.get().lines.order_by("position").values_list("tag", flat=True)) == [
        "A",
        "B",
        "C",
    ]


def test_an_order_is_copied_under_a_head_of_its_own(office, office_page):
    made = order(lines=[line(system="Level 2")])
    answer = office.post(f"orders/{made.number}/copy/", {"purchase_order": "PO-9"})
    assert answer.status_code == 201
    body = answer.json()
    assert (body["number"], body["state"], body["customer"], body["purchase_order"]) == (
        "1002",
        "draft",
        "Example Mechanical",
        "PO-9",
    )
    assert (body["due"], body["priority"]) == (None, 5)
    first = office.get(f"orders/{made.number}/").json()["lines"]
    assert body["lines"] == first
    assert f"?copy={made.number}" in office_page.get(f"/orders/{made.number}/").content.decode()
    page = office_page.get(f"/orders/new/?copy={made.number}").content.decode()
    assert 'value="Example Mechanical"' in page
    assert 'value="Level 2"' in page
    assert "PO-77" not in page


def test_a_copy_takes_no_lines_of_its_own(office):
    made = order()
    answer = office.post(f"orders/{made.number}/copy/", {"lines": []})
    assert answer.status_code == 400
    assert Order.objects.count() == 1
