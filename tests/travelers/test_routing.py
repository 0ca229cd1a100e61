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


def route(rules=None, *, gauge=24, ends=("raw", "raw"), kind="gored_elbow", material="galvanized"):
    return route_for(
        OPERATIONS,
        shops_rows() if rules is None else rules,
        kind=kind,
        material=material,
        gauge=gauge,
        ends_worked=any(end != "raw" for end in ends),
        ends=ends,
    )


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
