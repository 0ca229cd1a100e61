"""End caps against closed forms, and over the whole parameter range. Derivations: fixtures/authorities/end_cap.md."""

import json
import math

import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, Phase, example, given, settings
from hypothesis import strategies as st

from fittings.geometry import (
    KINDS,
    Allowances,
    CannotBeMade,
    ParameterError,
    Practice,
    Sheet,
    UsualRange,
    develop,
    development_as_dict,
    placed,
)
from tests.cases import cases

from .soundness import ALLOWANCES, MEETS, SHEETS, WITHIN, assert_bound, bounds_to_try, length_of, to_polyline

THICK = 0.0276  # in


def cap(
    *, allowances=None, thickness=THICK, weight=1.156, stock=(None, None), unit="in", practice=None, **params
):
    return develop(
        "end_cap",
        {"diameter": 14, "depth": 1} | params,
        sheet=Sheet("galvanized", 24, thickness, weight, *stock),
        allowances=allowances or Allowances(),
        practice=practice or Practice(),
        unit=unit,
    )


def radii(points):
    """Distances from the center of the box round a disc."""
    return np.hypot(*(points - (points.max(axis=0) + points.min(axis=0)) / 2).T)


# --- the turned form


def test_turned_disc_is_the_mean_circle_and_the_depth_round_it():
    # common practice, no source: r = (14 + 0.0276) / 2, and the edge of 1 in round it
    dev = cap()
    (disc,) = dev.segments
    assert (disc.role, disc.form) == ("disc", "flat")
    assert radii(disc.net_outline) == pytest.approx(8.0138, abs=1e-9)
    assert dev.dimensions["disc_diameter"] == pytest.approx(16.0276)
    assert disc.blank.width == pytest.approx(16.0276) and disc.blank.height == pytest.approx(16.0276)
    assert disc.net_area == pytest.approx(math.pi * 8.0138**2, rel=3e-4)
    assert disc.weight == pytest.approx(math.pi * 8.0138**2 / 144 * 1.156, rel=3e-4)
    assert length_of(disc.edge_a) == pytest.approx(2 * math.pi * 8.0138, rel=1e-4)
    assert length_of(disc.edge_b) == pytest.approx(2 * math.pi * 7.0138, rel=1e-4)


def test_flat_work_has_no_seam_and_no_stretch_out():
    (disc,) = cap(allowances=Allowances(lap=0.5)).segments
    assert (disc.stretch_out, disc.throat, disc.heel, disc.seam_length, disc.lap) == (None, None, None, 0, 0)
    assert (disc.holes, disc.plates, cap().joint_length) == ((), (), 0)


def test_turn_line_and_center_are_marked():
    (disc,) = cap().segments
    turn, *cross = disc.marks
    assert (turn.name, math.degrees(turn.angle)) == ("bend", pytest.approx(90))
    assert np.hypot(*(turn.line - 8.0138).T) == pytest.approx(7.0138)
    assert tuple(turn.line[0]) == tuple(turn.line[-1])
    assert [mark.name for mark in cross] == ["center", "center"]
    meeting = shapely.intersection(*(shapely.LineString(mark.line) for mark in cross))
    assert (meeting.x, meeting.y) == pytest.approx((8.0138, 8.0138))


def test_turned_edge_stands_on_the_mean_cylinder_and_ends_at_end_a():
    dev = cap(depth=2)
    (disc,) = dev.segments
    rim, turn = placed(dev, 1, disc.edge_a), placed(dev, 1, disc.edge_b)
    for edge, height in ((rim, 0.0), (turn, 2.0)):
        assert edge[:, 2] == pytest.approx(height, abs=1e-9)
        assert np.hypot(*edge[:, :2].T) == pytest.approx(7.0138)
    center = placed(dev, 1, [disc.edge_a.mean(axis=0)])
    assert center[0] == pytest.approx(np.array([0, 0, 2]), abs=0.1)
    # lengths along a radius are kept, across the turn too
    radius = np.column_stack([np.linspace(9.0138, 18.0276, 200), np.full(200, 9.0138)])
    assert length_of(placed(dev, 1, radius)) == pytest.approx(9.0138, abs=0.05)
    inside = np.array([[9.0138 + 3, 9.0138], [9.0138, 9.0138 + 4]])
    assert np.linalg.norm(np.diff(placed(dev, 1, inside), axis=0)) == pytest.approx(5)
    assert placed(dev, 1, inside)[:, :2] == pytest.approx(np.array([[3, 0], [0, 4]]))  # seen from outside


