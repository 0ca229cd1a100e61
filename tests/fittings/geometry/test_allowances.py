"""From net to cut outline: constant bands, notches, laps."""

import numpy as np
import pytest
import shapely

from fittings.geometry import Allowances, ParameterError, allowances_from

SIX_WAYS = [(seam, stagger) for seam in ("throat", "heel", "side") for stagger in (False, True)]


def polygon(outline):
    return shapely.Polygon(outline)


@pytest.mark.parametrize(("seam", "stagger"), SIX_WAYS)
def test_without_allowances_the_cut_outline_is_the_net_outline(elbow, seam, stagger):
    for segment in elbow(seam_at=seam, stagger_seams=stagger).segments:
        assert np.array_equal(segment.cut_outline, segment.net_outline)
        assert segment.cut_area == segment.net_area


@pytest.mark.parametrize(("seam", "stagger"), SIX_WAYS)
@pytest.mark.parametrize(("width_a", "width_b"), [(0.25, 0.375), (1.0, 0.125), (0.5, 0.0)])
def test_bands_are_as_wide_as_the_allowance(elbow, seam, stagger, width_a, width_b):
    allowances = Allowances(lap=0.5, edge_a=width_a, edge_b=width_b)
    for segment in elbow(seam_at=seam, stagger_seams=stagger, allowances=allowances).segments:
        ring = shapely.LinearRing(segment.cut_outline).segmentize(0.05)
        points = shapely.points(shapely.get_coordinates(ring))
        x = shapely.get_x(points)
        clear = (x > 3) & (x < segment.stretch_out - 3)  # away from the notches
        for edge, other, width in (
            (segment.edge_a, segment.edge_b, width_a),
            (segment.edge_b, segment.edge_a, width_b),
        ):
            near, far = (shapely.distance(points, shapely.LineString(line)) for line in (edge, other))
            here = clear & (near < far)
            assert here.sum() > 100
            assert np.abs(near[here] - width).max() < 0.005


def test_free_ends_have_their_own_allowance(elbow):
    dev = elbow(allowances=Allowances(edge_a=0.25, edge_b=0.375, end_a=1.5, end_b=0))
    first, middle, last = dev.segments[0], dev.segments[1], dev.segments[-1]
    assert first.cut_outline[:, 1].min() == pytest.approx(-1.5)
    assert middle.cut_outline[:, 1].min() == pytest.approx(-0.25, abs=0.005)
    assert last.cut_outline[:, 1].max() == pytest.approx(last.edge_b[0, 1])


def test_free_ends_follow_the_edges_where_not_given(elbow):
    dev = elbow(allowances=Allowances(edge_a=0.25, edge_b=0.375))
    assert dev.segments[0].cut_outline[:, 1].min() == pytest.approx(-0.25)
    last = dev.segments[-1]
    assert last.cut_outline[:, 1].max() == pytest.approx(last.heel + 0.375)


@pytest.mark.parametrize(("seam", "stagger"), SIX_WAYS)
def test_blank_is_the_stretch_out_plus_lap_by_the_height_plus_edges(elbow, seam, stagger):
    allowances = Allowances(lap=0.75, edge_a=0.25, edge_b=0.375)
    for segment in elbow(seam_at=seam, stagger_seams=stagger, allowances=allowances).segments:
        assert segment.blank.width == pytest.approx(segment.stretch_out + 0.75)
        whole = np.ptp(segment.net_outline[:, 1]) + 0.625
        if segment.seam_at == "heel":  # the notches take the highest points of the bands away
            assert whole - 0.01 < segment.blank.height < whole
        else:
            assert segment.blank.height == pytest.approx(whole, abs=0.005)


@pytest.mark.parametrize(("seam", "stagger"), SIX_WAYS)
def test_notches_keep_flanges_out_of_the_seam(elbow, seam, stagger):
    # common practice, no source: bands end on the net corners, none lies beyond the seam lines
    for segment in elbow(
        seam_at=seam, stagger_seams=stagger, allowances=Allowances(0.5, 0.25, 0.375)
    ).segments:
        cut = polygon(segment.cut_outline)
        for x, column in ((0.0, 0), (segment.stretch_out, -1)):
            line = shapely.LineString([(x, -100), (x, 100)])
            low, high = segment.edge_a[column, 1], segment.edge_b[column, 1]
            met = cut.intersection(line).bounds
            assert (met[1], met[3]) == pytest.approx((low, high), abs=1e-6)


