"""Segments longer than the stock are made of the fewest equal plates."""

import math

import numpy as np
import pytest
import shapely

from fittings.geometry import Allowances, CannotBeMade, development_as_dict

ALLOWANCES = Allowances(lap=0.5, edge_a=0.25, edge_b=0.375)


@pytest.mark.parametrize(
    ("diameter", "longest", "count"),
    [(38, 120, 1), (38.0381, 120, 2), (60, 120, 2), (76, 120, 2), (120, 120, 4), (60, 96, 2), (60, 60, 4)],
)
def test_fewest_plates_whose_length_and_lap_fit_the_stock(elbow, diameter, longest, count):
    # by hand: π × 38 + 0.5 = 119.88, π × 38.0381 + 0.5 = 120.0002, π × 76 / 2 + 0.5 = 119.88 in
    for segment in elbow(diameter=diameter, longest=longest, allowances=ALLOWANCES).segments:
        assert len(segment.plates) == (0 if count == 1 else count)
        for piece in segment.plates or (segment,):
            assert piece.blank.width <= longest


@pytest.mark.parametrize("seam", ["throat", "heel", "side"])
def test_plates_make_up_the_whole_segment(elbow, seam):
    dev = elbow(diameter=60, longest=96, seam_at=seam, stagger_seams=True, allowances=ALLOWANCES)
    for segment in dev.segments:
        assert [plate.number for plate in segment.plates] == [1, 2]
        assert {plate.of for plate in segment.plates} == {2}
        assert sum(plate.net_area for plate in segment.plates) == pytest.approx(segment.net_area, rel=1e-12)
        assert sum(plate.weight for plate in segment.plates) == pytest.approx(segment.weight, rel=1e-12)
        assert segment.cut_area == pytest.approx(
            sum(shapely.Polygon(p.cut_outline).area for p in segment.plates)
        )
        moved = [
            shapely.Polygon(plate.net_outline + np.array([plate.x_from, 0])).buffer(1e-7)
            for plate in segment.plates
        ]
        assert shapely.union_all(moved).symmetric_difference(shapely.Polygon(segment.net_outline)).area < 1e-3
        lengths = [plate.x_to - plate.x_from for plate in segment.plates]
        assert lengths == pytest.approx([math.pi * 60 / 2] * 2)
        for plate in segment.plates:
            assert plate.lap == 0.5
            assert plate.blank.width == pytest.approx(math.pi * 60 / 2 + 0.5)
            assert shapely.Polygon(plate.cut_outline).is_valid
            turn = plate.start_angle - segment.start_angle
            assert turn == pytest.approx(plate.x_from / 30)


def test_marks_of_a_segment_are_shared_out_to_its_plates(elbow):
    segment = elbow(diameter=60, longest=96, seam_at="side").segments[1]
    names = [[mark.name for mark in plate.marks] for plate in segment.plates]
    assert sorted(sum(names, [])) == ["heel", "throat"]  # the other side lies where the plates meet


def test_answer_lists_plates_and_keeps_the_net_figures_whole(elbow):
    dev = elbow(diameter=60, longest=96, allowances=ALLOWANCES)
    answer = development_as_dict(dev)["segments"][0]
    assert answer["stretch_out"] == pytest.approx(math.pi * 60, abs=1e-4)
    assert [(plate["number"], plate["of"]) for plate in answer["plates"]] == [(1, 2), (2, 2)]
    for plate in answer["plates"]:
        assert {"cut_outline", "net_outline", "blank", "lap", "x_range", "start_angle"} <= set(plate)


def test_lap_as_long_as_the_stock_cannot_be_made(elbow):
    with pytest.raises(CannotBeMade) as refused:
        elbow(longest=5, allowances=Allowances(lap=5.5))
    assert refused.value.problems[0].field == "allowances.lap"