def test_edge_band_of_the_free_end_goes_round_the_disc():
    (disc,) = cap(allowances=Allowances(edge_a=1, edge_b=2, end_a=0.25)).segments
    assert radii(disc.cut_outline) == pytest.approx(8.2638)
    assert radii(disc.net_outline) == pytest.approx(8.0138)


# --- the ring form


def test_ring_form_is_a_rolled_ring_and_a_flanged_disc():
    dev = cap(
        depth=3, construction="ring", allowances=Allowances(lap=0.5, edge_a=0.25, edge_b=0.375, end_a=1)
    )
    ring, disc = dev.segments
    assert [(part.role, part.form) for part in dev.segments] == [("ring", "cylinder"), ("disc", "flat")]
    assert ring.stretch_out == pytest.approx(math.pi * 14.0276)
    assert ring.net_area == pytest.approx(math.pi * 14.0276 * 3)
    # free end A has 1 in, the joint the ring's edge B; the disc its edge A
    assert ring.blank.height == pytest.approx(1 + 3 + 0.375)
    assert ring.blank.width == pytest.approx(math.pi * 14.0276 + 0.5)
    assert radii(disc.net_outline) == pytest.approx(7.0138)
    assert radii(disc.cut_outline) == pytest.approx(7.2638)
    assert [mark.name for mark in disc.marks] == ["center", "center"]
    assert dev.joint_length == pytest.approx(math.pi * 14.0276)


def test_ring_and_disc_meet():
    dev = cap(depth=3, construction="ring", diameter=60)
    ring, disc = dev.segments
    assert length_of(ring.edge_b) == pytest.approx(length_of(disc.edge_a), abs=MEETS)
    x = np.linspace(0, ring.stretch_out, 500)
    upper = placed(dev, 1, np.column_stack([x, np.full(500, 3.0)]))
    assert to_polyline(upper, placed(dev, 2, disc.edge_a)).max() < MEETS
    assert placed(dev, 1, ring.edge_a)[:, 2] == pytest.approx(0, abs=1e-9)


# --- the stock


@pytest.mark.parametrize(
    ("diameter", "stock", "strips"),
    [(50, (120, 60), 0), (70, (120, 60), 2), (115, (120, 60), 2), (100, (120, 48), 3), (30, (48, 24), 2)],
)
def test_wide_discs_are_strips_joined_by_straight_seams(diameter, stock, strips):
    # by hand: 115 + 2 + t is 117 wide, a half of it 58.5 and 0.5 of lap; a third of 102 is 34
    dev = cap(diameter=diameter, stock=stock, allowances=Allowances(lap=0.5))
    (disc,) = dev.segments
    assert len(disc.plates) == strips and disc.fits_stock
    assert [warned.code for warned in dev.warnings] == (["disc_in_strips"] if strips else [])
    if not strips:
        return
    laid = []
    for plate in disc.plates:
        assert plate.blank.width <= stock[1] + 1e-6 and plate.blank.height <= stock[0] + 1e-6
        assert plate.lap == (0.5 if plate.number < strips else 0)
        assert {mark.name for mark in plate.marks} >= {"bend"}
        lift = (disc.net_outline[:, 1].max() - plate.net_outline[:, 1].max()) / 2
        laid.append(shapely.Polygon(plate.net_outline + [plate.x_from, lift]).buffer(1e-7))
    assert shapely.union_all(laid).symmetric_difference(shapely.Polygon(disc.net_outline)).area < 1e-3
    marked = sum(length_of(mark.line) for plate in disc.plates for mark in plate.marks if mark.name == "bend")
    assert marked == pytest.approx(math.pi * (diameter + THICK), rel=1e-3)


