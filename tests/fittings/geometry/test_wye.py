"""Wyes against closed forms, against the true surfaces found by bisection, and over the whole parameter range.

`Truth` knows nothing of the code under test: a cone that touches the sphere is found by bisection, and where an
element of one surface ends is found by bisection too. Derivations: fixtures/authorities/wye.md.
"""

import json
import math

import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, Phase, example, given, settings
from hypothesis import strategies as st

from fittings.geometry import (
    Allowances,
    CannotBeMade,
    GeometryError,
    ParameterError,
    Practice,
    Sheet,
    develop,
    development_as_dict,
    placed,
)
from tests.cases import cases

from .soundness import MEETS, WITHIN, length_of, to_polyline

THIN = 1e-9  # in
NAMES = {"diameter", "branch_diameter", "angle", "main_length", "branch_length"}
USUAL = {"diameter": 12, "branch_diameter": 8, "angle": 45, "main_length": 10, "branch_length": 20}
CASES = [
    {},
    {"branch_diameter": 12},
    {"branch_diameter": 12, "angle": 90},
    {"branch_diameter": 11.9, "angle": 60},
    {"branch_diameter": 3, "angle": 75, "branch_length": 7},
    {"diameter": 120, "branch_diameter": 60, "angle": 30, "main_length": 90, "branch_length": 180},
    {"diameter": 2, "branch_diameter": 1, "angle": 20, "branch_length": 6},
    {"angle": 90, "branch_diameter": 6, "branch_length": 9},
]


def wye(*, allowances=None, thickness=THIN, stock=(None, None), unit="in", **params):
    sheet = Sheet("galvanized", 24, thickness, 1.156, *stock)
    return develop(
        "wye",
        USUAL | params,
        sheet=sheet,
        allowances=allowances or Allowances(),
        practice=Practice(),
        unit=unit,
    )


class Truth:
    """The mean surfaces of a wye in the fitting's frame, from first principles."""

    def __init__(self, params, thickness=THIN):
        params = USUAL | params
        self.radius = (params["diameter"] + thickness) / 2
        self.end_radius = (params["branch_diameter"] + thickness) / 2
        self.length, self.main_length = params["branch_length"], params["main_length"]
        angle = math.radians(params["angle"])
        self.middle = np.array([0.0, 0.0, self.main_length])
        self.axes = [
            np.array([0.0, 0.0, -1.0]),
            np.array([math.sin(angle), 0.0, math.cos(angle)]),
            np.array([-math.sin(angle), 0.0, math.cos(angle)]),
        ]
        low, high = 0.0, math.pi / 2 - math.atan2(self.end_radius, self.length)
        for _ in range(80):  # the line from the rim, inclined by a, is ρ from the middle of the sphere
            a = (low + high) / 2
            away = self.length * math.sin(a) + self.end_radius * math.cos(a)
            low, high = (a, high) if away < self.radius else (low, a)
        self.tapers = [0.0, a, a]

    def ahead(self, points, which):
        """Distance along the element from the circle where surface `which` touches the sphere."""
        a = self.tapers[which]
        along = (points - self.middle) @ self.axes[which]
        return (along - self.radius * math.sin(a)) / math.cos(a)

    def off(self, points, which):
        """Distance from surface `which`."""
        a, axis = self.tapers[which], self.axes[which]
        apart = points - self.middle
        along = apart @ axis
        away = np.linalg.norm(apart - along[:, None] * axis, axis=1)
        wanted = self.radius if which == 0 else self.end_radius + (self.length - along) * math.tan(a)
        return np.abs(away - wanted) * math.cos(a)

    def turn(self, which, count):
        """Angles round a surface, with those of the two points where all three surfaces meet, (0, ±ρ, z)."""
        two = self.middle + np.array([[0.0, self.radius, 0.0], [0.0, self.radius, 1.0]])
        gap = self.ahead(two, 0) - self.ahead(two, 1)  # linear in z
        meeting = np.array([0.0, self.radius, gap[0] / (gap[0] - gap[1])])
        axis = self.axes[which]
        corner = math.atan2(meeting[1], meeting @ [axis[2], 0.0, -axis[0]])
        return np.union1d(np.linspace(0, 2 * math.pi, count + 1), [corner, 2 * math.pi - corner])

    def elements(self, which, psi):
        """Ends of the elements of a surface at angles psi round its axis: at the joint, at the free end."""
        axis, a = self.axes[which], self.tapers[which]
        across = np.array([axis[2], 0.0, -axis[0]])
        side = np.outer(np.cos(psi), across) + np.outer(np.sin(psi), [0.0, 1.0, 0.0])

        def point(along):
            around = self.radius if which == 0 else self.end_radius + (self.length - along) * math.tan(a)
            return self.middle + along[:, None] * axis + np.reshape(around, (-1, 1)) * side

        far = self.main_length if which == 0 else self.length
        others = [other for other in range(3) if other != which]
        low, high = np.full(len(psi), -100.0 * self.radius), np.full(len(psi), float(far))
        for _ in range(48):
            middle = (low + high) / 2
            at = point(middle)
            rivals = np.maximum(*(self.ahead(at, other) for other in others))
            is_out = self.ahead(at, which) > rivals
            high, low = np.where(is_out, middle, high), np.where(is_out, low, middle)
        return point(high), point(np.full(len(psi), float(far)))


