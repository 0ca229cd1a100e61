"""Gored elbows and rolled cylinders against published figures; each case names its source in the file."""

import math
from fractions import Fraction

import numpy as np
import pytest

from fittings.geometry import placed

pytestmark = pytest.mark.authority


def length_at(segment, x):
    """Height of a pattern at x, read off its two edges."""
    low, high = (np.interp(x, edge[:, 0], edge[:, 1]) for edge in (segment.edge_a, segment.edge_b))
    return high - low


def side_length(segment):
    at = {mark.name: mark for mark in segment.marks}["side"].line
    return at[1, 1] - at[0, 1]


def rise_of_joint(dev, k):
    """Angle of the k-th miter line, measured on the rolled pattern from throat to heel [deg]."""
    segment = dev.segments[k - 1]
    at = [(segment.start_angle + psi) % (2 * math.pi) * segment.surface.radius for psi in (math.pi, 0.0)]
    points = [(x, np.interp(x, segment.edge_b[:, 0], segment.edge_b[:, 1])) for x in at]
    throat, heel = placed(dev, k, points) if segment.start_angle == math.pi else placed(dev, k, points)[::-1]
    heel, throat = (throat, heel) if throat[0] < heel[0] else (heel, throat)
    return math.degrees(math.atan2(heel[2] - throat[2], throat[0] - heel[0]))


def inches(text):
    return float(sum(Fraction(part) for part in text.split()))


def test_four_piece_elbow_of_coey(authorities, elbow):
    case = authorities["elbow-coey-4pc90"]
    given, printed, allowed = case["inputs"], case["printed"], case["tolerance"]
    radius = given["throat_radius"] + given["diameter"] / 2
    dev = elbow(
        diameter=given["diameter"], angle=given["angle"], pieces=given["pieces"], centerline_radius=radius
    )
    halves = sum(1 if segment.role == "end_gore" else 2 for segment in dev.segments)
    assert halves == printed["half_gores"]
    assert dev.dimensions["miter_angle"] == pytest.approx(printed["miter_angle"])
    seam_height = side_length(dev.segments[0])
    assert seam_height == pytest.approx(inches(printed["seam_height"]), abs=allowed["seam_height"])
    blank_height = sum(side_length(segment) for segment in dev.segments)
    assert blank_height == pytest.approx(inches(printed["blank_height"]), abs=allowed["blank_height"])
    assert printed["stretch_out"] == "6 x pi"
    assert dev.segments[0].stretch_out == pytest.approx(6 * math.pi)


def test_miter_line_rises_of_longfield(authorities, elbow):
    case = authorities["elbow-longfield-rise-5pc90"]
    dev = elbow(**case["inputs"])
    assert dev.dimensions["miter_angle"] == pytest.approx(case["printed"]["backset_angle"])
    rises = [rise_of_joint(dev, k) for k in range(1, 5)]
    assert rises == pytest.approx(case["printed"]["miter_line_rises"])


def test_backsets_of_longfield(authorities, elbow):
    case = authorities["elbow-longfield-backsets"]
    for given, backsets in zip(case["inputs"]["cases"], case["printed"]["backsets"], strict=True):
        roles = [segment.role for segment in elbow(pieces=given["pieces"]).segments]
        assert roles.count("end_gore") + 2 * roles.count("middle_gore") == backsets


def test_base_line_of_two_piece_elbow_of_longfield(authorities, elbow):
    case = authorities["elbow-longfield-2pc60"]
    given = case["inputs"]
    radius = given["throat_radius"] + given["diameter"] / 2
    dev = elbow(diameter=given["diameter"], angle=60, pieces=2, centerline_radius=radius)
    assert dev.dimensions["heel_radius"] == pytest.approx(case["printed"]["base_line"], abs=1e-12)


def test_one_pattern_answers_for_seven_elbows_of_longfield(authorities, elbow):
    family = authorities["elbow-longfield-same-pattern"]["inputs"]["family"]
    assert len(family) == 7
    devs = [elbow(diameter=10, angle=one["angle"], pieces=one["pieces"]) for one in family]
    assert [dev.dimensions["miter_angle"] for dev in devs] == pytest.approx([6.0] * 7)
    assert len({dev.segments[0].pattern for dev in devs}) == 1
    assert len({dev.segments[-1].pattern for dev in devs}) == 1
    values = authorities["d-elbow-family-12deg"]["values"]
    for dev in devs:
        assert dev.segments[0].throat == pytest.approx(values["throat_end"], abs=0.00006)
        assert dev.segments[0].heel == pytest.approx(values["heel_end"], abs=0.00006)
        assert dev.segments[0].stretch_out == pytest.approx(values["stretch_out"], abs=0.00006)


def test_rises_asked_by_longfield_follow_the_printed_rule(authorities, elbow):
    case = authorities["elbow-longfield-13B-13C"]
    for given, rises in zip(case["inputs"]["cases"], case["computed"]["rises"], strict=True):
        dev = elbow(**given)
        assert [rise_of_joint(dev, k) for k in range(1, given["pieces"])] == pytest.approx(rises)


def test_girth_in_sixteen_parts_of_longfield(authorities, elbow):
    case = authorities["elbow-longfield-girth-division"]
    given = case["inputs"]
    dev = elbow(diameter=given["girth"] / math.pi, pieces=given["pieces"], seam_at="throat")
    segment = dev.segments[0]
    spacing = case["printed"]["spacing"]
    backset = segment.heel - segment.throat
    for k in range(given["divisions"] + 1):
        nearest = segment.edge_b[np.argmin(np.abs(segment.edge_b[:, 0] - k * spacing))]
        assert nearest[0] == pytest.approx(k * spacing, abs=1e-6)
        # the half circle over the backset, divided in eight: the printed construction
        ordinate = backset / 2 * (1 - math.cos(math.radians(22.5 * k)))
        assert nearest[1] - segment.throat == pytest.approx(ordinate, abs=1e-9)


