"""Conical tees against closed forms, against a cone and a cylinder made from first principles, over the whole range.

`Truth` knows nothing of the code under test: where an element of the cone leaves the run is found by bisection on the
distance from the run's axis. Derivations: fixtures/authorities/conical_tee.md.
"""

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
    GeometryError,
    Practice,
    Sheet,
    UsualRange,
    develop,
    development_as_dict,
    placed,
)
from tests.cases import cases
from tests.fittings.geometry.cones import assert_laid_flat, finer
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

USUAL = {"diameter": 14, "base_diameter": 10, "branch_diameter": 8, "length": 30, "branch_length": 15}
SHAPES = [
    {},
    {"angle": 60, "collar": 2},
    {"angle": 45, "length": 48, "branch_length": 20, "branch_at": 18},
    {"base_diameter": 6, "branch_diameter": 3, "branch_length": 9},
    {
        "diameter": 60,
        "base_diameter": 40,
        "branch_diameter": 30,
        "length": 120,
        "branch_length": 60,
        "angle": 75,
    },
    {"diameter": 2, "base_diameter": 1.5, "branch_diameter": 1, "length": 6, "branch_length": 2.5},
    {"base_diameter": 13, "branch_diameter": 12.5, "branch_length": 30},
]
TURN = 2 * math.pi


def tee(
    *,
    allowances=None,
    thickness=THIN,
    practice=None,
    unit="in",
    kind="conical_tee",
    stock=(None, None),
    **params,
):
    return develop(
        kind,
        (USUAL if kind == "conical_tee" else {}) | params,
        sheet=Sheet("galvanized", 24, thickness, 1.156, *stock),
        allowances=allowances or Allowances(),
        practice=practice or Practice(),
        unit=unit,
    )


class Truth:
    """The mean surfaces of a conical tee in the fitting's frame, from first principles."""

    def __init__(self, params, thickness=THIN):
        params = USUAL | params
        angle = math.radians(params.get("angle", 90))
        self.run = (params["diameter"] + thickness) / 2
        self.length, self.far = params["length"], params["branch_length"]
        at = params.get("branch_at")
        self.middle = np.array([0.0, 0.0, self.length / 2 if at is None else at])
        self.axis = np.array([math.sin(angle), 0.0, math.cos(angle)])
        self.crotch = np.array([-math.cos(angle), 0.0, math.sin(angle)])
        self.aside = np.cross(self.axis, self.crotch)
        crown = self.run / math.sin(angle)
        base, end = ((params[name] + thickness) / 2 for name in ("base_diameter", "branch_diameter"))
        self.slope = (base - end) / (self.far - crown)
        self.wide = base + crown * self.slope  # where the axes cross

    def point(self, t, along):
        around = self.wide - self.slope * along
        side = np.outer(np.cos(t), self.crotch) + np.outer(np.sin(t), self.aside)
        return self.middle + along[:, None] * self.axis + around[:, None] * side

    def elements(self, t):
        """Ends of the elements at t: the last crossing of the run, and the free end."""
        first, last = (self.point(t, np.full(len(t), end)) for end in (0.0, 1.0))
        way = (last - first)[:, :2]
        foot = -np.einsum("ij,ij->i", first[:, :2], way) / np.einsum(
            "ij,ij->i", way, way
        )  # deepest in the run
        low, high = foot, foot + 500.0 * self.run
        for _ in range(56):
            middle = (low + high) / 2
            inside = np.hypot(*self.point(t, middle)[:, :2].T) < self.run
            low, high = np.where(inside, middle, low), np.where(inside, high, middle)
        return self.point(t, high), self.point(t, np.full(len(t), self.far))

    def off_run(self, points):
        return np.abs(np.hypot(points[:, 0], points[:, 1]) - self.run)

    def off_cone(self, points):
        apart = points - self.middle
        along = apart @ self.axis
        away = np.linalg.norm(apart - along[:, None] * self.axis, axis=1)
        return np.abs(away - self.wide + self.slope * along) / math.hypot(1, self.slope)


# -- closed forms --------------------------------------------------------------


