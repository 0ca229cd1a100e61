"""The printed rules of fixtures/authorities/worked_examples.json, and the figures derived from them there.

Derived figures are compared to their printed decimals (see test_worked_examples.py for the file); each names the
printed rule or case that it follows. Rules are held against developments of sizes that the file does not have.
"""

import math
from decimal import Decimal

import numpy as np
import pytest

from fittings.geometry import placed
from fittings.geometry.reducer import element_length
from fittings.geometry.trade_rules import cone_sector
from fittings.geometry.two_bends import smallest_offset

from .worked_cases import (
    PARTS,
    SHOWN,
    apex_of,
    branch_of,
    compared,
    elbow,
    from_axis,
    frustum,
    given,
    half_a_place,
    length_at,
    make,
    rises,
    rulings_at,
)

pytestmark = pytest.mark.authority


def elbow_values(name):
    case = given("derived_cases", name)
    dev = elbow(**case, weight=18.5 / 16)  # lb/ft², of the case galv-24-weight, not rounded
    end, middle = dev.segments[0], dev.segments[1] if case["pieces"] > 2 else None
    lines = np.arange(17) * math.pi / 8
    found = {
        "miter_angle": dev.dimensions["miter_angle"],
        "stretch_out": end.stretch_out,
        "throat_end": end.throat,
        "centre_end": float(length_at(end, math.pi / 2)),
        "heel_end": end.heel,
        # an elbow of two pieces has no middle gore: twice an end gore
        "throat_middle": middle.throat if middle else 2 * end.throat,
        "heel_middle": middle.heel if middle else 2 * end.heel,
        "net_area_elbow": dev.net_area,
        "ordinates_end_gore_16_lines_from_throat": length_at(end, lines).tolist(),
        "weight_lb_24ga_galvanized_net": dev.weight,
    }
    return {key: value for key, value in found.items() if key in PARTS["derived_cases"][name]["values"]}


def elbow_family():
    made = [
        elbow(diameter=10, centerline_radius=15, pieces=n, angle=12 * (n - 1)).segments[0]
        for n in range(2, 9)
    ]
    assert len({gore.pattern for gore in made}) == 1
    return {"throat_end": made[0].throat, "heel_end": made[0].heel, "stretch_out": made[0].stretch_out}


def reducer_values(name):
    _, (outer, inner, turn, area) = frustum(**given("derived_cases", name))
    return {
        "slant": outer - inner,
        "outer_radius": outer,
        "inner_radius": inner,
        "sector_angle": turn,
        "net_area": area,
    }


def eccentric_reducer():
    dev = make("reducer", **given("derived_cases", "d-reducer-ecc-12-8-10-2"))
    cone = dev.segments[0]
    low, high = rulings_at(cone, np.radians(np.arange(0, 181, 30)))
    surface = cone.surface
    apex = apex_of((surface.flat_a[0], surface.flat_b[0]), (surface.flat_a[300], surface.flat_b[300]))
    first, last = surface.flat_a[0] - apex, surface.flat_a[-1] - apex
    turn = (math.atan2(last[1], last[0]) - math.atan2(first[1], first[0])) % (2 * math.pi)
    return {
        "apex_height": dev.dimensions["apex_height"],
        "apex_plan_offset": dev.dimensions["apex_plan_offset"],
        "element_lengths_apex_to_big_end_t0_30_180": np.hypot(*(low - apex).T).tolist(),
        "element_lengths_between_ends": np.hypot(*(high - low).T).tolist(),
        "full_flat_angle_deg": math.degrees(turn),
    }


def tee_values(name):
    dev, branch = branch_of("tee", **given("derived_cases", name))
    lines = from_axis(branch, np.arange(17) * math.pi / 8)
    found = {
        "distance_from_header_axis_16_lines": lines,
        "distance_along_branch_from_axis_crossing_16_lines": lines,
        "saddle_depth": dev.dimensions["saddle_depth"],
    }
    return {key: value for key, value in found.items() if key in PARTS["derived_cases"][name]["values"]}


def saddle_values():
    dev, _ = branch_of("saddle", **given("derived_cases", "d-saddle-6.625-4.5"))
    return {"saddle_depth": dev.dimensions["saddle_depth"]}