def test_laps_of_strips_follow_the_round():
    (disc,) = cap(diameter=70, stock=(120, 60), allowances=Allowances(lap=1, end_a=0)).segments
    first = disc.plates[0]
    # a half disc of radius 36.0138 and the strip of 1 in beside its diameter, cut by the circle
    radius = 35 + THICK / 2 + 1
    strip = math.asin(1 / radius) * radius**2 + math.sqrt(radius**2 - 1)
    assert first.cut_area - first.net_area == pytest.approx(strip, rel=1e-3)
    assert first.blank.width == pytest.approx(radius + 1)


def test_a_seam_says_how_long_it_is():
    message = cap(diameter=70, stock=(120, 60)).warnings[0].message
    assert "2 strips" in message and "72.0276 in" in message  # one seam along the diameter: 70 + t + 2


def test_a_disc_wider_than_the_longest_stock_says_so():
    dev = cap(diameter=119, depth=4, stock=(120, 60))
    assert not dev.segments[0].fits_stock and dev.segments[0].plates == ()
    assert [warned.code for warned in dev.warnings] == ["exceeds_stock"]


# --- what it says of itself


@pytest.mark.parametrize("construction", ["turned", "ring"])
def test_it_has_one_free_end(construction):
    dev = cap(construction=construction)
    (end,) = development_as_dict(dev)["free_ends"]
    assert (end["end"], end["title"], end["shape"], end["diameter"]) == ("a", "Open end", "round", 14)
    assert end["edge_length"] == pytest.approx(math.pi * 14.0276, abs=1e-4)
    assert KINDS["end_cap"].ends == (("a", "Open end"),)
    assert (dev.dimensions["diameter"], dev.dimensions["depth"]) == (14, 1)


def test_strips_in_space_are_the_disc_and_the_turned_edge():
    (disc,) = development_as_dict(cap(depth=2))["segments"]
    (center, inner), (turn, rim) = (np.array(strip) for strip in disc["space"])
    assert np.abs(center - [0, 0, 2]).max() < 1e-9
    assert np.abs(turn - inner).max() < 1e-9
    assert (turn[:, 2] == 2).all() and (rim[:, 2] == 0).all()
    assert len(development_as_dict(cap(construction="ring"))["segments"][1]["space"]) == 1


def test_deep_edges_are_unusual():
    rows = [UsualRange("end_cap", "depth", 1, 1.5, "An edge of 1 in to 1-1/2 in covers the duct's end.")]
    assert cap(depth=2, practice=Practice(usual=rows)).warnings[0].code == "depth_high"


# --- refusals


@pytest.mark.parametrize("construction", ["turned", "ring"])
@pytest.mark.parametrize(("name", "value", "accepted"), bounds_to_try(KINDS["end_cap"]))
def test_bounds(construction, name, value, accepted):
    def make(**params):
        return cap(construction=construction, **params)

    assert_bound(make, KINDS["end_cap"], name, value, accepted)


def test_an_edge_deeper_than_the_radius_cannot_be_turned_up():
    assert cap(depth=7.0138).segments[0].blank.width == pytest.approx(4 * 7.0138)
    with pytest.raises(CannotBeMade) as refused:
        cap(depth=7.02)
    (wrong,) = refused.value.problems
    assert (wrong.field, wrong.value, wrong.limit) == ("depth", 7.02, "at most 7.0138 in")
    assert "ring" in wrong.sentence
    assert len(cap(depth=7.02, construction="ring").segments) == 2
    with pytest.raises(CannotBeMade) as refused:
        cap(diameter=254, depth=200, unit="mm")
    assert refused.value.problems[0].value == pytest.approx(200)
    assert refused.value.problems[0].limit.endswith(" mm")


