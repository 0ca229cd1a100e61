"""Reducing elbows against closed forms, against cones made from first principles, and over the whole range.

`Truth` knows nothing of the code under test: axes, cones and joints follow fixtures/authorities/reducing_elbow.md, and
where elements end is found by bisection.
"""

import math

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, example, given, settings
from hypothesis import strategies as st

from fittings.geometry import (
    KINDS,
    Allowances,
    CannotBeMade,
    GeometryError,
    GoreRow,
    Practice,
    Sheet,
    UsualRange,
    develop,
    development_as_dict,
    placed,
)
from tests.cases import cases
from tests.fittings.geometry.cones import assert_laid_flat, finer, spread
from tests.fittings.geometry.conftest import THIN
from tests.fittings.geometry.soundness import (
    ALLOWANCES,
    MEETS,
    SHEETS,
    WITHIN,
    assert_bound,
    assert_sound,
    bounds_to_try,
    length_of,
    to_polyline,
    triangles_area,
)

USUAL = {"diameter_a": 14, "diameter_b": 10, "angle": 90, "pieces": 5}
SHAPES = [
    {},
    {"diameter_a": 10, "diameter_b": 14, "collar_a": 3, "collar_b": 2},
    {"pieces": 2, "angle": 45, "collar_b": 4},
    {"pieces": 3, "diameter_b": 4, "radius_ratio": 1},
    {"pieces": 4, "diameter_a": 40, "diameter_b": 39.5, "angle": 60, "seam_at": "side"},
    {"pieces": 3, "diameter_a": 120, "diameter_b": 60, "stagger_seams": True, "seam_at": "throat"},
    {"pieces": 7, "angle": 180, "diameter_a": 6, "diameter_b": 10},
]


def elbow(*, allowances=None, thickness=THIN, practice=None, unit="in", kind="reducing_elbow", **params):
    return develop(
        kind,
        (USUAL if kind == "reducing_elbow" else {}) | params,
        sheet=Sheet("galvanized", 24, thickness, 1.156),
        allowances=allowances or Allowances(),
        practice=practice or Practice(),
        unit=unit,
    )


class Truth:
    """The cones of a reducing elbow in the fitting's frame, from first principles."""

    def __init__(self, params, thickness=THIN):
        params = USUAL | params
        larger = max(params["diameter_a"], params["diameter_b"])
        arc = params.get("radius_ratio", 1.5) * larger
        self.count = params["pieces"]
        self.alpha = math.radians(params["angle"]) / (2 * (self.count - 1))
        half = arc * math.tan(self.alpha)
        self.start, self.end = ((params[f"diameter_{end}"] + thickness) / 2 for end in "ab")
        total = 2 * (self.count - 1) * half
        self.a = math.atan((self.start - self.end) / total)
        # corners lie on two tangents of the arc: at R / cos α from the middle of the bend
        self.middle = np.array([arc, 0.0, params.get("collar_a", 0)])
        turns = self.alpha * (2 * np.arange(1, self.count) - 1)
        corners = [
            self.middle + arc / math.cos(self.alpha) * np.array([-math.cos(t), 0, math.sin(t)]) for t in turns
        ]
        turn = math.radians(params["angle"])
        first = np.array([0.0, 0.0, params.get("collar_a", 0)])
        last = self.middle + arc * np.array([-math.cos(turn), 0.0, math.sin(turn)])
        self.corners = np.array([first, *corners, last])
        self.sides = np.diff(self.corners, axis=0)
        self.lengths = np.linalg.norm(self.sides, axis=1)
        self.axes = self.sides / self.lengths[:, None]
        assert self.lengths.sum() == pytest.approx(total)
        along = np.concatenate([[0.0], np.cumsum(self.lengths)])
        self.radii = self.start - along * math.tan(self.a)  # at the corners, square to the axis

    def off(self, points, k):
        """Distance of points from cone k, counted from 0."""
        apart = points - self.corners[k]
        along = apart @ self.axes[k]
        away = np.linalg.norm(apart - along[:, None] * self.axes[k], axis=1)
        return np.abs(away - (self.radii[k] - along * math.tan(self.a))) * math.cos(self.a)

    def elements(self, k, psi):
        """Ends of the elements of gore k: where the next cone takes over, by bisection."""
        axis = self.axes[k]
        across = np.array([axis[2], 0.0, -axis[0]])
        side = np.outer(np.cos(psi), across) + np.outer(np.sin(psi), [0.0, 1.0, 0.0])

        def point(along):
            around = self.radii[k] - along * math.tan(self.a)
            return self.corners[k] + along[:, None] * axis + around[:, None] * side

        def ahead(points, which, corner):
            sphere = self.radii[corner] * math.cos(self.a)
            return (points - self.corners[corner]) @ self.axes[which] - sphere * math.sin(self.a)

        found = []
        for corner, other in ((k, k - 1), (k + 1, k + 1)):
            if not 0 <= other < self.count:
                found.append(point(np.full(len(psi), 0.0 if corner == 0 else self.lengths[k])))
                continue
            reach = 50 * max(self.start, self.end) / math.cos(self.alpha + abs(self.a))
            low, high = np.full(len(psi), -reach), np.full(len(psi), reach)
            if self.a:  # no further than the apex
                apex = self.radii[k] / math.tan(self.a)
                low, high = (low, np.minimum(high, apex)) if self.a > 0 else (np.maximum(low, apex), high)
            for _ in range(70):
                middle = (low + high) / 2
                at = point(middle)
                is_before = ahead(at, k, corner) + ahead(at, other, corner) < 0
                low, high = np.where(is_before, middle, low), np.where(is_before, high, middle)
            found.append(point(high))
        return found


