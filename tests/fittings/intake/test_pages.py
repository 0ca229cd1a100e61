"""The pages of a file of orders: sent, its columns said, its cells mended, brought in once."""

from __future__ import annotations

import pytest

from fittings.models import ColumnMatch, IntakeFile, Order
from tests.factories import order
from tests.pages import alert_of, browser_of, text_of

from .files import ELBOW, HEADS, PIPE, changed, csv_file, upload


@pytest.fixture
def client(shop):
    return browser_of("office")


def sent(client, content: bytes, *, customer: str = "Example Mechanical", name: str = "take-off.csv"):
    return client.post(
        "/orders/import/",
        {"file": upload(content, name), "head-customer": customer, "unit": "in"},
        follow=True,
    )


def test_good_file_becomes_a_draft_with_its_lines(client):
    page = sent(client, csv_file())
    row = IntakeFile.objects.get()
    assert page.redirect_chain[-1][0] == f"/orders/import/{row.pk}/"
    assert "Make the order, 6 fittings" in text_of(page)
    assert "Example Mechanical is not among the customers yet" in text_of(page)
    answer = client.post(
        f"/orders/import/{row.pk}/", {"act": "import", "head-purchase_order": "PO-9"}, follow=True
    )
    made = Order.objects.get()
    assert answer.redirect_chain[-1][0] == f"/orders/{made.number}/"
    assert (made.customer.name, made.purchase_order, made.state) == ("Example Mechanical", "PO-9", "draft")
    elbow, pipe = made.lines.order_by("position")
    assert (elbow.quantity, elbow.kind, elbow.material, elbow.gauge, elbow.tag) == (
        4, "gored_elbow", "galvanized", 24, "AHU-3",
    )  # fmt: skip
    assert elbow.params == {"diameter": 14, "angle": 90, "centerline_radius": 21}
    assert (pipe.quantity, pipe.kind, pipe.params) == (2, "pipe", {"diameter": 14, "length": 48})


def test_wrong_cells_are_inputs_and_what_is_typed_there_mends_the_file(client):
    page = sent(client, csv_file([HEADS, changed(ELBOW, Dia="wide"), PIPE]))
    row = IntakeFile.objects.get()
    assert "E2 Diameter is “wide”" in alert_of(page)
    assert b'href="?page=1#cell-0-2-4"' in page.content
    assert b'name="cell-0-2-4" value="wide"' in page.content
    assert b'name="cell-0-3-4"' not in page.content, "a good cell is no input"
    answer = client.post(f"/orders/import/{row.pk}/", {"act": "import"}, follow=True)
    assert answer.status_code == 400 and not Order.objects.exists()
    page = client.post(f"/orders/import/{row.pk}/", {"act": "check", "cell-0-2-4": "14 1/2"}, follow=True)
    assert "Make the order, 6 fittings" in text_of(page)
    assert "Make the order, 6 fittings" in text_of(client.get(f"/orders/import/{row.pk}/")), (
        "and after a reload"
    )
    client.post(f"/orders/import/{row.pk}/", {"act": "import"})
    assert Order.objects.get().lines.get(position=1).params["diameter"] == 14.5


def test_size_that_no_column_has_gets_a_column(client):
    page = sent(client, csv_file([HEADS[:7] + HEADS[8:], ELBOW[:7] + ELBOW[8:], PIPE[:7] + PIPE[8:]]))
    assert "I3 Length is missing for a pipe" in alert_of(page)
    row = IntakeFile.objects.get()
    page = client.post(f"/orders/import/{row.pk}/", {"act": "check", "cell-0-3-8": "4'"}, follow=True)
    assert "Make the order, 6 fittings" in text_of(page)
    client.post(f"/orders/import/{row.pk}/", {"act": "import"})
    assert Order.objects.get().lines.get(position=2).params["length"] == 48  # four feet of twelve inches


def test_row_can_be_left_out_and_taken_in_again(client):
    sent(client, csv_file([HEADS, ELBOW, changed(PIPE, Qty="Total")]))
    row = IntakeFile.objects.get()
    path = f"/orders/import/{row.pk}/"
    page = client.post(path, {"act": "check", "shown-0-3": "1", "out-0-3": "1"}, follow=True)
    assert "Make the order, 4 fittings" in text_of(page)
    page = client.post(path, {"act": "check", "shown-0-3": "1"}, follow=True)
    assert "“Total”" in alert_of(page)


def test_unknown_head_is_asked_once_for_a_customer(client):
    order(customer="Example Mechanical")
    rows = [["Pcs wanted", *HEADS[1:], "Sparkle"], [*ELBOW, "very"]]
    page = sent(client, csv_file(rows))
    row = IntakeFile.objects.get()
    assert page.redirect_chain[-1][0] == f"/orders/import/{row.pk}/columns/"
    assert "Sparkle: Not known" in alert_of(page)
    said = {"column-0-0": "quantity", "column-0-9": "", "unit": "in"}
    page = client.post(f"/orders/import/{row.pk}/columns/", said, follow=True)
    assert page.redirect_chain[-1][0] == f"/orders/import/{row.pk}/"
    known = dict(ColumnMatch.objects.values_list("head", "column"))
    assert known == {"pcs wanted": "quantity", "sparkle": ""}
    page = sent(client, csv_file([*rows, [*PIPE, ""]]), customer="EXAMPLE mechanical")
    assert "Make the order, 6 fittings" in text_of(page), "another file of the customer is not asked again"
    page = sent(client, csv_file([*rows, [*PIPE, ""]]), customer="Bold Air")
    assert "/columns/" in page.redirect_chain[-1][0], "but one of another customer is"


def test_same_file_of_the_same_customer_comes_in_again_only_by_choice(client):
    sent(client, csv_file())
    client.post(f"/orders/import/{IntakeFile.objects.get().pk}/", {"act": "import"})
    first = Order.objects.get().number
    page = sent(client, csv_file(delimiter=";", encoding="utf-16"))
    second = IntakeFile.objects.latest("pk")
    assert f"The same file is already in as order {first}" in text_of(page)
    assert "Bring it in once more" in text_of(page) and "Make the order" not in text_of(page)
    answer = client.post(f"/orders/import/{second.pk}/", {"act": "import"})
    assert answer.status_code == 409 and Order.objects.count() == 1
    assert first in alert_of(answer)
    client.post(f"/orders/import/{second.pk}/", {"act": "again"})
    assert Order.objects.count() == 2
    answer = client.post(f"/orders/import/{second.pk}/", {"act": "again"})
    assert answer.status_code == 409 and Order.objects.count() == 2, "a second press makes nothing"
    page = sent(client, csv_file(), customer="Bold Air")
    assert "Make the order" in text_of(page), "of another customer it is another order"


def test_what_cannot_be_read_is_said_beside_the_file(client):
    page = client.post("/orders/import/", {"unit": "in"})
    assert page.status_code == 400 and "Choose a file first" in alert_of(page)
    page = sent(client, b"PK\x03\x04 and no more", name="a.xlsx")
    assert page.status_code == 400 and "broken or no XLSX" in alert_of(page)
    assert not IntakeFile.objects.exists()


def test_file_can_be_dropped(client):
    sent(client, csv_file())
    row = IntakeFile.objects.get()
    client.post(f"/orders/import/{row.pk}/drop/")
    assert not IntakeFile.objects.exists()
    assert client.get(f"/orders/import/{row.pk}/").status_code == 404