@pytest.mark.parametrize("angle", [90, 60, 35])
@pytest.mark.parametrize("at", [None, 15])
def test_a_branch_as_wide_as_its_base_makes_a_plain_tee(angle, at):
    common = {"length": 60, "branch_length": 30, "angle": angle, "branch_at": at, "thickness": 0.0276}
    common |= {"allowances": Allowances(lap=0.5, edge_a=0.25, end_c=0.375)}
    mine = tee(base_diameter=8, branch_diameter=8, **common)
    plain = tee(kind="tee", diameter=14, branch_diameter=8, **common)
    for one, other in zip(mine.segments, plain.segments, strict=True):
        for name in ("role", "form", "seam_at", "start_angle"):
            assert getattr(one, name) == getattr(other, name)
        for name in ("stretch_out", "throat", "heel", "seam_length"):
            assert getattr(one, name) == pytest.approx(getattr(other, name), rel=1e-9, abs=1e-9)
        assert one.net_area == pytest.approx(other.net_area, rel=1e-4)
        assert one.frame == pytest.approx(other.frame, abs=1e-9)
    assert to_polyline(mine.segments[0].holes[0], plain.segments[0].holes[0]).max() < WITHIN


def test_a_slight_taper_is_near_a_plain_tee():
    mine = tee(base_diameter=8.0001, branch_diameter=8, angle=60, thickness=0.0276)
    plain = tee(
        kind="tee", diameter=14, branch_diameter=8, length=30, branch_length=15, angle=60, thickness=0.0276
    )
    assert mine.segments[1].form == "cone"
    for name in ("throat", "heel", "seam_length"):
        assert getattr(mine.segments[1], name) == pytest.approx(getattr(plain.segments[1], name), abs=1e-3)
    assert mine.net_area == pytest.approx(plain.net_area, rel=2e-4)


def test_elements_of_a_square_cone_in_closed_form():
    # at t = 0 the element lies in the plane of both axes and meets the crown, X = R; at the side, t = 90°, it meets
    # the circle X² + Y² = R²: (p − q x)² + x² = R²
    run, base, end, far = 7, 5, 4, 15
    q = (base - end) / (far - run)
    p = base + q * run
    throat = (far - run) * math.hypot(1, q)
    x = (p * q + math.sqrt(run**2 * (1 + q * q) - p * p)) / (1 + q * q)
    branch = tee().segments[1]
    assert (branch.throat, branch.heel) == pytest.approx((throat, throat), abs=1e-6)
    side = next(mark for mark in branch.marks if mark.name == "side")
    assert np.linalg.norm(side.line[1] - side.line[0]) == pytest.approx(
        (far - x) * math.hypot(1, q), abs=1e-6
    )
    assert tee().dimensions["hole_width"] == pytest.approx(2 * run * math.asin((p - q * x) / run), abs=1e-4)
    assert tee().dimensions["hole_length"] == pytest.approx(2 * base, abs=1e-4)
    assert tee().dimensions["taper_angle"] == pytest.approx(math.degrees(math.atan(q)))


@pytest.mark.parametrize("angle", [45, 60, 75])
def test_throat_and_heel_of_a_lateral_by_the_law_of_sines(angle):
    # in the plane of both axes: the sides of the cone meet the crown at b + a (crotch) and b − a (heel)
    dev = tee(angle=angle, length=80, branch_length=22)
    b, run, base, end = math.radians(angle), 7, 5, 4
    crown = run / math.sin(b)
    a = math.atan((base - end) / (22 - crown))
    slant = (22 - crown) / math.cos(a)
    # from the base circle's rim to the crown: the base radius is seen at 90° − b, the side stands at b ± a
    throat = slant - base * math.sin(math.pi / 2 - b) / math.sin(b + a)
    heel = slant + base * math.sin(math.pi / 2 - b) / math.sin(b - a)
    assert (dev.segments[1].throat, dev.segments[1].heel) == pytest.approx((throat, heel), abs=1e-6)