def gores_of(dev):
    return [one for one in dev.segments if one.role != "collar"]


# -- closed forms --------------------------------------------------------------


@pytest.mark.parametrize("seam_at", ["throat", "side", "heel"])
@pytest.mark.parametrize("stagger_seams", [False, True])
@pytest.mark.parametrize(
    ("angle", "pieces", "ratio"), [(90, 5, 1.5), (45, 2, 1), (180, 7, 0.8), (30, 3, 2.5)]
)
def test_equal_diameters_make_a_gored_elbow(seam_at, stagger_seams, angle, pieces, ratio):
    common = {
        "angle": angle,
        "pieces": pieces,
        "radius_ratio": ratio,
        "seam_at": seam_at,
        "stagger_seams": stagger_seams,
        "thickness": 0.0276,
        "allowances": Allowances(lap=0.5, edge_a=0.25, edge_b=0.375),
    }
    mine = elbow(diameter_a=14, diameter_b=14, **common)
    plain = elbow(kind="gored_elbow", diameter=14, **common)
    for one, other in zip(mine.segments, plain.segments, strict=True):
        for name in ("role", "form", "seam_at", "start_angle"):
            assert getattr(one, name) == getattr(other, name)
        for name in ("stretch_out", "throat", "heel", "seam_length", "net_area", "weight"):
            assert getattr(one, name) == pytest.approx(getattr(other, name), rel=1e-9, abs=1e-9)
        assert one.cut_area == pytest.approx(other.cut_area, rel=1e-4)
        for name in ("edge_a", "edge_b"):
            assert to_polyline(getattr(one, name), getattr(other, name)).max() < WITHIN
        assert one.frame == pytest.approx(other.frame, abs=1e-9)
    for name in ("end_to_end", "throat_radius", "miter_angle", "gore_angle"):
        assert mine.dimensions[name] == pytest.approx(plain.dimensions[name])
    middle = [one for one in mine.segments if one.role == "middle_gore"]
    assert len({one.pattern for one in middle}) <= 1 + stagger_seams


@pytest.mark.parametrize("case", SHAPES)
def test_area_is_that_of_one_straight_cone(case):
    # every second gore turned by 180° about its axis: the gores make one straight cone from end to end
    dev, truth = elbow(**case), Truth(case)
    whole = math.pi * (truth.start + truth.end) * truth.lengths.sum() / math.cos(truth.a)
    area = sum(one.net_area for one in gores_of(dev))
    assert area == pytest.approx(whole, rel=3e-4)


@pytest.mark.parametrize("case", SHAPES)
def test_round_ends_have_exactly_the_given_diameters(case):
    dev, params = elbow(**case, thickness=0.0276), USUAL | case
    for end, segment, edge in (("a", dev.segments[0], "edge_a"), ("b", dev.segments[-1], "edge_b")):
        points = placed(dev, segment.position, getattr(segment, edge))
        middle = (points[:-1].min(axis=0) + points[:-1].max(axis=0)) / 2
        across = np.linalg.norm(points - middle, axis=1)
        assert across.max() == pytest.approx((params[f"diameter_{end}"] + 0.0276) / 2, abs=1e-4)
        assert length_of(getattr(segment, edge)) == pytest.approx(
            math.pi * (params[f"diameter_{end}"] + 0.0276), abs=MEETS
        )