def square_to_round_values():
    case = given("derived_cases", "d-sqr-12-8-8")
    dev = make("square_to_round", bends_per_corner=7, **case)
    bends = [mark.line for mark in dev.segments[0].marks if mark.name == "bend"][:7]  # of the first corner
    true = np.array([np.hypot(*(line[1] - line[0])) for line in bends])
    return {
        "circle_angle_deg": (np.linspace(0, 1, 7) * 90).tolist(),  # seven bends over a quarter
        "plan_length_from_corner": np.sqrt(true**2 - case["length"] ** 2).tolist(),
        "true_length_from_corner": true.tolist(),
        "flat_triangle_altitude": dev.dimensions["altitude_plus_x"],
    }


def offset_values():
    case = given("derived_cases", "d-offset-8-14-45")
    shown = make("offset", pieces=3, **case).dimensions
    radius = case["centerline_radius"]
    return {
        "straight_between_bends": shown["straight_between"],
        "overall_length": shown["length"],
        "travel": shown["travel"],
        "takeoff": shown["takeoff"],
        "smallest_offset_without_straight": smallest_offset(
            centerline_radius=radius, angle=math.radians(case["angle"])
        ),
    }


ELBOWS = [
    name for name in PARTS["derived_cases"] if name.startswith("d-elbow-") and name != "d-elbow-family-12deg"
]
DERIVED = {name: (lambda name=name: elbow_values(name)) for name in ELBOWS} | {
    "d-elbow-family-12deg": elbow_family,
    "d-reducer-12-8-10": lambda: reducer_values("d-reducer-12-8-10"),
    "d-flashing-20-8-21": lambda: reducer_values("d-flashing-20-8-21"),
    "d-reducer-ecc-12-8-10-2": eccentric_reducer,
    "d-tee-equal-6": lambda: tee_values("d-tee-equal-6"),
    "d-saddle-6.625-4.5": saddle_values,
    "d-tee-10-4": lambda: tee_values("d-tee-10-4"),
    "d-lateral-10-6-45": lambda: tee_values("d-lateral-10-6-45"),
    "d-sqr-12-8-8": square_to_round_values,
    "d-offset-8-14-45": offset_values,
}


@pytest.mark.parametrize(
    "case", PARTS["derived_cases"].values(), ids=lambda case: f"{case['id']} ({case['follows']})"
)
def test_derived_figures(case):
    found = DERIVED[case["id"]]()
    assert set(found) == set(case["values"])
    for name, values in case["values"].items():
        expected, ours = compared(values), compared(found[name])
        assert len(expected) == len(ours)
        for one, own in zip(expected, ours, strict=True):
            # a trailing zero is not written, so 30.0 and 4.683 still are to four decimals; areas to three
            place = half_a_place(one) if isinstance(one, Decimal) and one.as_tuple().exponent < -1 else 5e-4
            assert float(own) == pytest.approx(float(one), abs=place + 2e-6, rel=0), f"{name} of {case['id']}"


# -- printed rules ----------------------------------------------------------------


def rule_tee_equal_90():
    dev, branch = branch_of("tee", diameter=8, branch_diameter=8, angle=90)
    cut = placed(dev, branch.position, branch.edge_a)
    # seen from the side the joint is two straight lines at 45°: as far along the run as out from its axis
    middle = dev.dimensions["branch_at"]
    assert cut[:, 0] == pytest.approx(np.abs(cut[:, 2] - middle), abs=1e-6)
    t = np.linspace(0, 2 * math.pi, 49)
    assert from_axis(branch, t) == pytest.approx(4 * np.abs(np.cos(t)), abs=0.005)


def rule_two_piece_turn():
    for angle in (20, 60, 90):
        dev = elbow(diameter=10, angle=angle, pieces=2)
        assert rises(dev) == pytest.approx([angle / 2])
        ends = (placed(dev, 1, dev.segments[0].edge_b), placed(dev, 2, dev.segments[1].edge_a))
        for axis in range(3):
            for extreme in (np.min, np.max):  # the inner and outer points of the miter are common
                assert extreme(ends[0][:, axis]) == pytest.approx(extreme(ends[1][:, axis]), abs=1e-6)


