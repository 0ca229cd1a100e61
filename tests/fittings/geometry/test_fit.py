"""Sizes of finished ends against printed figures and closed formulas; which ends go together."""

import csv
import math
import re
from pathlib import Path

import pytest
from django.conf import settings

from fittings.geometry import FreeEnd
from fittings.geometry.fit import EndRow, PairRow, end_sizes, ends_as_list, fitted_end, pair_problem

FIXTURES = Path(settings.BASE_DIR) / "fixtures"
MM = 25.4
GAUGES = {
    26: 0.0217,
    24: 0.0276,
    22: 0.0336,
    20: 0.0396,
    18: 0.0516,
}  # galvanized nominal, the shop's gauge table


def read(path: Path) -> list[dict[str, str]]:
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def row_named(name: str) -> EndRow:
    """A finish of the shop's first ends table."""
    row = next(row for row in read(FIXTURES / "tables" / "ends.csv") if row["name"] == name)
    numbers = (float(row[key] or 0) for key in ("deduct_t", "clear_in", "length_in"))
    return EndRow(row["name"], row["title"], row["goes"], *numbers)


def bands() -> list[tuple[float, float, float]]:
    """Nominal diameter, least and greatest deviation of the male outside diameter [mm], both ends of each row."""
    found = []
    for row in read(FIXTURES / "authorities" / "slip_fit_tolerances_mm.csv"):
        least, most = float(row["fitting_outside_dev_min_mm"]), float(row["fitting_outside_dev_max_mm"])
        sizes = re.findall(r"\d+", row["nominal_diameter_mm_or_dimension"])
        found += [(float(size), least, most) for size in sizes]
    return found


# -- sizes -------------------------------------------------------------------


@pytest.mark.authority
def test_small_end_of_a_slip_fit_is_seven_thicknesses_smaller_in_girth():
    """Longfield, Sheet Metal Drafting (1921), p. 60: No. 23, 7 × 0.028125 = 0.196875 in."""
    big = end_sizes(6.0, 0.028125, EndRow("raw", "Raw"))[2]
    small = end_sizes(6.0, 0.028125, row_named("slip"))[2]
    assert big - small == pytest.approx(0.196875, abs=1e-9)


def test_plain_end_keeps_its_diameter():
    inside, outside, girth = end_sizes(14.0, 0.0276, EndRow("raw", "Raw"))
    assert inside == pytest.approx(14.0)
    assert outside == pytest.approx(14.0 + 2 * 0.0276)
    assert girth == pytest.approx(math.pi * 14.0276)


def test_two_pi_thicknesses_just_clear():
    """The outside of the male end is then the inside of the plain one: π(D + t) − 2πt = π(D − t)."""
    just = EndRow("any", "Any", "inside", deduct_t=2 * math.pi)
    assert end_sizes(14.0, 0.0276, just)[1] == pytest.approx(14.0, abs=1e-12)


@pytest.mark.authority
@pytest.mark.parametrize("thickness", GAUGES.values(), ids=GAUGES)
@pytest.mark.parametrize(("nominal", "least", "most"), bands())
def test_swaged_end_lies_in_the_band_of_en_1506(nominal, least, most, thickness):
    """EN 1506 as quoted from PN-B-03434: male outside diameter −0.7 to −1.2 mm at 63 mm, to −2.2 mm at 1250 mm."""
    outside = end_sizes(nominal / MM, thickness, row_named("swage"))[1] * MM
    assert least <= outside - nominal <= most


@pytest.mark.authority
@pytest.mark.parametrize(("nominal", "least", "most"), bands())
def test_crimped_end_is_in_the_band_of_en_1506_only_from_315_mm_up(nominal, least, most):
    """Not below: the trade crimps 1/16 in (1.59 mm) smaller, common practice, no source; the band allows 1.2 to
    1.5 mm there. A crimped end is soft and opens as it is pushed in, so it may be smaller."""
    deviation = end_sizes(nominal / MM, 0.0217, row_named("crimp"))[1] * MM - nominal
    assert deviation == pytest.approx(-MM / 16, abs=1e-3)
    assert (least <= deviation <= most) == (nominal >= 315)