# -- against the true surfaces -----------------------------------------------------


@pytest.mark.parametrize("case", SHAPES)
@pytest.mark.parametrize("thickness", [THIN, 0.0478])
def test_patterns_are_the_true_gores_laid_flat(case, thickness):
    dev, truth = elbow(**case, thickness=thickness), Truth(case, thickness)
    for k, gore in enumerate(gores_of(dev)):
        psi = gore.start_angle + np.linspace(0, 2 * math.pi, 2401)
        low, high = truth.elements(k, psi)
        if k > 0:
            assert (
                truth.off(low, k - 1).max() < 1e-6
            )  # the bisection itself: both cones, by distance from their axes
        assert_laid_flat(gore, low, high, WITHIN)
        assert gore.net_area == pytest.approx(triangles_area(low, high), rel=1e-3)
        assert gore.throat == pytest.approx(
            np.linalg.norm(np.subtract(*truth.elements(k, np.zeros(1)))), abs=1e-4
        )
        heel = np.linalg.norm(np.subtract(*truth.elements(k, np.full(1, math.pi))))
        assert gore.heel == pytest.approx(heel, abs=1e-4)


@pytest.mark.parametrize("case", SHAPES)
def test_neighbors_meet_in_space(case):
    dev = elbow(**case)
    for here, there in zip(dev.segments[:-1], dev.segments[1:], strict=True):
        one = placed(dev, here.position, finer(here.edge_b, 500))
        other = placed(dev, there.position, finer(there.edge_a, 500))
        assert to_polyline(one[::3], other).max() < MEETS
        assert to_polyline(other[::3], one).max() < MEETS
        assert length_of(here.edge_b) == pytest.approx(length_of(there.edge_a), abs=MEETS)
    joints = sum(length_of(one.edge_b) for one in dev.segments[:-1])
    assert dev.joint_length == pytest.approx(joints, abs=MEETS)