# -- against the true surfaces -----------------------------------------------------


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("thickness", [THIN, 0.0478])
def test_branch_is_the_true_cone_laid_flat_and_the_hole_its_shadow(shape, thickness):
    dev, truth = tee(**shape, thickness=thickness), Truth(shape, thickness)
    run, branch = dev.segments[:2]
    t = math.pi + np.linspace(0, TURN, 4001)
    low, high = truth.elements(t)
    assert truth.off_cone(low).max() < 1e-6
    assert_laid_flat(branch, low, high, WITHIN)
    assert branch.net_area == pytest.approx(triangles_area(low, high), rel=1e-3)
    flat = np.column_stack([truth.run * (np.arctan2(low[:, 1], low[:, 0]) + math.pi), low[:, 2]])
    assert to_polyline(flat[::10], np.vstack([run.holes[0], run.holes[0][:1]])).max() < WITHIN
    hole = shapely.Polygon(flat).area
    assert run.net_area == pytest.approx(TURN * truth.run * truth.length - hole, rel=1e-3)


@pytest.mark.parametrize("shape", SHAPES)
def test_pieces_meet_in_space(shape):
    dev = tee(**shape)
    hole = dev.segments[0].holes[0]
    hole = placed(dev, 1, finer(np.vstack([hole, hole[:1]]), 600))
    joint = placed(dev, 2, finer(dev.segments[1].edge_a, 600))
    assert to_polyline(joint[::3], hole).max() < MEETS
    assert to_polyline(hole[::3], joint).max() < MEETS
    joints = length_of(hole)
    if len(dev.segments) == 3:
        one, other = (
            placed(dev, k, finer(edge, 600))
            for k, edge in ((2, dev.segments[1].edge_b), (3, dev.segments[2].edge_a))
        )
        assert to_polyline(one[::3], other).max() < MEETS
        joints += length_of(other)
    assert dev.joint_length == pytest.approx(joints, abs=MEETS)


