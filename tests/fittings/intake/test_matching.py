"""Heads and words of cells as shops write them. The spellings are common practice, no source."""

from __future__ import annotations

import pytest

from fittings.intake.cells import CellNotRead, CellReader
from fittings.intake.columns import columns
from fittings.intake.delimited import decoded, delimiter_of
from fittings.intake.grid import Page
from fittings.intake.matching import finish_named, kind_named, matched, material_named, named_by_sense
from fittings.tables import all_rows

HEADS = {
    "params.diameter": ["Dia", "DIA.", "Ø", "Diam.", "diameter", "Duct Dia (in)", "Size", "ID"],
    "quantity": ["Qty", "QTY.", "Quantity", "Count", "No. of", "Ea."],
    "gauge": ["Ga", "ga.", "GAGE", "Gauge", "Gauge No."],
    "material": ["Mat'l", "MATL", "Material", "Mat.", "Metal"],
    "params.centerline_radius": ["CLR", "C/L Radius", "Center Line Rad.", "centreline radius"],
    "params.angle": ["Degrees", "Deg.", "Angle (°)", "ANGLE", "Bend"],
    "params.diameter_b": ["Dia 2", "Diameter B", "D2", "Small End"],
    "params.branch_diameter": ["Branch Ø", "Br. Dia", "Tap size"],
    "params.length": ["Length", "Lgth", "Len., ft", "L"],
    "purchase_order": ["PO", "P.O. #", "PO No.", "Customer PO", "Purchase Order"],
    "due": ["Due", "Due Date", "Needed by", "DATE REQUIRED"],
    "tag": ["Tag", "Piece Mark", "Item tag", "Mark no."],
    "end_a": ["End A", "Conn. 1", "END 1"],
}


@pytest.mark.parametrize(("name", "head"), [(name, head) for name, heads in HEADS.items() for head in heads])
def test_head_is_understood(name, head):
    assert named_by_sense(head)[0] == name


@pytest.mark.parametrize("unit", ["in", "mm"])
def test_every_head_that_we_write_is_understood_and_says_its_unit(unit):
    for column in columns().values():
        name, said = named_by_sense(column.head(unit))
        assert name == column.name
        assert said == (unit if column.sort == "length" else "deg" if column.sort == "angle" else "")


@pytest.mark.parametrize("head", ["", "Sparkle", "Remarks 2", "12", "Unit price"])
def test_other_heads_are_not_guessed(head):
    assert named_by_sense(head)[0] is None


def test_pieces_are_gores_where_another_column_is_the_quantity():
    page = Page("", [1], [["Pcs", "Dia"]])
    assert matched(page).names == ["quantity", "params.diameter"]
    page = Page("", [1], [["Pcs", "Qty", "Dia"]])
    assert matched(page).names == ["params.pieces", "quantity", "params.diameter"]


@pytest.mark.parametrize(
    ("text", "kind", "angle"),
    [
        ("Elbow", "gored_elbow", None),
        ("90° ELL", "gored_elbow", 90),
        ("45 deg elbow", "gored_elbow", 45),
        ("gored_elbow", "gored_elbow", None),
        ("Red.", "reducer", None),
        ("Sq. to Rd.", "square_to_round", None),
        ("End cap", "end_cap", None),
        ("45 Lateral", "tee", None),
        ("Pipe", "pipe", None),
    ],
)
def test_kind_is_understood(text, kind, angle):
    assert kind_named(text) == (kind, angle)


def test_metals_and_ends_are_understood_by_the_shops_tables(shop):
    tables = all_rows()
    known = dict.fromkeys(row["material"] for row in tables["gauges"])
    for text, name in (
        ("Galv.", "galvanized"),
        ("S.S.", "stainless"),
        ("ALUM", "aluminum"),
        ("Blk iron", "carbon steel"),
    ):
        assert material_named(text, known) == name
    assert material_named("Unobtainium", known) is None
    ends = list(tables["ends"])
    for text, name in (
        ("Flanged", "flange"),
        ("Turned flange", "flange"),
        ("plain", "raw"),
        ("Crimp", "crimp"),
    ):
        assert finish_named(text, ends) == name
    assert finish_named("glued", ends) is None


@pytest.mark.parametrize(
    ("text", "head_unit", "inches"),
    [
        ("14", "", 14),
        ('14-1/2"', "", 14.5),
        ("14½", "", 14.5),
        ("1'-2\"", "", 14),  # 12 + 2
        ("Ø14", "", 14),
        ("368.3", "mm", 14.5),  # 368.3 / 25.4
        ("368,3 mm", "", 14.5),
        ("36.83", "cm", 14.5),
        ("4", "ft", 48),  # 4 × 12
        ("1 1/2", "ft", 18),  # 1.5 × 12
        ('14"', "mm", 14),
    ],
)
def test_length_of_a_cell(shop, text, head_unit, inches):
    reader = CellReader("in", all_rows(), has_comma="," in text)
    assert reader.value(columns()["params.diameter"], text, head_unit) == pytest.approx(inches, abs=1e-6)


def test_numbers_of_a_cell(shop):
    reader = CellReader("in", all_rows())
    quantity, gauge, angle = (columns()[name] for name in ("quantity", "gauge", "params.angle"))
    assert [reader.value(quantity, text) for text in ("12", "12 ea", "1,200", "12.0", "12 pcs")] == [
        12,
        12,
        1200,
        12,
        12,
    ]
    assert [reader.value(gauge, text) for text in ("24", "24 ga.", "#24", "24ga")] == [24] * 4
    assert [reader.value(angle, text) for text in ("90", "90°", "22.5 deg")] == [90, 90, 22.5]
    for text in ("1,2", "twelve", "1e3 pcs x", "--1"):
        with pytest.raises(CellNotRead):
            reader.value(quantity, text)


def test_csv_of_other_countries_and_machines():
    assert delimiter_of("a;b;c\n1,5;2;3\n")[0] == ";"
    assert delimiter_of("a\tb\n1,5\t2\n")[0] == "\t"
    assert delimiter_of("a,b\n1;5,2\n")[0] == ","
    assert delimiter_of("sep=;\na;b\n") == (";", "a;b\n")
    for encoding in ("utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252"):
        assert decoded("Qty,Ø,Café\n1,2,3\n".encode(encoding), "a.csv") == "Qty,Ø,Café\n1,2,3\n"