def check(dev, params, sheet):
    """What a right development satisfies, on its first and last gores and one of the middle."""
    truth = Truth(params, sheet.thickness_in)
    gores = gores_of(dev)
    for k in sorted({0, len(gores) // 2, len(gores) - 1}):
        gore = gores[k]
        for edge, other, corner in ((gore.edge_a, k - 1, k), (gore.edge_b, k + 1, k + 1)):
            points = finer(edge, 30)
            points = placed(dev, gore.position, points[:: max(1, len(points) // 30)])
            assert truth.off(points, k).max() < WITHIN
            if 0 <= other < truth.count:  # a joint is on both cones, and square to the bisector of their axes
                assert truth.off(points, other).max() < WITHIN
                bisector = truth.axes[k] + truth.axes[other]
                at = (points - truth.corners[corner]) @ bisector
                sphere = truth.radii[corner] * math.cos(truth.a)
                assert np.abs(at - 2 * sphere * math.sin(truth.a)).max() < 2 * WITHIN
            else:
                assert np.abs((points - truth.corners[corner]) @ truth.axes[k]).max() < WITHIN
        if gore.form == "cone":
            check_sector(dev, gore, truth, k)
    for here, there in zip(dev.segments[:-1], dev.segments[1:], strict=True):
        assert length_of(here.edge_b) == pytest.approx(length_of(there.edge_a), abs=MEETS)


def check_sector(dev, gore, truth, k):
    """Distances between points of the pattern are those of the closed development of a cone."""
    if abs(truth.a) < 1e-5:
        return  # so slender that the sector's radius has no digits left
    flat = np.vstack([edge[:: max(1, len(edge) // 12)] for edge in (gore.edge_a, gore.edge_b)])
    apart = placed(dev, gore.position, flat) - truth.corners[k]
    along = apart @ truth.axes[k]
    across = np.array([truth.axes[k][2], 0.0, -truth.axes[k][0]])
    psi = (np.arctan2(apart[:, 1], apart @ across) - gore.start_angle) % (2 * math.pi)
    is_last = flat @ np.array([1.0, 0.0]) > flat[:, 0].max() - 1e-9
    seam = np.minimum(psi, 2 * math.pi - psi) < 1e-6
    keep = ~seam & ~is_last  # at the seam 0 and 2 π are one place
    slant = (truth.radii[k] - along * math.tan(truth.a)) / math.sin(truth.a)
    turned = psi * math.sin(truth.a)
    sector = slant[:, None] * np.column_stack([np.cos(turned), np.sin(turned)])
    assert np.abs(spread(sector[keep]) - spread(flat[keep])).max() < WITHIN


PARAMS = st.builds(
    lambda a, ratio, flip, more: (
        (
            {"diameter_a": a, "diameter_b": min(120.0, max(1.0, a * ratio))}
            if flip
            else {"diameter_b": a, "diameter_a": min(120.0, max(1.0, a * ratio))}
        )
        | more
    ),
    st.one_of(st.floats(1, 120), st.floats(4, 24)),
    st.one_of(st.floats(0.05, 1), st.just(1.0), st.floats(0.5, 1)),
    st.booleans(),
    st.fixed_dictionaries(
        {
            "angle": st.one_of(st.floats(1, 180), st.sampled_from([30, 45, 60, 90, 180])),
            "pieces": st.one_of(st.integers(2, 4), st.integers(2, 4), st.integers(2, 7)),
            "radius_ratio": st.one_of(st.floats(0.5, 10), st.floats(0.51, 2.5)),
            "collar_a": st.one_of(st.just(0.0), st.floats(0.1, 12)),
            "collar_b": st.one_of(st.just(0.0), st.floats(0.1, 12)),
            "seam_at": st.sampled_from(["throat", "heel", "side"]),
            "stagger_seams": st.booleans(),
        }
    ),
)


@settings(
    max_examples=cases(500),
    deadline=None,
    derandomize=True,
    phases=[Phase.explicit, Phase.generate],
    suppress_health_check=[HealthCheck.too_slow],
)
@given(PARAMS, ALLOWANCES, SHEETS)
@example(USUAL | {"pieces": 60}, Allowances(lap=0.5), Sheet("x", 24, 0.03, 1.156))
@example(USUAL | {"diameter_b": 14 - 1e-7}, Allowances(lap=0.5), Sheet("x", 24, 0.03, 1.156))
def test_whatever_can_be_made_is_right_and_whatever_not_names_its_field(params, allowances, sheet):
    try:
        dev = develop("reducing_elbow", params, sheet=sheet, allowances=allowances, practice=Practice())
    except GeometryError as error:
        assert {problem.field for problem in error.problems} <= {"radius_ratio", "pieces"}
        truth = Truth(params, sheet.thickness_in)
        if math.degrees(truth.alpha + abs(truth.a)) <= 85 - 1e-9:  # then some gore has no throat
            throats = []
            for k in range(truth.count):
                low, high = truth.elements(k, np.zeros(1))
                throats.append(float(((high - low) @ truth.axes[k])[0]))
            assert min(throats) < 0.00101
        return
    assert_sound(dev, sheet, allowances)
    check(dev, params, sheet)


# -- order, seams, tables -------------------------------------------------------------


def test_order_of_pieces_and_ends():
    shown = development_as_dict(elbow(collar_a=3, collar_b=2, thickness=0.0276))
    roles = [one["role"] for one in shown["segments"]]
    assert roles == ["collar", "end_gore", *["middle_gore"] * 3, "end_gore", "collar"]
    assert {one["form"] for one in shown["segments"] if one["role"] != "collar"} == {"cone"}
    ends = [(end["end"], end["diameter"], end["segment"]) for end in shown["free_ends"]]
    assert ends == [("a", 14, 1), ("b", 10, 7)]
    assert len({one["pattern"] for one in shown["segments"]}) == 7


@pytest.mark.parametrize("stagger_seams", [False, True])
def test_seams_lie_where_they_are_asked(stagger_seams):
    dev = elbow(seam_at="throat", stagger_seams=stagger_seams, collar_a=2)
    wanted = ["throat", "heel"] * 3 if stagger_seams else ["throat"] * 6
    assert [one.seam_at for one in dev.segments] == wanted
    for one in dev.segments:
        assert one.seam_length == pytest.approx(one.throat if one.seam_at == "throat" else one.heel)


def test_gore_table_is_read_with_the_larger_diameter():
    rows = [GoreRow(90, None, 12, "standard", 4), GoreRow(90, 12, 60, "standard", 6)]
    for pair in ({"diameter_a": 14, "diameter_b": 10}, {"diameter_a": 10, "diameter_b": 14}):
        dev = elbow(**pair, pieces=None, practice=Practice(gore_rows=rows))
        assert dev.dimensions["pieces"] == 6
        assert dev.dimensions["centerline_radius"] == pytest.approx(21)
    for name in ("diameter_a", "diameter_b"):
        with pytest.raises(CannotBeMade) as refused:
            elbow(**{name: 90, "pieces": None}, practice=Practice(gore_rows=rows))
        assert refused.value.problems[0].field == name


def test_figures_to_warn_about_are_reported():
    names = ("taper_angle", "included_angle", "diameter", "radius_ratio", "throat_radius", "pieces")
    rows = [UsualRange("reducing_elbow", name, None, 0.01, "") for name in names]
    codes = {warning.code for warning in elbow(practice=Practice(usual=rows)).warnings}
    assert codes == {f"{name}_high" for name in names}
    dev = elbow(diameter_a=14, diameter_b=10)
    total = 8 * 21 * math.tan(math.radians(11.25))
    assert dev.dimensions["taper_angle"] == pytest.approx(math.degrees(math.atan(2 / total)))


# -- refusals --------------------------------------------------------------------------


@pytest.mark.parametrize(("name", "value", "may"), bounds_to_try(KINDS["reducing_elbow"]))
def test_bounds_of_each_parameter(name, value, may):
    assert_bound(elbow, KINDS["reducing_elbow"], name, value, may)


@pytest.mark.parametrize(
    ("given_", "field"),
    [
        ({"centerline_radius": 6.9}, "centerline_radius"),
        ({"radius_ratio": 0.5, "thickness": 0.0276}, "radius_ratio"),
        ({"diameter_a": 120, "diameter_b": 1, "angle": 1, "pieces": 2}, "radius_ratio"),
        ({"pieces": 2, "angle": 175}, "pieces"),
        ({"collar_a": 0.05}, "collar_a"),
        ({"collar_b": 0.0999}, "collar_b"),
        ({"centerline_radius": 150}, "centerline_radius"),
        ({"centerline_radius": 20, "radius_ratio": 1.5}, "centerline_radius"),
    ],
)
def test_what_cannot_be_made_names_its_field(given_, field):
    with pytest.raises(GeometryError) as refused:
        elbow(**given_)
    problem = refused.value.problems[0]
    assert problem.field == field
    assert problem.limit in problem.sentence


def test_throat_radius_below_zero_says_its_limit_in_either_unit():
    with pytest.raises(CannotBeMade) as refused:
        elbow(centerline_radius=6.9)
    assert (refused.value.problems[0].value, refused.value.problems[0].limit) == (6.9, "at least 7 in")
    with pytest.raises(CannotBeMade) as refused:
        elbow(diameter_a=355.6, diameter_b=254, centerline_radius=175, unit="mm")
    assert refused.value.problems[0].value == pytest.approx(175)
    assert refused.value.problems[0].limit == "at least 177.8 mm"


@pytest.mark.parametrize(
    ("given_", "fields"),
    [
        ({"diameter_a": None, "angle": None}, {"diameter_a", "angle"}),
        ({"diameter": 3, "pieces": 4.5}, {"diameter", "pieces"}),
        (
            {"seam_at": "top", "stagger_seams": "no", "diameter_b": math.inf},
            {"seam_at", "stagger_seams", "diameter_b"},
        ),
    ],
)
def test_missing_unknown_and_wrong_values_are_all_named(given_, fields):
    with pytest.raises(GeometryError) as refused:
        elbow(**given_)
    assert {problem.field for problem in refused.value.problems} == fields


@pytest.mark.parametrize(
    "params",
    [
        {"diameter_a": 20, "diameter_b": 4, "angle": 90, "pieces": 9, "radius_ratio": 0.5},
        {"diameter_a": 4, "diameter_b": 20, "angle": 90, "pieces": 9, "radius_ratio": 0.5},
        {"diameter_a": 20, "diameter_b": 2, "angle": 30, "pieces": 3, "centerline_radius": 10.5},
        {"diameter_a": 60, "diameter_b": 1, "angle": 5, "pieces": 2, "radius_ratio": 0.6},
    ],
)
def test_the_radius_that_a_refusal_asks_for_is_the_least_that_can_be_made(params):
    with pytest.raises(CannotBeMade) as refused:
        elbow(**params)
    (problem,) = refused.value.problems
    name = "radius_ratio" if "radius_ratio" in params else "centerline_radius"
    assert problem.field == name
    assert problem.limit in problem.sentence and name.replace("_", " ") in problem.sentence
    least = float(problem.limit.removeprefix("at least ").removesuffix(" in"))
    elbow(**params | {name: least})
    with pytest.raises(CannotBeMade):
        elbow(**params | {name: least * 0.999})