@pytest.mark.parametrize("name", ["circle-longfield-7", "circle-navy-4"])
def test_printed_circumferences(authorities, elbow, name):
    case = authorities[name]
    stretch_out = elbow(diameter=case["inputs"]["diameter"]).segments[0].stretch_out
    assert stretch_out == pytest.approx(
        case["printed"]["circumference"], abs=case["tolerance"]["circumference"]
    )


def test_stretch_out_is_taken_on_the_mean_diameter(authorities, elbow):
    case = authorities["mean-diameter-650"]
    given, printed = case["inputs"], case["printed"]
    inside = given["outside_diameter_mm"] - 2 * given["thickness_mm"]
    assert inside == printed["inside_diameter_mm"]
    dev = elbow(diameter=inside, thickness=given["thickness_mm"] / 25.4, unit="mm")
    assert dev.dimensions["mean_diameter"] * 25.4 == pytest.approx(printed["mean_diameter_mm"])
    cutting_length = dev.segments[0].stretch_out * 25.4
    assert cutting_length == pytest.approx(
        printed["cutting_length_mm"], abs=case["tolerance"]["cutting_length_mm"]
    )


def test_mitered_pipe_of_168_mm(authorities, elbow):
    case = authorities["miter-pipe-168"]
    given, printed, cut_off = case["inputs"], case["printed"], case["tolerance"]["half_rise_mm"]
    dev = elbow(diameter=given["outside_diameter_mm"], angle=90, pieces=given["joints"] + 1, unit="mm")
    segment = dev.segments[0]
    assert dev.dimensions["miter_angle"] == pytest.approx(printed["miter_angle"])
    assert (segment.heel - segment.throat) / 2 * 25.4 == pytest.approx(printed["half_rise_mm"], abs=cut_off)
    # the page takes π = 3.142: 168 × 3.142 = 527.856, then cuts it off
    with_its_pi = segment.stretch_out * 25.4 / math.pi * 3.142
    assert with_its_pi == pytest.approx(printed["circumference_mm"], abs=cut_off)


@pytest.mark.parametrize("angle", [30, 60, 90, 120])
def test_miter_of_two_piece_turn_bisects_it(authorities, elbow, angle):
    assert "bisects" in authorities["two-piece-turn"]["rule"]
    dev = elbow(angle=angle, pieces=2, seam_at="throat")
    assert rise_of_joint(dev, 1) == pytest.approx(angle / 2)
    first, second = dev.segments
    for x in (
        0.0,
        first.stretch_out / 2,
    ):  # the outlines meet at the inner and at the outer point of the miter
        here = placed(dev, 1, [(x, np.interp(x, *first.edge_b.T))])
        there = placed(dev, 2, [(x, np.interp(x, *second.edge_a.T))])
        assert here == pytest.approx(there)


DERIVED = [
    "d-elbow-longfield-11",
    "d-elbow-coey",
    "d-elbow-12-1.5-5",
    *(f"d-elbow-ufgs-{band}-{angle}" for band in ("over16", "to16") for angle in (90, 60, 45, 30, 15)),
]


@pytest.mark.parametrize("name", DERIVED)
def test_lengths_derived_from_the_printed_rule(authorities, elbow, name):
    case = authorities[name]
    values = case["values"]
    dev = elbow(**case["inputs"], seam_at="throat")
    end = dev.segments[0]
    last_place = 0.00006  # values carry four decimals
    assert dev.dimensions["miter_angle"] == pytest.approx(values["miter_angle"])
    assert end.stretch_out == pytest.approx(values["stretch_out"], abs=last_place)
    assert end.throat == pytest.approx(values["throat_end"], abs=last_place)
    assert side_length(end) == pytest.approx(values["centre_end"], abs=last_place)
    assert end.heel == pytest.approx(values["heel_end"], abs=last_place)
    assert length_at(end, 0.0) == pytest.approx(values["throat_end"], abs=last_place)
    assert length_at(end, end.stretch_out / 2) == pytest.approx(values["heel_end"], abs=last_place)
    if len(dev.segments) > 2:
        assert dev.segments[1].throat == pytest.approx(values["throat_middle"], abs=last_place)
        assert dev.segments[1].heel == pytest.approx(values["heel_middle"], abs=last_place)
    assert dev.net_area == pytest.approx(values["net_area_elbow"], abs=0.006)


def test_sixteen_ordinates_and_weight_of_the_12_inch_elbow(authorities, elbow):
    values = authorities["d-elbow-12-1.5-5"]["values"]
    dev = elbow(**authorities["d-elbow-12-1.5-5"]["inputs"], seam_at="throat")
    end = dev.segments[0]
    lines = [length_at(end, end.stretch_out * k / 16) for k in range(17)]
    assert lines == pytest.approx(values["ordinates_end_gore_16_lines_from_throat"], abs=0.00006)
    # 24 gauge galvanized at 1.15625 lb/ft²: the printed gauge table, 18.5 oz
    weight = elbow(**authorities["d-elbow-12-1.5-5"]["inputs"], weight=18.5 / 16).weight
    assert weight == pytest.approx(values["weight_lb_24ga_galvanized_net"], abs=0.0006)