def rule_oblique_cone():
    psi = np.linspace(0, 2 * math.pi, 25)[:-1]
    cone = make("reducer", diameter_a=20, diameter_b=9, length=13, offset=7).segments[0]
    low, high = rulings_at(cone, psi[3:-3] + cone.start_angle)
    height, plan = 13 * 10 / 5.5, 7 * 10 / 5.5  # of the apex: similar triangles
    t = psi[3:-3] + cone.start_angle
    whole = np.sqrt((plan - 10 * np.cos(t)) ** 2 + (10 * np.sin(t)) ** 2 + height**2)
    assert np.hypot(*(high - low).T) == pytest.approx(whole * 5.5 / 10, abs=SHOWN)
    elements = element_length(t, radius_a=10, radius_b=4.5, length=13, offset=7)
    assert elements == pytest.approx(whole * 5.5 / 10)


def rule_square_to_round():
    size = {"width": 20, "height": 14, "diameter": 10, "length": 9, "offset_x": 3, "offset_y": -1}
    dev = make("square_to_round", bends_per_corner=4, **size)
    lengths = [
        np.hypot(*(mark.line[1] - mark.line[0])) for mark in dev.segments[0].marks if mark.name == "bend"
    ]
    by_rule = []
    for across, up, first in ((1, 1, 0), (-1, 1, 90), (-1, -1, 180), (1, -1, 270)):
        for step in (0, 30, 60, 90):
            at = math.radians(first + step)
            point = 3 + 5 * math.cos(at), -1 + 5 * math.sin(at)
            plan = math.hypot(point[0] - across * 10, point[1] - up * 7)
            by_rule.append(math.hypot(plan, 9))
    assert sorted(lengths) == pytest.approx(sorted(by_rule), abs=1e-6)


def rule_cone_cases():
    for radius, height in ((1, 1), (3, 4), (5, 12), (7, 0.5)):
        slant, turn = cone_sector(2 * radius, height)
        assert slant**2 == pytest.approx(radius**2 + height**2)
        assert turn == pytest.approx(2 * math.pi * radius / slant)


def rule_frustum():
    for larger, smaller, length in ((16, 9, 11), (40, 10, 6), (7, 6, 30)):
        _, (outer, inner, turn, _) = frustum(diameter_a=larger, diameter_b=smaller, length=length)
        change, slant = (larger - smaller) / 2, math.hypot((larger - smaller) / 2, length)
        assert outer == pytest.approx(larger / 2 * slant / change, rel=1e-5)
        assert inner == pytest.approx(smaller / 2 * slant / change, rel=1e-5)
        assert turn == pytest.approx(360 * change / slant, rel=1e-5)


def rule_branch_unequal():
    t = np.arange(17) * math.pi / 8
    for main, branch_diameter, angle in ((10, 6, 45), (12, 12, 60), (8, 3, 90), (20, 14, 35)):
        _, branch = branch_of("tee", diameter=main, branch_diameter=branch_diameter, angle=angle)
        b, reach = math.radians(angle), np.sqrt(main**2 / 4 - (branch_diameter / 2 * np.sin(t)) ** 2)
        by_rule = (reach + branch_diameter / 2 * np.cos(t) * math.cos(b)) / math.sin(b)
        assert from_axis(branch, t) == pytest.approx(by_rule, abs=1e-4)


METHODS = {
    "tee-equal-90": rule_tee_equal_90,
    "two-piece-turn": rule_two_piece_turn,
    "oblique-cone": rule_oblique_cone,
    "square-to-round": rule_square_to_round,
    "cone-cases": rule_cone_cases,
    "frustum-formula": rule_frustum,
    "branch-unequal": rule_branch_unequal,
}


@pytest.mark.parametrize(
    "case", PARTS["methods"].values(), ids=lambda case: f"{case['id']} ({case['source']})"
)
def test_printed_rules(case):
    METHODS[case["id"]]()


def test_no_rule_and_no_derived_case_is_missing():
    assert set(METHODS) == set(PARTS["methods"]) and len(METHODS) == 7
    assert set(DERIVED) == set(PARTS["derived_cases"]) and len(DERIVED) == 23