def test_notch_is_45_degrees_on_a_square_end(elbow):
    # common practice, no source
    outline = elbow(allowances=Allowances(edge_a=0.5)).segments[0].cut_outline
    assert outline[:2] == pytest.approx(np.array([[0, 0], [0.5, -0.5]]))


@pytest.mark.parametrize(("seam", "stagger"), SIX_WAYS)
def test_lap_stays_inside_the_edges_that_it_is_closed_under(elbow, seam, stagger):
    lap = 0.75
    for segment in elbow(
        seam_at=seam, stagger_seams=stagger, allowances=Allowances(lap, 0.25, 0.375)
    ).segments:
        cut = polygon(segment.cut_outline)
        strip = cut.intersection(shapely.box(segment.stretch_out, -100, segment.stretch_out + 100, 100))
        assert strip.area > 0.5 * lap * segment.throat
        moved = shapely.transform(strip, lambda xy, by=segment.stretch_out: xy - [by, 0])
        assert polygon(segment.net_outline).buffer(1e-6).covers(moved)


def test_lap_alone_is_a_strip_as_high_as_the_seam(elbow):
    # no bands, so no taper but what the edge falls away beside the heel: next to nothing on a shallow elbow
    segment = elbow(diameter=60, angle=1, pieces=2, allowances=Allowances(lap=1.0), seam_at="heel").segments[
        0
    ]
    assert segment.cut_area - segment.net_area == pytest.approx(1.0 * segment.heel, rel=1e-3)


@pytest.mark.parametrize("width", [0.5, 2.0, 6.0])
@pytest.mark.parametrize("seam", ["throat", "heel", "side"])
def test_bands_wider_than_the_hollow_of_the_edge_do_not_cross_themselves(elbow, width, seam):
    # radius of curvature at the throat is r / tan α = 1 in: wider bands would fold over
    dev = elbow(
        diameter=2, pieces=2, seam_at=seam, allowances=Allowances(lap=0.5, edge_a=width, edge_b=width)
    )
    for segment in dev.segments:
        cut, net = polygon(segment.cut_outline), polygon(segment.net_outline)
        assert cut.is_valid and cut.exterior.is_ccw
        assert cut.buffer(2e-4).covers(net)
        rounded = polygon(np.round(segment.cut_outline, 4))
        assert rounded.is_valid
        reach = shapely.distance(shapely.points(segment.cut_outline), net).max()
        assert reach <= max(width, 0.5) + 0.005


def test_allowances_from_a_request_in_millimeters():
    assert allowances_from({"lap": 12.7, "edge_a": None}, "mm") == Allowances(lap=0.5)
    base = Allowances(lap=0.5, edge_a=0.25)
    assert allowances_from({"edge_a": 0.125}, base=base) == Allowances(lap=0.5, edge_a=0.125)


@pytest.mark.parametrize("value", [-0.1, 6.01, float("nan"), float("inf"), "0.5", True])
def test_allowances_outside_0_to_6_in_are_refused(value):
    with pytest.raises(ParameterError) as refused:
        Allowances(lap=value, edge_a=0.25, end_b=value)
    assert [wrong.field for wrong in refused.value.problems] == ["allowances.lap", "allowances.end_b"]
    assert refused.value.problems[0].limit == "0 to 6 in"


def test_every_wrong_allowance_of_a_request_is_named():
    with pytest.raises(ParameterError) as refused:
        allowances_from({"lap": 200, "hem": 3, "edge_b": "x"}, "mm")
    assert [wrong.field for wrong in refused.value.problems] == [
        "allowances.lap",
        "allowances.hem",
        "allowances.edge_b",
    ]
    assert refused.value.problems[0].limit == "0 to 152.4 mm"
