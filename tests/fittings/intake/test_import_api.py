"""The import as programs use it: repeats, choices, several orders, what stands beside the file."""

from __future__ import annotations

import io
import json

import pytest
from openpyxl import Workbook

from fittings.models import IntakeFile, Order

from .files import ELBOW, HEADS, PIPE, csv_file, send, xlsx_file


def test_same_key_and_file_get_the_first_answer(office):
    first = send(office, csv_file(), HTTP_IDEMPOTENCY_KEY="k-1")
    again = send(office, csv_file(), HTTP_IDEMPOTENCY_KEY="k-1")
    assert (first.status_code, again.status_code) == (201, 201)
    assert again.json() == first.json() and again["Idempotency-Replayed"] == "true"
    assert Order.objects.count() == 1
    assert send(office, csv_file([HEADS, ELBOW]), HTTP_IDEMPOTENCY_KEY="k-1").status_code == 422


def test_same_content_comes_in_again_only_where_that_is_asked_for(office):
    number = send(office, csv_file()).json()["orders"][0]["number"]
    refused = send(office, csv_file(delimiter="\t"))
    assert refused.status_code == 409 and f"order {number}" in refused.json()["detail"]
    assert Order.objects.count() == 1
    assert send(office, csv_file(), again="true").status_code == 201
    assert send(office, csv_file(), customer="Bold Air").status_code == 201
    assert Order.objects.count() == 3


def test_a_look_only_makes_nothing(office):
    answer = send(office, csv_file(), check="true")
    assert answer.status_code == 200
    assert answer.json()["orders"] == [
        {
            "number": None,
            "customer": "Example Mechanical",
            "purchase_order": "",
            "due": None,
            "lines": 2,
            "pieces": 6,
        }
    ]
    assert not Order.objects.exists() and not IntakeFile.objects.exists()


def test_file_of_several_orders(office):
    heads = ["Order #", "Client", "PO", "Due date", *HEADS]
    rows = [
        heads,
        ["A-7", "Acre Ducts", "P1", "2027-03-04", *ELBOW],
        ["", "", "", "", *PIPE],
        ["A-8", "Bold Air", "P2", "17 Dec 2027", *PIPE],
    ]
    answer = send(office, csv_file(rows), customer=None)
    assert answer.status_code == 201, answer.content
    found = {order.number: order for order in Order.objects.select_related("customer")}
    assert {number: order.customer.name for number, order in found.items()} == {
        "A-7": "Acre Ducts",
        "A-8": "Bold Air",
    }
    assert {number: order.lines.count() for number, order in found.items()} == {"A-7": 2, "A-8": 1}
    assert str(found["A-8"].due_on) == "2027-12-17"


def test_what_the_file_does_not_say_may_stand_beside_it(office):
    rows = [["Pcs", "Dim 1", "Run", "Price"], [3, 355.6, 1219.2, 9.99]]
    said = {"Dim 1": "params.diameter", "Run": "params.length", "Price": None}
    answer = send(
        office, csv_file(rows), kind="pipe", material="galv", gauge="24", unit="mm", due="2027-03-04",
        columns=json.dumps(said),
    )  # fmt: skip
    assert answer.status_code == 201, answer.content
    line = Order.objects.get().lines.get()
    assert (line.quantity, line.kind, line.gauge) == (3, "pipe", 24)
    assert line.params == {"diameter": 14, "length": 48}  # 355.6 / 25.4 and 1219.2 / 25.4


def test_workbook_with_a_sheet_a_kind_and_hidden_rows(office):
    book = Workbook()
    book.active.title = "Elbow"
    book.active.append(["Qty", "Material", "Ga", "Dia", "Angle", "R/D"])
    book.active.append([4, "galv", 24, 14, 90, 1.5])
    pipes = book.create_sheet("Pipe")
    pipes.append(["Qty", "Material", "Ga", "Dia", "Length"])
    pipes.append([2, "galv", 24, 14, 48])
    pipes.append([1, "galv", 24, 12, 48])
    pipes.row_dimensions[3].hidden = True
    book.create_sheet("Secret").sheet_state = "hidden"
    stream = io.BytesIO()
    book.save(stream)
    answer = send(office, stream.getvalue(), name="kinds.xlsx")
    assert answer.status_code == 201, answer.content
    assert answer.json()["lines"] == 3
    notes = " ".join(answer.json()["notes"])
    assert "Row 3 is hidden" in notes and "“Secret” is hidden and is not read" in notes
    assert [line.kind for line in Order.objects.get().lines.order_by("position")] == [
        "gored_elbow",
        "pipe",
        "pipe",
    ]


def test_json_is_told_what_to_send(office):
    answer = office.post("orders/import/", {"file": "x"})
    assert answer.status_code == 400 and "multipart/form-data" in answer.json()["detail"]


def test_columns_are_told(office):
    body = office.get("orders/import/").json()
    assert body["limits"]["rows"] == 5000
    names = [column["name"] for column in body["columns"]]
    assert "params.diameter" in names and "quantity" in names


@pytest.mark.parametrize("content", [csv_file(), xlsx_file()], ids=["csv", "xlsx"])
def test_display_and_nobody_may_not(api_as, content):
    assert send(api_as("display"), content).status_code == 403
    assert send(api_as(""), content).status_code == 401