@pytest.mark.authority
@pytest.mark.parametrize("thickness", GAUGES.values(), ids=GAUGES)
def test_drawn_in_end_is_tighter_than_the_band_of_en_1506(thickness):
    """Not in the band: seven thicknesses leave 0.717 t of girth, 0.228 t of diameter, at 18 gauge 0.3 mm; the band
    begins at 0.7 mm. Longfield fits pipe by hand, EN 1506 fits parts of two makers. It does clear."""
    for nominal, _, most in bands():
        deviation = end_sizes(nominal / MM, thickness, row_named("slip"))[1] * MM - nominal
        assert deviation == pytest.approx(-(7 - 2 * math.pi) / math.pi * thickness * MM, abs=1e-9)
        assert most < deviation < 0


def test_flange_and_ring_stand_out_by_their_upstand():
    flange = EndRow("flange", "Turned flange", "face", length_in=0.375)
    assert end_sizes(14.0, 0.0276, flange)[1] == pytest.approx(14.0 + 2 * 0.0276 + 2 * 0.375)
    assert end_sizes(14.0, 0.0276, flange)[2] == pytest.approx(math.pi * 14.0276)


def test_rectangular_end_has_no_diameter_and_keeps_its_girth():
    free = FreeEnd("a", "End A", segment=1, edge_length=64.11, width=20.0, height=12.0)
    end = fitted_end(free, row_named("swage"), thickness=0.0276, gauge=24)
    assert (end.inside_diameter, end.outside_diameter, end.girth) == (None, None, 64.11)
    assert ends_as_list([end])[0]["inside_diameter"] is None


def test_ends_are_shown_in_millimetres():
    free = FreeEnd("b", "End B", segment=5, edge_length=44.0, diameter=10.0)
    shown = ends_as_list([fitted_end(free, EndRow("raw", "Raw"), thickness=0.04, gauge=20)], MM)[0]
    assert shown["inside_diameter"] == 254.0
    assert shown["outside_diameter"] == pytest.approx(254 + 2 * 0.04 * MM, abs=1e-4)


# -- pairs -------------------------------------------------------------------


def pairs() -> list[PairRow]:
    return [
        PairRow(
            row["this"],
            row["other"],
            int(row["gauge_from"]),
            int(row["gauge_to"]),
            row["fits"] == "yes",
            row["how"],
            row["source"],
        )
        for row in read(FIXTURES / "tables" / "pairs.csv")
    ]


@pytest.mark.parametrize(
    ("this", "other", "fits"),
    [
        ("inside", "plain", True),
        ("inside", "outside", True),
        ("face", "face", True),  # UFGS 15801N, 2.9.4: flanged joints with gaskets
        ("inside", "inside", False),
        ("plain", "plain", False),
        ("outside", "plain", False),
        ("face", "inside", False),
        ("face", "plain", False),
        ("face", "outside", False),
        ("outside", "outside", False),
    ],
)
def test_which_ends_go_together_in_light_gauge(this, other, fits):
    for one, two in ((this, other), (other, this)):
        found, note = pair_problem(one, two, 24, pairs())
        assert found is fits
        assert note


@pytest.mark.parametrize(("gauge", "fits"), [(10, True), (15, True), (16, False), (26, False)])
def test_plain_ends_of_heavy_metal_are_butt_welded(gauge, fits):
    """UFGS 15801N, 2.9.3 butt-welds; a recommended table shows gauges 0 to 15 as welded."""
    assert pair_problem("plain", "plain", gauge, pairs())[0] is fits


def test_pair_without_a_row_is_neither_good_nor_bad():
    fits, note = pair_problem("inside", "plain", 24, [])
    assert fits is None
    assert "no row for inside with plain at 24 gauge" in note
