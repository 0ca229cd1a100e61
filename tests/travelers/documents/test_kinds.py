"""Papers of every kind: only columns that say something, words that fit the pieces."""

from __future__ import annotations

import pytest

from fittings.drawing import role_title
from fittings.geometry import Allowances, Practice, Sheet, develop, development_as_dict
from tests.travelers.documents.reading import codes, pages, words
from tests.travelers.documents.samples import SHEETS_10, SHEETS_30, label, sheet
from tests.travelers.documents.test_traveler import pdf
from tests.travelers.kinds import CASES, GOOD, IDS
from travelers.documents.columns import table_columns
from travelers.documents.data import StepRow
from travelers.documents.labels import labels_pdf, part_text, position_text
from travelers.documents.page import INNER
from travelers.documents.segments import segment_rows

METAL = Sheet("galvanized", 24, 0.0276, 1.156, 120, 60)
every_case = pytest.mark.parametrize(("kind", "params"), CASES, ids=IDS)


def made(kind: str, params: dict | None = None) -> dict:
    allowances = Allowances(lap=0.5, edge_a=0.25, edge_b=0.25)
    return development_as_dict(
        develop(kind, params or GOOD[kind], sheet=METAL, allowances=allowances, practice=Practice())
    )


def titles(development: dict) -> list[str]:
    return [column.title for column in table_columns(segment_rows(development))]


@every_case
def test_columns_fill_the_page_and_none_is_empty(kind, params):
    rows = segment_rows(made(kind, params))
    columns = table_columns(rows)
    assert sum(column.width for column in columns) == pytest.approx(INNER)
    for column in columns:
        assert any(column.cell(row).text not in ("", "–") for row in rows), column.title


def test_an_elbow_has_the_columns_that_it_had():
    assert titles(made("gored_elbow")) == [
        "Segment", "Stretch-out", "Throat", "Heel", "Lap", "Blank long", "Blank wide", "Seam at",
    ]  # fmt: skip


def test_what_has_no_throat_has_no_column_for_it():
    blank = ["Lap", "Blank long", "Blank wide"]
    assert titles(made("pipe")) == ["Segment", "Stretch-out", "Length", *blank]
    assert titles(made("reducer")) == ["Segment", "Inside", "Stretch-out", "Length", *blank]
    plain = {"diameter_a": 14, "diameter_b": 10, "length": 12}
    assert titles(made("reducer", plain)) == ["Segment", "Inside", "Stretch-out", "Slant", *blank]
    assert titles(made("reducer", plain | {"offset": 2}))[3:5] == ["Shortest", "Longest"]
    cap = {"diameter": 14, "depth": 1.5, "construction": "turned"}
    assert titles(made("end_cap", cap)) == ["Segment", "Blank long", "Blank wide", "Also"]
    braked = titles(made("square_to_round"))
    assert braked == ["Segment", "Stretch-out", *blank, "Seam at"]


def test_a_cone_has_two_diameters_and_a_branch_its_sides():
    collar, cone, other = segment_rows(made("reducer"))
    assert (collar.sizes, cone.sizes, other.sizes) == ((14,), (14, 10), (10,))
    assert cone.throat == pytest.approx((12**2 + 2**2) ** 0.5, abs=1e-3)
    run, branch = segment_rows(made("tee"))
    r, b = (14 + 0.0276) / 2, (8 + 0.0276) / 2
    assert branch.sides == (pytest.approx(14 - (r * r - b * b) ** 0.5, abs=6e-3),)
    assert (run.holes, branch.holes, run.sides) == (1, 0, ())


@every_case
def test_a_traveler_names_its_pieces_and_what_is_done_to_them(kind, params):
    development = made(kind, params)
    text = " ".join(words(pdf(sheet(development, 2, ends=(("A", "Raw"),)))))
    assert "None" not in text
    for row in segment_rows(development):
        assert row.role in text
        if "bend" in row.form:
            assert row.form in text
        assert (f"{row.holes} hole" in text) or not row.holes
        assert (f"{row.plates} plates" in text) or row.plates == 1


def test_as_many_ends_as_there_are():
    ends = (("A", "Raw"), ("B", "Hemmed"), ("C", "Turned flange"))
    assert "Ends A Raw, B Hemmed, C Turned flange" in words(pdf(sheet(made("tee"), ends=ends)))[0]
    assert "End A Raw" in words(pdf(sheet(made("end_cap"), ends=ends[:1])))[0]


def test_a_step_of_some_pieces_says_of_which():
    steps = [
        StepRow("roll", "Roll", "Roll", "segment", (1,)),
        StepRow("seam", "Seam", "Lock seam", "segment", (2, 3)),
    ]
    text = " ".join(words(pdf(sheet(made("tee"), steps=steps))))
    assert "Roll segment 1" in text and "Lock seam segments 2, 3" in text


@every_case
@pytest.mark.parametrize("fmt", [SHEETS_10, SHEETS_30], ids=lambda fmt: fmt.name)
def test_every_label_decodes_and_says_which_piece_it_is(kind, params, fmt):
    development = made(kind, params)
    count = len(development["segments"])
    items = [label(development, code=f"K3{at:04d}A2X", position=at) for at in range(1, count + 1)]
    data = labels_pdf(items, fmt)
    assert sorted(code.text for image in pages(data) for code in codes(image)) == [
        item.code for item in items
    ]
    noun = "gore" if kind in ("gored_elbow", "offset") else "piece"
    text = " ".join(words(data))
    for item in items:
        assert (f"{noun} {item.position} of {count}" if count > 1 else "one piece") in text
        assert part_text(item) in text


def test_a_label_names_the_role_where_pieces_differ():
    development = made("tee")
    items = [label(development, position=at) for at in (1, 2)]
    assert [position_text(item) for item in items] == ["piece 1 of 2", "piece 2 of 2"]
    assert [part_text(item) for item in items] == ["run", "branch"]
    assert part_text(label(development, position=1, plate=2, plates=3)) == "run, plate 2 of 3"
    assert (position_text(label(made("pipe"), position=1)), part_text(label(made("pipe"), position=1))) == (
        "one piece",
        "",
    )
    elbow = label(made("gored_elbow"), position=2)
    assert (position_text(elbow), part_text(elbow)) == ("gore 2 of 4", "")
    whole = label(development, position=None)
    assert (position_text(whole), part_text(whole)) == ("fitting 4 of 12", "")


@every_case
def test_a_traveler_shows_each_different_pattern_once(kind, params):
    development = made(kind, params)
    text = " ".join(words(pdf(sheet(development, 1))))
    assert "Patterns, seen on the face that becomes the outside" in text
    for segment in development["segments"]:
        assert role_title(segment["role"]) in text
    # an elbow's and a pipe's side view says all; the others are shown shaded as well
    assert (" The fitting " in text.split("Patterns, seen")[1]) is (kind not in ("gored_elbow", "pipe"))