def evenly(edge, count):
    """Points at even steps along a polyline."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(edge, axis=0).T))])
    at = np.linspace(0, along[-1], count)
    return np.column_stack([np.interp(at, along, edge[:, k]) for k in (0, 1)])


# -- closed forms ------------------------------------------------------------


@pytest.mark.parametrize("case", CASES)
def test_area_of_the_main_is_the_integral_of_its_edge(case):
    dev, truth, angle = wye(**case), Truth(case), math.radians((USUAL | case)["angle"])
    radius, a = truth.radius, truth.tapers[1]
    most = (2 * math.pi * math.sin(a) - 4 * math.sin(angle)) / (math.cos(angle) + math.cos(a))
    area = 2 * math.pi * radius * truth.main_length + radius**2 * most
    assert dev.segments[0].net_area == pytest.approx(area, rel=2e-4)
    assert dev.dimensions["taper_angle"] == pytest.approx(math.degrees(a), abs=1e-6)


@pytest.mark.parametrize("angle", [15, 30, 45, 60, 90])
def test_equal_branches_are_mitered_cylinders(angle):
    dev, phi = wye(branch_diameter=12, angle=angle, branch_length=30), math.radians(angle)
    main, branch, _ = dev.segments
    assert branch.form == "cylinder"
    assert branch.throat == pytest.approx(30 - 6 * math.tan(phi / 2), abs=1e-6)
    assert branch.heel == pytest.approx(30 - 6 / math.tan(phi), abs=1e-6)
    assert main.throat == main.heel == pytest.approx(10 - 6 * math.tan(phi / 2), abs=1e-6)
    area = 2 * math.pi * 6 * 30 - 2 * 36 * (math.tan(phi / 2) + 1 / math.tan(phi))
    assert branch.net_area == pytest.approx(area, rel=2e-4)
    x, y = main.edge_b.T
    psi = main.start_angle + x / 6
    assert y == pytest.approx(10 - 6 * np.abs(np.cos(psi)) * math.tan(phi / 2), abs=1e-6)


@pytest.mark.parametrize("angle", [30, 45, 90])
def test_joint_of_equal_branches_is_half_an_ellipse(angle):
    dev, phi = wye(branch_diameter=12, angle=angle, branch_length=30), math.radians(angle)
    t = np.linspace(0, math.pi, 20001)

    def half_ellipse(first, second):
        return length_of(np.column_stack([first * np.cos(t), second * np.sin(t)]))

    crotch = half_ellipse(6, 6 / math.sin(phi))
    with_main = 2 * half_ellipse(6, 6 / math.cos(phi / 2))
    assert dev.joint_length == pytest.approx(crotch + with_main, abs=0.01)


# -- against the true surfaces ---------------------------------------------------


@pytest.mark.parametrize("case", CASES)
def test_areas_and_edges_agree_with_a_fine_mesh_to_1_in_1000(case):
    dev, truth = wye(**case), Truth(case)
    for position, which in ((1, 0), (2, 1), (3, 2)):
        segment = dev.segments[position - 1]
        joint, free = truth.elements(which, truth.turn(which, 2880))
        rows = joint[None] + np.linspace(0, 1, 9)[:, None, None] * (free - joint)[None]
        a, b, c, d = rows[:-1, :-1], rows[:-1, 1:], rows[1:, :-1], rows[1:, 1:]
        area = sum(
            np.linalg.norm(np.cross(q - p, r - p), axis=2).sum() / 2 for p, q, r in ((a, b, c), (d, c, b))
        )
        assert segment.net_area == pytest.approx(area, rel=1e-3)
        own_joint, own_free = (
            (segment.edge_b, segment.edge_a) if which == 0 else (segment.edge_a, segment.edge_b)
        )
        assert length_of(own_joint) == pytest.approx(length_of(joint), rel=1e-3)
        assert length_of(own_free) == pytest.approx(length_of(free), rel=1e-3)


@pytest.mark.parametrize("case", CASES)
def test_the_true_joints_lie_on_both_surfaces(case):
    # the bisection of `Truth` itself, by distances from the axes: what ends where another begins lies on it too
    truth = Truth(case)
    psi = np.linspace(0, 2 * math.pi, 721)
    for which in range(3):
        joint, _ = truth.elements(which, psi)
        others = np.minimum(*(truth.off(joint, other) for other in range(3) if other != which))
        assert others.max() < 1e-6 * truth.radius
        assert truth.off(joint, which).max() < 1e-9 * truth.radius


def check(dev, truth):
    """Everything that a right development of a wye satisfies."""
    assert [segment.role for segment in dev.segments] == ["main", "branch", "branch"]
    main, first, second = dev.segments
    true_joints = [truth.elements(which, truth.turn(which, 600))[0] for which in (0, 1)]
    true_joints.append(true_joints[1] * [-1, -1, 1])  # turned by 180° about the main's axis
    for which, segment, joint, free in (
        (0, main, main.edge_b, main.edge_a),
        (1, first, first.edge_a, first.edge_b),
    ):
        joint = placed(dev, which + 1, evenly(joint, 60))
        free = placed(dev, which + 1, evenly(free, 12))
        assert truth.off(np.vstack([joint, free]), which).max() < WITHIN
        end = truth.middle + truth.axes[which] * (truth.main_length if which == 0 else truth.length)
        assert np.abs((free - end) @ truth.axes[which]).max() < WITHIN
        assert to_polyline(joint, true_joints[which]).max() < WITHIN
        others = (to_polyline(joint, true_joints[other]) for other in range(3) if other != which)
        assert np.minimum(*others).max() < MEETS
        check_outlines(segment)
    some = second.edge_a[::25]
    assert placed(dev, 3, some) == pytest.approx(placed(dev, 2, some) * [-1, -1, 1], abs=1e-9)
    assert second.edge_a == pytest.approx(first.edge_a)
    assert second.net_outline == pytest.approx(first.net_outline)
    check_isometry(dev, truth)
    with_main = length_of(main.edge_b)
    crotch = dev.joint_length - with_main
    assert length_of(first.edge_a) == pytest.approx(with_main / 2 + crotch, abs=MEETS)
    assert dev.net_area == pytest.approx(main.net_area + 2 * first.net_area)


def check_isometry(dev, truth):
    """A right cone unrolls to a sector: its rulings keep their length and its round end becomes an arc."""
    branch, a = dev.segments[1], truth.tapers[1]
    if branch.form == "cylinder":
        return
    edge_a, edge_b = branch.edge_a[::15], branch.edge_b[::15]
    low, high = placed(dev, 2, edge_a), placed(dev, 2, edge_b)
    rulings = np.hypot(*(edge_b - edge_a).T)
    assert np.linalg.norm(high - low, axis=1) == pytest.approx(rulings, abs=1e-3)
    rim = np.hypot(*(branch.edge_b[-1] - branch.edge_b[0]))
    radius = truth.end_radius / math.sin(a)
    assert rim == pytest.approx(2 * radius * math.sin(math.pi * math.sin(a)), abs=2e-3)


def check_outlines(segment):
    net, cut = shapely.Polygon(segment.net_outline), shapely.Polygon(segment.cut_outline)
    for outline in (net, cut):
        assert outline.is_valid and outline.exterior.is_ccw
    assert cut.buffer(2e-4).covers(net)
    assert segment.net_area == pytest.approx(net.area, rel=1e-9)
    assert segment.cut_area == pytest.approx(cut.area, rel=1e-9) or segment.plates
    for plate in segment.plates:
        assert shapely.Polygon(plate.cut_outline).is_valid


PARAMS = st.builds(
    lambda diameter, ratio, angle, main, branch: {
        "diameter": diameter,
        "branch_diameter": min(diameter, max(1.0, diameter * ratio)),
        "angle": angle,
        "main_length": min(240.0, diameter * main),
        "branch_length": min(240.0, diameter * branch),
    },
    st.one_of(st.floats(1, 120), st.floats(4, 24)),
    st.one_of(st.floats(0.1, 1), st.just(1.0), st.floats(0.99, 1)),
    st.one_of(st.floats(0.5, 90), st.sampled_from([30, 45, 60, 90])),
    st.floats(0.2, 3),
    st.floats(0.3, 5),
)
ALLOWANCES = st.builds(
    Allowances,
    lap=st.floats(0, 1.5),
    edge_a=st.floats(0, 1),
    edge_b=st.floats(0, 1),
    end_a=st.one_of(st.none(), st.floats(0, 2)),
    end_c=st.one_of(st.none(), st.floats(0, 2)),
)


@settings(
    max_examples=cases(500),
    deadline=None,
    derandomize=True,
    phases=[Phase.explicit, Phase.generate],
    suppress_health_check=[HealthCheck.too_slow],
)
@given(PARAMS, ALLOWANCES, st.floats(0.01, 0.14), st.sampled_from([(None, None), (120, 60)]))
@example(
    USUAL | {"angle": 90, "branch_length": 6.5, "branch_diameter": 1}, Allowances(), 0.0276, (None, None)
)
@example(
    USUAL | {"branch_diameter": 12, "angle": 1, "branch_length": 240.0}, Allowances(), 0.0276, (None, None)
)
def test_whatever_can_be_made_is_right_and_whatever_not_names_its_field(params, allowances, thickness, stock):
    truth = None
    try:
        dev = wye(allowances=allowances, thickness=thickness, stock=stock, **params)
    except GeometryError as error:
        assert {problem.field for problem in error.problems} <= {"branch_length", "main_length"}
        assert all(problem.limit in problem.sentence for problem in error.problems)
        return
    truth = Truth(params, thickness)
    check(dev, truth)
    for unit in ("in", "mm"):
        json.dumps(development_as_dict(dev, unit), allow_nan=False)


@pytest.mark.parametrize("case", CASES)
def test_usual_cases_are_right(case):
    check(wye(**case), Truth(case))


def test_branches_share_a_pattern_unless_their_free_ends_differ():
    one = wye(allowances=Allowances(lap=0.5, edge_a=0.25, end_b=0.5))
    assert one.segments[1].pattern == one.segments[2].pattern
    assert one.segments[1].net_outline is one.segments[2].net_outline
    other = wye(allowances=Allowances(lap=0.5, edge_a=0.25, end_b=0.5, end_c=0.75))
    assert other.segments[1].pattern != other.segments[2].pattern
    assert other.segments[2].cut_area > other.segments[1].cut_area


def test_each_free_end_gets_its_own_allowance():
    dev = wye(branch_diameter=12, allowances=Allowances(end_a=0.25, end_b=0.5, end_c=0.75))
    main, first, second = dev.segments
    assert main.cut_outline[:, 1].min() == pytest.approx(-0.25)
    for segment, width in ((first, 0.5), (second, 0.75)):
        beyond = segment.cut_outline[:, 1].max() - segment.net_outline[:, 1].max()
        assert beyond == pytest.approx(width)


def test_free_ends_and_dimensions_are_told():
    shown = development_as_dict(wye(thickness=0.0276))
    ends = [(end["end"], end["title"], end["diameter"], end["segment"]) for end in shown["free_ends"]]
    assert ends == [("a", "Main", 12, 1), ("b", "Branch 1", 8, 2), ("c", "Branch 2", 8, 3)]
    assert shown["free_ends"][1]["edge_length"] == pytest.approx(math.pi * 8.0276, abs=1e-4)
    assert shown["dimensions"]["included_angle"] == 90
    assert shown["dimensions"]["branch_spread"] == pytest.approx(
        2 * 20 * math.sin(math.radians(45)), abs=1e-4
    )


# -- refusals ----------------------------------------------------------------


def refused(**params):
    with pytest.raises(GeometryError) as caught:
        wye(**params)
    return {problem.field: problem for problem in caught.value.problems}


def test_a_branch_larger_than_the_main_is_refused():
    problem = refused(branch_diameter=12.5)["branch_diameter"]
    assert (problem.value, problem.limit) == (12.5, "at most 12 in")
    assert (
        refused(branch_diameter=317.5, diameter=304.8, main_length=254, branch_length=508, unit="mm")[
            "branch_diameter"
        ].limit
        == "at most 304.8 mm"
    )
    wye(branch_diameter=12)


@pytest.mark.parametrize(
    ("case", "least"),
    [
        ({"branch_diameter": 12, "angle": 90}, 6.0),  # the rim on the main
        ({"branch_diameter": 12, "angle": 30}, 6 / math.tan(math.radians(30))),  # on the other branch
        ({"branch_diameter": 8, "angle": 90}, 6.0),
        ({"branch_diameter": 8, "angle": 60}, (6 - 4 * 0.5) / math.sin(math.radians(60))),  # on the main
        ({"branch_diameter": 8, "angle": 45}, math.sqrt(36 - 16)),  # the rim on the sphere
    ],
)
def test_a_branch_that_ends_in_the_junction_is_refused(case, least):
    problem = refused(**case, branch_length=least - 0.01)["branch_length"]
    assert float(problem.limit.removeprefix("more than ").removesuffix(" in")) == pytest.approx(
        least, abs=1e-4
    )
    assert "cuts into the junction" in problem.sentence
    wye(**case, branch_length=least + 0.01)


def test_a_main_that_ends_in_the_junction_is_refused():
    lowest = 6 * math.tan(math.radians(22.5))  # two equal mitered cylinders
    problem = refused(branch_diameter=12, main_length=lowest - 0.01)["main_length"]
    assert float(problem.limit.removeprefix("more than ").removesuffix(" in")) == pytest.approx(
        lowest, abs=1e-4
    )
    wye(branch_diameter=12, main_length=lowest + 0.01)


@pytest.mark.parametrize(
    ("name", "low", "high"),
    [
        ("diameter", 1, 120),
        ("branch_diameter", 1, 120),
        ("main_length", 0, 240),
        ("branch_length", 0, 240),
        ("angle", 0, 90),
    ],
)
def test_limits_of_each_parameter(name, low, high):
    for value in (low - 1e-3, high + 1e-3, "12", True, [], math.nan):
        with pytest.raises(ParameterError) as caught:
            wye(**{name: value})
        assert [problem.field for problem in caught.value.problems] == [name]
    for value in (low, low + 1e-6, high - 1e-6, high):
        try:
            wye(**{name: value})
        except CannotBeMade as error:
            assert {problem.field for problem in error.problems} <= NAMES
        except ParameterError as error:
            assert value == low == 0 and [problem.field for problem in error.problems] == [name]


def test_unknown_and_missing_fields_are_named():
    assert set(refused(lenght=3)) == {"lenght"}
    with pytest.raises(ParameterError) as caught:
        develop(
            "wye",
            {},
            sheet=Sheet("galvanized", 24, 0.0276, 1.156),
            allowances=Allowances(),
            practice=Practice(),
        )
    assert {problem.field for problem in caught.value.problems} == NAMES - {"angle"}


def test_the_angle_left_out_is_45():
    shown = dict(USUAL)
    del shown["angle"]
    dev = develop(
        "wye", shown, sheet=Sheet("galvanized", 24, THIN, 1.156), allowances=Allowances(), practice=Practice()
    )
    assert dev.dimensions["angle"] == pytest.approx(45)
