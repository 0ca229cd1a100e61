"""What one gored elbow says of itself: roles, dimensions, seams, marks, pattern keys, units, speed."""

import json
import math
import time

import numpy as np
import pytest

from fittings.geometry import KINDS, Allowances, development_as_dict, placement, roll_up

ALLOWANCES = Allowances(lap=0.5, edge_a=0.25, edge_b=0.375)


def test_common_practice_five_piece_elbow_has_two_end_and_three_middle_gores(elbow):
    # common practice, no source
    roles = [segment.role for segment in elbow(angle=90, pieces=5).segments]
    assert roles == ["end_gore", "middle_gore", "middle_gore", "middle_gore", "end_gore"]


def test_dimensions_are_inside_dimensions(elbow):
    dimensions = elbow(thickness=0.0276, radius_ratio=1.5, collar_a=2, collar_b=3).dimensions
    expected = {  # by hand: R = 1.5 D, throat R − D/2, heel R + D/2, takeoff R tan 45° + collar
        "pieces": 5,
        "angle": 90,
        "gore_angle": 22.5,
        "miter_angle": 11.25,
        "diameter": 14,
        "mean_diameter": 14.0276,
        "centerline_radius": 21,
        "throat_radius": 14,
        "heel_radius": 28,
        "collar_a": 2,
        "collar_b": 3,
        "center_to_end_a": 23,
        "center_to_end_b": 24,
        "end_to_end": math.hypot(23, 24),
    }
    assert dimensions == pytest.approx(expected)


def test_half_turn_has_no_center_to_end(elbow):
    dimensions = elbow(angle=180, pieces=9).dimensions
    assert "center_to_end_a" not in dimensions
    assert dimensions["end_to_end"] == pytest.approx(42)  # two radii of 21


def test_ratio_is_1_5_where_none_is_given(elbow):
    # common practice, no source; UFGS 15566A, 2.10.1 asks for 1.5
    assert elbow(diameter=10).dimensions["centerline_radius"] == 15
    assert elbow(diameter=10, radius_ratio=1.5, centerline_radius=15).dimensions["centerline_radius"] == 15


@pytest.mark.parametrize(("seam", "degrees"), [("throat", 0), ("side", 90), ("heel", 180)])
def test_pattern_begins_at_the_seam(elbow, seam, degrees):
    dev = elbow(seam_at=seam)
    assert {segment.seam_at for segment in dev.segments} == {seam}
    answer = development_as_dict(dev)
    assert {segment["start_angle"] for segment in answer["segments"]} == {degrees}
    heel, throat = (21 + 7) * math.tan(math.radians(11.25)), (21 - 7) * math.tan(math.radians(11.25))
    at_seam = {"throat": throat, "heel": heel, "side": (heel + throat) / 2}[seam]
    assert dev.segments[0].edge_b[0, 1] == pytest.approx(at_seam)
    assert dev.segments[0].edge_b[-1, 1] == pytest.approx(at_seam)


def test_staggered_seams_turn_every_second_segment_by_half(elbow):
    places = {"heel": "throat", "throat": "heel", "side": "side"}
    for seam, opposite in places.items():
        dev = elbow(seam_at=seam, stagger_seams=True)
        assert [segment.seam_at for segment in dev.segments] == [seam, opposite, seam, opposite, seam]
        turns = [dev.segments[k + 1].start_angle - dev.segments[k].start_angle for k in range(4)]
        assert np.abs(turns) == pytest.approx([math.pi] * 4)


def test_marks_lie_on_the_throat_heel_and_sides(elbow):
    for seam in ("throat", "heel", "side"):
        for segment in elbow(seam_at=seam, stagger_seams=True).segments:
            assert len(segment.marks) == 3  # the fourth is the seam itself
            for mark in segment.marks:
                rolled = roll_up(segment, mark.line)
                toward_throat = rolled[:, 0] / 7
                assert toward_throat == pytest.approx(
                    [{"throat": 1, "side": 0, "heel": -1}[mark.name]] * 2, abs=1e-9
                )
                length = mark.line[1, 1] - mark.line[0, 1]
                if mark.name != "side":
                    assert length == pytest.approx(getattr(segment, mark.name))


def test_pattern_seen_from_above_is_the_outside_of_the_duct(elbow):
    # right-handed: along x, then along y, then outward
    segment = elbow(seam_at="throat").segments[0]
    origin, along_x, along_y = roll_up(segment, [[0, 0], [1e-6, 0], [0, 1e-6]])
    outward = np.cross(along_x - origin, along_y - origin)
    assert outward @ np.array([1, 0, 0]) > 0