def test_missing_and_unknown_values_are_named():
    with pytest.raises(ParameterError) as refused:
        develop(
            "end_cap",
            {"length": 3, "construction": "cast"},
            sheet=Sheet("galvanized", 24, THICK, 1.156),
            allowances=Allowances(),
            practice=Practice(),
        )
    assert {problem.field for problem in refused.value.problems} == {
        "diameter",
        "depth",
        "length",
        "construction",
    }


# --- over the whole range

RANGE = st.fixed_dictionaries(
    {
        "diameter": st.one_of(st.floats(1, 120), st.floats(4, 40)),
        "depth": st.one_of(st.floats(0.01, 240), st.floats(0.25, 6)),
        "construction": st.sampled_from(["turned", "ring"]),
    }
)


@settings(
    max_examples=cases(500),
    deadline=None,
    derandomize=True,
    phases=[Phase.explicit, Phase.generate],
    suppress_health_check=[HealthCheck.too_slow],
)
@given(RANGE, SHEETS, ALLOWANCES)
@example(
    {"diameter": 118.0, "depth": 0.9, "construction": "turned"},
    Sheet("galvanized", 24, 0.0276, 1.156, 120, 24),
    Allowances(lap=1, end_a=0.05),
)
def test_over_the_whole_range(params, sheet, allowances):
    mean_radius = (params["diameter"] + sheet.thickness_in) / 2
    is_turned = params["construction"] == "turned"
    try:
        dev = develop("end_cap", params, sheet=sheet, allowances=allowances, practice=Practice())
    except CannotBeMade as refused:
        assert is_turned and params["depth"] > mean_radius
        assert [problem.field for problem in refused.problems] == ["depth"]
        return
    disc = dev.segments[-1]
    radius = mean_radius + (params["depth"] if is_turned else 0)
    width = allowances.free_end_a if is_turned else allowances.edge_a
    assert disc.net_area == pytest.approx(math.pi * radius**2, rel=1e-3)
    assert radii(disc.net_outline) == pytest.approx(radius)
    for piece in (disc, *disc.plates):
        net, cut = shapely.Polygon(piece.net_outline), shapely.Polygon(piece.cut_outline)
        for outline in (net, cut):
            assert outline.is_valid and outline.exterior.is_ccw
        assert cut.buffer(1e-6).covers(net)
        assert piece.net_area == pytest.approx(net.area)
        assert piece.blank.width == pytest.approx(np.ptp(piece.cut_outline[:, 0]))
        assert piece.weight == pytest.approx(net.area / 144 * 1.156)
        for mark in piece.marks:
            assert net.buffer(1e-6).covers(shapely.LineString(mark.line))
    parts = disc.plates or (disc,)
    assert sum(part.net_area for part in parts) == pytest.approx(disc.net_area)
    assert sum(shapely.Polygon(part.cut_outline).area for part in parts) == pytest.approx(disc.cut_area)
    arc = np.linspace(0, math.pi / 2, 300)
    true_rim = radius + (radius + width) * np.column_stack([np.cos(arc), np.sin(arc)])
    assert to_polyline(true_rim, np.vstack([disc.cut_outline, disc.cut_outline[:1]])).max() < WITHIN
    long, wide = (side or math.inf for side in (sheet.longest_stock_in, sheet.widest_stock_in))
    if disc.fits_stock:
        for part in parts:
            box = part.blank.width, part.blank.height
            assert max(box) <= long + 1e-6 and min(box) <= wide + 1e-6
    else:  # too long for any strip, or more strips than a shop would join
        assert 2 * (radius + width) > long - 1e-6 or 2 * (radius + width) > 10 * wide
    if not is_turned:
        ring = dev.segments[0]
        assert ring.net_area == pytest.approx(2 * math.pi * mean_radius * params["depth"])
        assert length_of(ring.edge_b) == pytest.approx(length_of(disc.edge_a), abs=MEETS)
    for unit in ("in", "mm"):
        json.dumps(development_as_dict(dev, unit), allow_nan=False)