def check(dev, params, sheet, count=720):
    truth = Truth(params, sheet.thickness_in)
    branch = dev.segments[1]
    joint, free = (
        placed(dev, 2, points[:: max(1, len(points) // count)])
        for points, count in ((finer(branch.edge_a, 60), 60), (finer(branch.edge_b, 60), 20))
    )
    assert truth.off_cone(joint).max() < WITHIN and truth.off_run(joint).max() < MEETS
    assert truth.off_cone(free).max() < WITHIN
    assert np.abs((free - truth.middle) @ truth.axis - truth.far).max() < WITHIN
    assert (joint[:, 0] > -WITHIN).all()
    low, high = truth.elements(math.pi + np.linspace(0, TURN, count + 1))
    assert length_of(branch.edge_a) == pytest.approx(length_of(low), rel=1e-3, abs=MEETS)
    assert length_of(branch.edge_b) == pytest.approx(length_of(high), rel=1e-3, abs=MEETS)
    chords = 0.002 * (length_of(low) + length_of(high))
    assert branch.net_area == pytest.approx(triangles_area(low, high), rel=1e-3, abs=chords)
    for hole in dev.segments[0].holes:
        rim = placed(dev, 1, hole)
        assert truth.off_cone(rim).max() < WITHIN
        assert length_of(np.vstack([hole, hole[:1]])) == pytest.approx(
            length_of(branch.edge_a), abs=2 * MEETS
        )


PARAMS = st.builds(
    lambda diameter, base, branch, angle, reach, length, more: (
        {
            "diameter": diameter,
            "base_diameter": min(diameter, max(1.0, diameter * base)),
            "branch_diameter": min(diameter, max(1.0, diameter * base * branch)),
            "angle": angle,
            "branch_length": min(240.0, reach * diameter / 2 / math.sin(math.radians(angle))),
            "length": min(240.0, length * diameter),
        }
        | more
    ),
    st.one_of(st.floats(1, 120), st.floats(4, 24)),
    st.one_of(st.floats(0.1, 1), st.floats(0.3, 0.9)),
    st.one_of(st.floats(0.2, 1), st.floats(0.7, 1), st.just(1.0)),
    st.one_of(st.just(90.0), st.floats(10, 90), st.floats(40, 90)),
    st.one_of(st.floats(1.01, 6), st.floats(1.5, 5)),
    st.one_of(st.floats(1, 8), st.floats(3, 8)),
    st.fixed_dictionaries({"collar": st.one_of(st.just(0.0), st.floats(0.1, 12))}),
)


@settings(
    max_examples=cases(500),
    deadline=None,
    derandomize=True,
    phases=[Phase.explicit, Phase.generate],
    suppress_health_check=[HealthCheck.too_slow],
)
@given(PARAMS, ALLOWANCES, SHEETS)
@example(
    USUAL | {"diameter": 8, "branch_length": 400 / 25.4}, Allowances(lap=0.5), Sheet("x", 24, 0.03, 1.156)
)
def test_whatever_can_be_made_is_right_and_whatever_not_names_its_field(params, allowances, sheet):
    try:
        dev = develop("conical_tee", params, sheet=sheet, allowances=allowances, practice=Practice())
    except GeometryError as error:
        fields = {problem.field for problem in error.problems}
        assert fields <= {"base_diameter", "branch_diameter", "branch_length", "length"}
        assert all(problem.limit in problem.sentence for problem in error.problems)
        check_refusal(fields, params, sheet)
        return
    assert_sound(dev, sheet, allowances)
    check(dev, params, sheet)


def check_refusal(fields, params, sheet):
    """It really cannot be made."""
    if params["branch_diameter"] > params["base_diameter"] or params["base_diameter"] > params["diameter"]:
        return
    crown = (params["diameter"] + sheet.thickness_in) / 2 / math.sin(math.radians(params["angle"]))
    if fields == {"branch_length"} and params["branch_length"] <= crown + 0.0011:
        return
    truth = Truth(params, sheet.thickness_in)
    sphere = truth.wide / math.hypot(1, truth.slope)
    if fields == {"base_diameter"}:
        assert sphere > truth.run
    else:
        low, _ = truth.elements(np.linspace(0, TURN, 7201))
        if fields == {"branch_length"}:
            assert ((low - truth.middle) @ truth.axis).max() > truth.far - 0.002
        else:
            assert low[:, 2].min() < 0.002 or low[:, 2].max() > truth.length - 0.002


@pytest.mark.parametrize("angle", [90, 60])
@pytest.mark.parametrize("short_of", [0, 1e-7, 1e-4, 0.01])
def test_a_cone_that_touches_the_sides_of_the_run(angle, short_of):
    # the sphere in the cone as large as the one in the run: found by bisection on the base
    low, high = 8.0, 14.0
    for _ in range(60):
        middle = (low + high) / 2
        truth = Truth({"base_diameter": middle, "angle": angle, "length": 60, "branch_length": 24})
        low, high = (middle, high) if truth.wide / math.hypot(1, truth.slope) < truth.run else (low, middle)
    params = USUAL | {"base_diameter": low - short_of, "angle": angle, "length": 60, "branch_length": 24}
    check(tee(**params), params, Sheet("x", 24, THIN, 1), count=14400)  # the joint has corners
    with pytest.raises(CannotBeMade) as refused:
        tee(**(params | {"base_diameter": low + 0.001}))
    problem = refused.value.problems[0]
    assert problem.field == "base_diameter"
    assert float(problem.limit.split()[2]) == pytest.approx(low, abs=1e-4)


# -- ends, allowances, warnings ----------------------------------------------------------


def test_ends_pieces_and_dimensions_are_told():
    shown = development_as_dict(tee(collar=3, thickness=0.0276))
    assert [one["role"] for one in shown["segments"]] == ["run", "branch", "collar"]
    ends = [(end["end"], end["title"], end["diameter"], end["segment"]) for end in shown["free_ends"]]
    assert ends == [("a", "Run end A", 14, 1), ("b", "Run end B", 14, 1), ("c", "Branch", 8, 3)]
    assert shown["free_ends"][2]["edge_length"] == pytest.approx(math.pi * 8.0276, abs=1e-4)
    for name in ("diameter", "base_diameter", "branch_diameter", "length", "branch_length", "collar"):
        assert shown["dimensions"][name] == (USUAL | {"collar": 3})[name]
    assert shown["dimensions"]["branch_at"] == 15
    assert [end["segment"] for end in development_as_dict(tee())["free_ends"]] == [1, 1, 2]


def test_each_edge_gets_its_own_allowance():
    allowances = Allowances(edge_a=0.2, edge_b=0.3, end_a=0.5, end_b=0.6, end_c=0.75)
    run, branch, collar = tee(collar=3, allowances=allowances).segments
    assert np.ptp(run.cut_outline[:, 1]) == pytest.approx(30 + 0.5 + 0.6)
    assert np.ptp(collar.cut_outline[:, 1]) == pytest.approx(3 + 0.2 + 0.75)
    around = length_of(branch.edge_a), length_of(branch.edge_b)
    assert branch.cut_area - branch.net_area == pytest.approx(around[0] * 0.2 + around[1] * 0.3, rel=0.1)
    bare = tee(allowances=allowances).segments[1]
    assert bare.cut_area - bare.net_area == pytest.approx(around[0] * 0.2 + around[1] * 0.75, rel=0.1)


def test_figures_to_warn_about_are_reported():
    names = ("taper_angle", "included_angle", "diameter", "branch_ratio", "branch_angle", "length")
    rows = [UsualRange("conical_tee", name, None, 0.01, "") for name in names]
    codes = {warning.code for warning in tee(practice=Practice(usual=rows)).warnings}
    assert codes == {f"{name}_high" for name in names}


# -- refusals --------------------------------------------------------------------------


@pytest.mark.parametrize(("name", "value", "may"), bounds_to_try(KINDS["conical_tee"]))
def test_bounds_of_each_parameter(name, value, may):
    assert_bound(tee, KINDS["conical_tee"], name, value, may)


@pytest.mark.parametrize(
    ("given_", "field", "limit"),
    [
        ({"branch_diameter": 10.5}, "branch_diameter", "at most 10 in"),
        ({"base_diameter": 14.5}, "base_diameter", "at most 14 in"),
        ({"branch_length": 6.9}, "branch_length", "more than 7 in"),
        ({"branch_length": 7}, "branch_length", "more than 7 in"),
        ({"length": 9.9}, "length", "more than 10 in"),
        ({"branch_at": 4.9}, "branch_at", "more than 5 and less than 25 in"),
        ({"branch_at": 25.1}, "branch_at", "more than 5 and less than 25 in"),
        ({"collar": 0.05}, "collar", "0, or at least 0.1 in"),
    ],
)
def test_what_cannot_be_made_names_its_field_and_limit(given_, field, limit):
    with pytest.raises(CannotBeMade) as refused:
        tee(**given_)
    (problem,) = refused.value.problems
    assert (problem.field, problem.value, problem.limit) == (field, given_[field], limit)
    assert limit in problem.sentence


def test_the_least_branch_length_of_a_lateral_can_be_made():
    params = {"angle": 45, "length": 60, "base_diameter": 8, "branch_diameter": 7.5}
    with pytest.raises(CannotBeMade) as refused:
        tee(**params, branch_length=13)
    problem = refused.value.problems[0]
    assert problem.field == "branch_length"
    least = float(problem.limit.split()[2])
    assert least > 13
    assert tee(**params, branch_length=least + 0.001).segments
    with pytest.raises(CannotBeMade):
        tee(**params, branch_length=least - 0.01)


def test_sentences_speak_the_unit_that_was_asked():
    with pytest.raises(CannotBeMade) as refused:
        tee(**{name: 25.4 * value for name, value in (USUAL | {"branch_length": 6}).items()}, unit="mm")
    problem = refused.value.problems[0]
    assert problem.value == pytest.approx(152.4)
    assert problem.limit == "more than 177.8 mm"


@pytest.mark.parametrize(
    ("given_", "fields"),
    [
        ({"diameter": None, "length": None}, {"diameter", "length"}),
        ({"branch_offset": 1, "angle": "steep"}, {"branch_offset", "angle"}),
        ({"collar": -1, "base_diameter": math.nan}, {"collar", "base_diameter"}),
    ],
)
def test_missing_unknown_and_wrong_values_are_all_named(given_, fields):
    with pytest.raises(GeometryError) as refused:
        tee(**given_)
    assert {problem.field for problem in refused.value.problems} == fields