def test_equal_segments_share_a_pattern_and_others_do_not(elbow):
    keys = [segment.pattern for segment in elbow(allowances=ALLOWANCES).segments]
    assert keys[1] == keys[2] == keys[3]
    assert len(set(keys)) == 3  # the lap and unequal edges make the last gore another pattern than the first
    straight = [segment.pattern for segment in elbow(collar_a=2).segments]
    assert straight[0] != straight[-1]


def test_placement_refuses_positions_that_do_not_exist(elbow):
    dev = elbow()
    assert placement(dev, 1) == pytest.approx(np.eye(4))
    for position in (0, 6):
        with pytest.raises(IndexError):
            placement(dev, position)


def test_millimeters_in_and_out_equal_inches(elbow):
    inches = elbow(collar_a=2, centerline_radius=21, allowances=ALLOWANCES, thickness=0.0276)
    mm = elbow(
        diameter=14 * 25.4,
        collar_a=2 * 25.4,
        centerline_radius=21 * 25.4,
        allowances=ALLOWANCES,
        thickness=0.0276,
        unit="mm",
    )
    assert [segment.pattern for segment in mm.segments] == [segment.pattern for segment in inches.segments]
    one, other = development_as_dict(inches), development_as_dict(mm)
    assert (one["unit"], one["weight_unit"], other["unit"], other["weight_unit"]) == ("in", "lb", "mm", "kg")
    for a, b in zip(one["segments"], other["segments"], strict=True):
        for name in ("stretch_out", "throat", "heel", "lap"):
            assert b[name] == pytest.approx(a[name] * 25.4, abs=0.002)
        assert b["net_area"] == pytest.approx(a["net_area"] * 645.16, rel=1e-5)
        assert b["weight"] == pytest.approx(a["weight"] * 0.45359237, abs=0.001)
        assert np.array(b["cut_outline"]) == pytest.approx(np.array(a["cut_outline"]) * 25.4, abs=0.002)
        assert b["blank"]["width"] == pytest.approx(a["blank"]["width"] * 25.4, abs=0.002)
    assert other["dimensions"]["throat_radius"] == pytest.approx(14 * 25.4)
    assert other["dimensions"]["gore_angle"] == 22.5
    assert development_as_dict(mm, "in") == one


def test_answer_has_the_keys_of_the_contract(elbow):
    answer = development_as_dict(elbow(allowances=ALLOWANCES, thickness=0.0276))
    top = "kind unit gauge thickness dimensions segments net_area cut_area weight warnings"
    assert set(top.split()) <= set(answer)
    of_segment = (
        "position role pattern stretch_out throat heel lap net_outline cut_outline edge_a edge_b start_angle "
        "net_area cut_area weight blank"
    )
    for segment in answer["segments"]:
        assert set(of_segment.split()) <= set(segment)
        assert set(segment["blank"]) == {"width", "height"}
        assert "plates" not in segment
    assert type(answer["dimensions"]["pieces"]) is int
    assert json.loads(json.dumps(answer, allow_nan=False)) == answer


def test_contract_example_has_its_printed_shape(elbow):
    # 14 in, 90°, five pieces, 24 gauge 0.0276 in: by hand from π (D + t), (R ∓ r) tan 11.25°
    answer = development_as_dict(elbow(allowances=ALLOWANCES, thickness=0.0276))
    first = answer["segments"][0]
    tan = math.tan(math.radians(11.25))
    assert first["stretch_out"] == pytest.approx(math.pi * 14.0276, abs=0.0001)
    assert first["throat"] == pytest.approx((21 - 7.0138) * tan, abs=0.0001)
    assert first["heel"] == pytest.approx((21 + 7.0138) * tan, abs=0.0001)
    assert first["blank"]["width"] == pytest.approx(math.pi * 14.0276 + 0.5, abs=0.0001)
    assert first["blank"]["height"] == pytest.approx((21 + 7.0138) * tan + 0.625, abs=0.005)


def test_schema_names_every_parameter_with_its_range():
    params = {param.name: param for param in KINDS["gored_elbow"].params}
    assert (params["diameter"].low, params["diameter"].high) == (1, 120)
    assert (params["angle"].low, params["angle"].high, params["angle"].low_open) == (0, 180, True)
    assert (params["pieces"].low, params["pieces"].high) == (2, 60)
    assert params["seam_at"].choices == ("throat", "heel", "side")
    assert all(param.help for param in params.values())


def test_five_piece_elbow_is_developed_within_a_keystroke(elbow):
    elbow(allowances=ALLOWANCES)
    runs = []
    for _ in range(20):
        begun = time.perf_counter()
        elbow(allowances=ALLOWANCES)
        runs.append(time.perf_counter() - begun)
    assert min(runs) < 0.02  # about 2 ms here; the bound leaves room for a slow machine
