"""Rows of the route and time tables to steps and minutes, without a database."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from travelers.routing import FITTING, SEGMENT, OperationRow, route_for, standard_minutes

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures" / "tables"
OPERATIONS = [
    OperationRow(code, SEGMENT if position <= 30 else FITTING, position)
    for code, position in (
        ("wrap", 60),
        ("cut", 10),
        ("roll", 20),
        ("seam", 30),
        ("assemble", 40),
        ("ends", 50),
    )
]


def shops_rows() -> list[dict]:
    with (FIXTURES / "routes.csv").open(newline="", encoding="utf-8") as file:
        return [
            row | {"gauge_from": int(row["gauge_from"]), "gauge_to": int(row["gauge_to"])}
            for row in csv.DictReader(file)
        ]


def route(
    rules=None,
    *,
    gauge=24,
    ends=("raw", "raw"),
    kind="gored_elbow",
    material="galvanized",
    forms=("cylinder",),
    pieces=5,
):
    return route_for(
        OPERATIONS,
        shops_rows() if rules is None else rules,
        kind=kind,
        material=material,
        gauge=gauge,
        ends_worked=any(end != "raw" for end in ends),
        ends=ends,
        forms=forms,
        pieces=pieces,
    )


def methods(level: str, **asked) -> list[tuple[str, str]]:
    return [(step.operation, step.method) for step in route(**asked) if step.level == level]


def rule(operation="cut", method="Cut", **more) -> dict:
    return {
        "operation": operation, "kind": "*", "material": "*", "gauge_from": 1, "gauge_to": 40, "end": "*",
        "method": method, **more,
    }  # fmt: skip


@pytest.mark.parametrize("gauge", [10, 12, 14])
def test_fourteen_gauge_and_heavier_is_welded(gauge):
    """Common practice, no source."""
    assert {step.operation: step.method for step in route(gauge=gauge)} | {
        "cut": 0,
        "roll": 0,
        "wrap": 0,
    } == {
        "cut": 0,
        "roll": 0,
        "seam": "Weld seam",
        "assemble": "Weld gores",
        "wrap": 0,
    }


@pytest.mark.parametrize("gauge", [16, 18, 22, 26, 30])
def test_sixteen_gauge_and_lighter_is_closed_mechanically(gauge):
    """Common practice, no source."""
    methods = {step.operation: step.method for step in route(gauge=gauge)}
    assert (methods["seam"], methods["assemble"]) == ("Lock seam", "Press standing seams")


def test_steps_come_in_flow_order_with_their_level():
    assert [(step.operation, step.level) for step in route(ends=("raw", "hem"))] == [
        ("cut", SEGMENT),
        ("roll", SEGMENT),
        ("seam", SEGMENT),
        ("assemble", FITTING),
        ("ends", FITTING),
        ("wrap", FITTING),
    ]


@pytest.mark.parametrize(
    ("ends", "worked"),
    [(("raw", "raw"), False), (("flange", "raw"), True), (("raw", "swage"), True), (("hem", "hem"), True)],
)
def test_ends_are_worked_where_one_is_not_raw(ends, worked):
    assert ("ends" in [step.operation for step in route(ends=ends)]) is worked


def test_the_first_rule_that_fits_counts():
    rules = [
        rule(method="By hand", gauge_from=27),
        rule(method="Stainless table", material="stainless"),
        rule(method="For caps", kind="end_cap"),
        rule(method="For flanges", end="flange"),
        rule(),
    ]
    assert route(rules, gauge=28)[0].method == "By hand"
    assert route(rules, material="stainless")[0].method == "Stainless table"
    assert route(rules, kind="end_cap")[0].method == "For caps"
    assert route(rules, ends=("raw", "flange"))[0].method == "For flanges"
    assert route(rules)[0].method == "Cut"


def test_an_operation_without_a_rule_is_left_out():
    assert [step.operation for step in route([rule(), rule("wrap", "Wrap")])] == ["cut", "wrap"]
    assert route([rule(kind="pipe")]) == ()


@pytest.mark.parametrize(
    ("form", "expected"),
    [
        ("cylinder", [("cut", "Cut and mark"), ("roll", "Roll"), ("seam", "Lock seam")]),
        ("cone", [("cut", "Cut and mark"), ("roll", "Roll to a cone"), ("seam", "Lock seam")]),
        ("brake", [("cut", "Cut and mark"), ("roll", "Brake to the bend lines"), ("seam", "Lock seam")]),
        ("flat", [("cut", "Cut and mark")]),
    ],
)
def test_a_segment_is_worked_by_its_form(form, expected):
    """Common practice, no source: a disc is neither rolled nor seamed."""
    assert methods(SEGMENT, forms=(form,)) == expected
    if form != "flat":
        welded = [*expected[:2], ("seam", "Weld seam")]
        assert methods(SEGMENT, forms=(form,), gauge=14) == welded


@pytest.mark.parametrize(
    ("kind", "pieces", "gauge", "expected"),
    [
        ("pipe", 1, 24, None),
        ("pipe", 1, 12, None),
        ("square_to_round", 1, 24, None),
        ("reducer", 1, 24, None),
        ("reducer", 3, 24, "Press standing seams"),
        ("reducer", 3, 14, "Weld joints"),
        ("tee", 2, 24, "Rivet and seal the branch"),
        ("tee", 2, 14, "Weld joints"),
        ("wye", 3, 18, "Rivet and seal the branches"),
        ("end_cap", 2, 24, "Close the edge"),
        ("offset", 5, 14, "Weld gores"),
        ("reducing_elbow", 5, 24, "Press standing seams"),
    ],
)
def test_only_fittings_of_several_pieces_are_assembled(kind, pieces, gauge, expected):
    """Common practice, no source; the gauge limit as for elbows."""
    found = dict(methods(FITTING, kind=kind, pieces=pieces, gauge=gauge))
    assert found.get("assemble") == expected
    assert list(found)[-1] == "wrap"


@pytest.mark.parametrize(
    ("kind", "ends", "expected"),
    [
        ("end_cap", ("raw",), "Turn the edge"),
        ("end_cap", ("flange",), "Turn the edge"),
        ("pipe", ("raw", "raw"), None),
        ("pipe", ("raw", "swage"), "Work the ends"),
        ("saddle", ("crimp",), "Work the ends"),
        ("tee", ("raw", "raw", "flange"), "Work the ends"),
    ],
)
def test_a_caps_edge_is_always_turned_and_other_ends_where_they_are_not_raw(kind, ends, expected):
    """Common practice, no source."""
    assert dict(methods(FITTING, kind=kind, ends=ends, pieces=2)).get("ends") == expected


def test_a_rule_of_the_method_none_leaves_the_operation_out():
    rules = [rule(method="none", form="flat"), rule(), rule("wrap", "Wrap")]
    assert [step.operation for step in route(rules, forms=("flat",))] == ["wrap"]
    assert [step.operation for step in route(rules, forms=("cone",))] == ["cut", "wrap"]
    assert [step.operation for step in route(rules, forms=("flat", "cone"))] == ["wrap"]


@pytest.mark.parametrize("blank", [{}, {"form": "", "pieces": ""}, {"form": "*", "pieces": "*"}])
def test_rules_of_older_tables_fit_any_form_and_number_of_pieces(blank):
    for form in ("cylinder", "cone", "brake", "flat"):
        for pieces in (1, 5):
            assert [step.method for step in route([rule(**blank)], forms=(form,), pieces=pieces)] == ["Cut"]


def test_rules_by_the_number_of_pieces():
    rules = [rule(method="In one", pieces="one"), rule(method="In many", pieces="more")]
    assert [route(rules, pieces=pieces)[0].method for pieces in (1, 2, 40)] == [
        "In one",
        "In many",
        "In many",
    ]


def test_every_row_of_the_shops_own_table_names_its_source():
    assert all("source" in row and row["source"].strip() for row in shops_rows())
    assert {row["form"] for row in shops_rows()} <= {"*", "cylinder", "cone", "brake", "flat"}
    assert {row["pieces"] for row in shops_rows()} <= {"*", "one", "more"}


def test_an_operations_own_scan_goes_with_the_step():
    steps = route_for(
        [OperationRow("cut", SEGMENT, 10, needs_own_scan=True)], [rule()],
        kind="gored_elbow", material="galvanized", gauge=24, ends_worked=False,
    )  # fmt: skip
    assert steps[0].needs_own_scan


def test_standard_minutes_are_so_many_each_and_so_many_a_foot():
    times = [
        {
            "operation": "seam",
            "method": "*",
            "minutes_each": 1,
            "minutes_per_foot": 0.5,
            "measure": "seam_length",
        },
        {
            "operation": "seam",
            "method": "Weld",
            "minutes_each": 2,
            "minutes_per_foot": 3,
            "measure": "seam_length",
        },
    ]
    measures = {"seam_length": 18.0}
    assert standard_minutes(times, operation="seam", method="Lock", measures=measures) == 1.75
    assert standard_minutes(times, operation="seam", method="Weld", measures=measures) == 6.5
    assert standard_minutes(times, operation="roll", method="Roll", measures=measures) == 0
    assert standard_minutes(times, operation="seam", method="Lock", measures={}) == 1
