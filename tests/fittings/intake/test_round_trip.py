"""An order goes out as a file and comes in as an equal one; the template's own examples come in too."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openpyxl import load_workbook

from fittings.geometry import KINDS
from fittings.intake.checking import Asked
from fittings.intake.exporting import order_file
from fittings.intake.services import intake_checked, intake_read
from fittings.models import Order
from fittings.pattern_desk import sample_params
from fittings.reading import LINE_FIELDS
from fittings.tables import rows, save
from tests.cases import cases
from tests.factories import NOW, OFFICE_ACTOR, line, order, order_body

from .files import send

LINES = [
    line(kind=kind.name, params=sample_params(kind), end_b="raw", tag=f"{kind.name}-1", quantity=at + 1)
    for at, kind in enumerate(KINDS.values())
]


def stored(found: Order) -> tuple:
    own = list(found.lines.order_by("position").values(*LINE_FIELDS))
    return (found.customer.name, found.purchase_order, found.due_on, found.priority, found.notes, own)


def comes_back(caller, made: Order, form: str) -> None:
    answer = send(caller, order_file(made.number, form), name=f"order.{form}", customer=None, again="true")
    assert answer.status_code == 201, answer.content[:600]
    again = Order.objects.get(number=answer.json()["orders"][0]["number"])
    assert again.number != made.number
    assert stored(again) == stored(made)


@pytest.mark.parametrize("form", ["csv", "xlsx"])
@pytest.mark.parametrize("unit", ["in", "mm"])
def test_order_of_every_kind_comes_back_equal(office, form, unit):
    if unit == "mm":
        shop = [row | ({"value": "mm"} if row["key"] == "unit" else {}) for row in rows("shop")]
        save(name="shop", new_rows=shop, seen=None, note="", actor=OFFICE_ACTOR, now=NOW)
    extra = line(
        params={"diameter": 14.515625, "angle": 87.5, "pieces": 6, "radius_ratio": 1.25, "stagger_seams": False},
        end_a="flange", joins_a="flange", pressure_class=-2.5, allowances={"lap": 0.75, "end_a": 0.5},
        traveler_per="fitting", tag="=1+1", system="'-A", quantity=10000,
    )  # fmt: skip
    notes = "First, with “quotes”;\n=SUM(A1)\n" + "long " * 350 + "end"
    comes_back(office, order(lines=[*LINES, extra], notes=notes, priority=9), form)


TEXTS = st.text(st.characters(exclude_categories=("Cc", "Cs")), min_size=1, max_size=40).filter(
    lambda text: text == " ".join(text.split())
)
SIZES = st.integers(64 * 4, 64 * 60).map(lambda count: count / 64)  # inches in 64ths


@settings(max_examples=cases(15), deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    tag=TEXTS,
    order_text=TEXTS,
    diameter=SIZES,
    length=SIZES,
    angle=st.integers(1, 1799),
    form=st.sampled_from(["csv", "xlsx"]),
)
def test_any_order_comes_back_equal(office, tag, order_text, diameter, length, angle, form):
    pipe = {"diameter": diameter, "length": length}
    tap = {"diameter": 80, "branch_diameter": diameter, "angle": 45 + angle / 40, "branch_length": 150}
    lines = [line(kind="pipe", params=pipe, tag=tag), line(kind="saddle", params=tap, tag="")]
    comes_back(office, order(lines=lines, purchase_order=order_text, due=None), form)


def test_file_of_an_order_can_be_asked_for_and_holds_no_formula(office):
    made = office.post("orders/", order_body(lines=[line(tag="=cmd()")])).json()
    answer = office.get(f"orders/{made['number']}/lines.csv")
    head, row = csv.reader(io.StringIO(answer.content.decode("utf-8-sig")))
    assert dict(zip(head, row, strict=True))["Tag"] == "'=cmd()"
    answer = office.get(f"orders/{made['number']}/lines.xlsx")
    page = load_workbook(io.BytesIO(answer.content)).active
    cells = {cell.value: page.cell(2, cell.column) for cell in page[1]}
    assert (cells["Tag"].value, cells["Tag"].data_type) == ("'=cmd()", "s")
    assert (cells["Diameter (in)"].value, cells["Diameter (in)"].data_type) == (14, "n")
    assert office.get(f"orders/{made['number']}/lines.doc").status_code == 404


def test_template_has_a_sheet_for_each_kind_with_the_columns_it_has_and_its_examples_are_left_out(office):
    content = office.get("orders/import/template.xlsx").content
    book = load_workbook(io.BytesIO(content))
    assert [kind.title for kind in KINDS.values()] == book.sheetnames[1:-1]
    heads = [cell.value for cell in book["Pipe"][1]]
    assert "Length (in)" in heads and "Angle (°)" not in heads and "End C" not in heads
    answer = send(office, content, name="template.xlsx")
    assert answer.status_code == 400 and "no rows below" in answer.json()["detail"]
    for page in book.worksheets[1:-1]:
        at = next(cell.column for cell in page[1] if cell.value == "Tag")
        page.cell(2, at).value = "T-1"
    stream = io.BytesIO()
    book.save(stream)
    read = intake_read(stream.getvalue(), name="filled.xlsx", asked=Asked())
    found, _ = intake_checked(read)
    assert found.wrong == []
    assert (len(found.orders), found.lines, found.pieces) == (1, len(KINDS), 4 * len(KINDS))
