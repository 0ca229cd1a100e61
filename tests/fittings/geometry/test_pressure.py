"""The least gauge for a diameter and a pressure class, against the printed rows of the rules."""

import csv
from pathlib import Path

import pytest
from django.conf import settings

from fittings.geometry.pressure import DEFER, PressureRow, covers, pressure_warnings

FIXTURES = Path(settings.BASE_DIR) / "fixtures"
NAMES = {
    "IMC-603.4": "IMC 603.4",
    "MN-603.4": "Minnesota 1346.0603",
    "OK-M1601.1.1": "Oklahoma 748:20-6-21",
    "IMC-506.3.1.1": "IMC 506.3.1.1, grease duct",
    "ENG-HVAC": "Recommended, general ventilation",
    "ENG-EXHAUST": "Recommended, industrial exhaust",
}
METALS = {"steel": ("galvanized", "carbon steel"), "stainless steel": ("stainless",)}
OVER = ("MN-603.4", "OK-M1601.1.1")  # print “over 14 in”, the others their first diameter
OPEN_ABOVE = {
    ("ENG-HVAC", 49.0),
    ("ENG-EXHAUST", 30.0),
}  # print “over 49”, “over 30” after “40 to 49”, “21 to 30”


def read(path: Path) -> list[dict[str, str]]:
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def table() -> list[PressureRow]:
    def number(text):
        return float(text) if text else None

    return [
        PressureRow(
            row["rule"],
            row["material"],
            number(row["diameter_over_in"]),
            number(row["diameter_to_in"]),
            number(row["pressure_over"]),
            number(row["pressure_to"]),
            int(row["gauge"]) if row["gauge"] else None,
            number(row["thickness_in"]),
            row["note"],
            row["source"],
        )
        for row in read(FIXTURES / "tables" / "pressure_gauges.csv")
    ]


def printed() -> list[tuple]:
    """Rule, metal, diameter inside a printed row, class, least gauge or thickness: both ends and what is between."""
    found = []
    for row in read(FIXTURES / "authorities" / "round_duct_gauge.csv"):
        rule, first, last = row["rule_id"], row["diameter_from_in"], row["diameter_to_in"]
        if rule not in NAMES:
            continue
        low = float(first) if first else 3.0
        if first and (rule in OVER or (rule, low) in OPEN_ABOVE):
            low += 0.25
        high = float(last.strip("<")) - (0.25 if "<" in last else 0) if last else low + 40
        least = (int(row["min_gauge"]), None) if row["min_gauge"] else (None, float(row["min_thickness_in"]))
        pressure = float(row["pressure_class_in_wg"]) if row["pressure_class_in_wg"] else None
        for metal in METALS.get(row["material"], (row["material"],)):
            for diameter in {low, (low + high) / 2, high}:
                found.append((NAMES[rule], metal, diameter, pressure, *least))
    return found


def said(rule, metal, diameter, pressure, *, gauge, thickness=0.02):
    return pressure_warnings(
        rule,
        table(),
        material=metal,
        gauge=gauge,
        thickness=thickness,
        diameter=diameter,
        pressure=pressure,
    )


def test_all_printed_rows_are_there():
    assert len(read(FIXTURES / "authorities" / "round_duct_gauge.csv")) == 41
    assert len(printed()) > 100


@pytest.mark.authority
@pytest.mark.parametrize(("rule", "metal", "diameter", "pressure", "gauge", "thickness"), printed())
def test_the_printed_gauge_is_silent_and_one_lighter_warns(rule, metal, diameter, pressure, gauge, thickness):
    """IMC table 603.4 and 506.3.1.1, Minnesota 1346.0603, Oklahoma 748:20-6-21, recommended gages tables."""
    if gauge is None:
        assert said(rule, metal, diameter, pressure, gauge=24, thickness=thickness) == ()
        lighter = said(rule, metal, diameter, pressure, gauge=28, thickness=thickness - 0.001)
        listed = f"{thickness:g} in or thicker"
    else:
        assert said(rule, metal, diameter, pressure, gauge=gauge) == ()
        lighter = said(rule, metal, diameter, pressure, gauge=gauge + 1)
        listed = f"{gauge} gauge or heavier"
    assert [warned.code for warned in lighter] == ["gauge_for_pressure"]
    message = lighter[0].message
    assert listed in message
    assert rule in message
    assert "gauge for diameter and pressure class" in message
    assert message.endswith(DEFER)


def test_the_warning_names_gauge_rule_source_and_defers():
    (warned,) = said("IMC 603.4", "galvanized", 18.0, 1.0, gauge=26)
    assert warned.message == (
        "Gauge is 26: gauge for diameter and pressure class, IMC 603.4, lists 24 gauge or heavier for 18 in galvanized "
        "at 1 in. w.g. (International Mechanical Code 603.4 (2015/2018), single dwelling units: 0.024 in). "
        "Local codes and the project's specification decide."
    )


@pytest.mark.parametrize(("diameter", "pressure"), [(20.5, 0.5), (24.0, 1.0), (12.0, 1.5), (48.0, 4.0)])
def test_over_20_in_or_1_in_wg_the_code_names_another_standard(diameter, pressure):
    """IMC table 603.4, note."""
    (warned,) = said("IMC 603.4", "galvanized", diameter, pressure, gauge=18)
    assert warned.code == "pressure_by_other_standard"
    assert "another construction standard" in warned.message
    assert "International Mechanical Code 603.4" in warned.message
    assert warned.message.endswith(DEFER)


@pytest.mark.parametrize(
    ("rule", "metal", "diameter", "pressure"),
    [
        ("IMC 603.4", "stainless", 12.0, 0.5),
        ("IMC 603.4", "galvanized", 12.0, -0.5),
        ("Recommended, general ventilation", "galvanized", 5.0, 2.0),
        ("no such rule", "galvanized", 12.0, 1.0),
    ],
)
def test_what_no_row_covers_is_said(rule, metal, diameter, pressure):
    (warned,) = said(rule, metal, diameter, pressure, gauge=10)
    assert warned.code == "pressure_not_listed"
    assert "no listed row covers" in warned.message
    assert warned.message.endswith(DEFER)


@pytest.mark.parametrize("rule", ["IMC 603.4", "Recommended, general ventilation", "", "no such rule"])
def test_nothing_is_said_of_what_no_row_covers_where_no_class_was_given(rule):
    assert said(rule, "galvanized", 5.0, None, gauge=40) == ()
    assert said(rule, "galvanized", None, 2.0, gauge=40) == ()


def test_a_diameter_between_two_printed_rows_takes_the_larger_one():
    """IMC table 603.4 prints 12 to 14 (30 gauge at 0.5 in w.g.) and 15 to 17 (28 gauge)."""
    assert said("IMC 603.4", "galvanized", 14.5, 0.5, gauge=28) == ()
    assert "28 gauge or heavier" in said("IMC 603.4", "galvanized", 14.5, 0.5, gauge=30)[0].message


def test_a_shops_own_negative_classes():
    row = PressureRow("Own", "*", None, 20.0, -1.0, -2.0, 22, None)
    covered = [
        pressure for pressure in (-0.5, -1.0, -1.5, -2.0, -2.5, 1.5) if covers(row, "x", 12.0, pressure)
    ]
    assert covered == [-1.5, -2.0]


def test_sentences_are_in_the_unit_asked_for():
    (warned,) = pressure_warnings(
        "IMC 603.4",
        table(),
        material="galvanized",
        gauge=30,
        thickness=0.0157,
        diameter=16.0,
        pressure=1.0,
        unit="mm",
    )
    assert "406.4 mm galvanized at 1 in. w.g." in warned.message
