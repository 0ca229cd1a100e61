"""Cells from a spreadsheet: which line and field each fills, by heads or by place; what has no place is told."""

import pytest

from fittings import tables
from fittings.forms import choices_of
from fittings.pasted import pasted
from shared.problems import WrongInput

pytestmark = pytest.mark.django_db


@pytest.fixture
def paste(shop):
    choices = choices_of(tables.all_rows())

    def do(*rows: str, kind="gored_elbow", column="quantity"):
        return pasted("\n".join(rows), kind=kind, column=column, choices=choices)

    return do


def test_columns_go_by_their_heads(paste):
    found = paste(
        "Qty\tItem\tØ\tDegrees\tGa.\tMat'l\tMark\tFloor", "4\t90 Ell\t14 1/2\t\t24\tGalv\tAHU-3\tLevel 2"
    )
    assert found.has_heads
    assert found.left == []
    assert found.lines == [
        {
            "kind": "gored_elbow",
            "quantity": "4",
            "diameter": "14 1/2",
            "gauge": "24",
            "material": "galvanized",
            "tag": "AHU-3",
            "system": "Level 2",
            "angle": "90",
        }
    ]


def test_without_heads_cells_go_on_from_the_field_that_has_the_focus(paste):
    found = paste("14\t90", "22\t45", column="diameter")
    assert not found.has_heads
    assert found.lines == [
        {"kind": "gored_elbow", "diameter": "14", "angle": "90"},
        {"kind": "gored_elbow", "diameter": "22", "angle": "45"},
    ]


def test_a_kind_among_the_cells_gives_the_fields_after_it(paste):
    [line] = paste("2\tPipe\tGalvanized\t26\t14\t48").lines
    assert line == {
        "quantity": "2",
        "kind": "pipe",
        "material": "galvanized",
        "gauge": "26",
        "diameter": "14",
        "length": "48",
    }


def test_what_has_no_place_is_told_with_its_row_and_head(paste):
    found = paste("Qty\tDia\tRoom\tMaterial", "2\t14\t204\tunobtainium", "3\t15\t\tgalv")
    assert found.left == ["Row 1, Room: 204", "Row 1, Material: unobtainium"]
    assert [line.get("material") for line in found.lines] == [None, "galvanized"]


def test_a_size_that_the_kind_has_not_is_told(paste):
    found = paste("Qty\tDia\tLength", "2\t14\t48")
    assert found.left == ["Row 1, Length: 48"]


def test_more_cells_than_fields_are_told(paste):
    assert paste("AHU-3\tleft over", column="tag").left == ["Row 1, column 2: left over"]


def test_a_head_in_millimetres_gives_its_unit_to_bare_numbers(paste):
    [line] = paste("Qty\tDia (mm)", "2\t355.6").lines
    assert line["diameter"] == "355.6 mm"


def test_quoted_cells_hold_inch_marks(paste):
    [line] = paste('2\t"14"""\t90', column="quantity", kind="pipe").lines or [{}]
    assert line["quantity"] == "2"


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("1\n" * 502, "502 rows were pasted; it can be at most 500 rows beside the heads."),
        ("\t".join("1" * 61), "61 columns were pasted; it can be at most 60 columns."),
        ("1\t" + "x" * 1001, "A cell has 1001 characters; it can be at most 1000 characters a cell."),
    ],
)
def test_more_than_is_taken_is_refused(paste, text, sentence):
    with pytest.raises(WrongInput) as refused:
        paste(text)
    assert refused.value.detail == sentence
