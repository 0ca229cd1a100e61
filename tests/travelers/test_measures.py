"""How segments are formed, how large they are, and what times go by: figures by closed formulas written here."""

from __future__ import annotations

from math import cos, hypot, pi, sin
from types import SimpleNamespace

import pytest

from fittings.geometry import Allowances, Practice, Sheet, develop, development_as_dict
from tests.fittings.drawing.samples import elbow
from travelers.forms import (
    bends_of,
    ends_of,
    finishes_of,
    form_words,
    forms_of,
    is_circle,
    round_sizes,
    seam_place,
    side_lengths,
    sizes_at,
)
from travelers.measures import fitting_measures, segment_measures

T = 0.0276


def box(wide: float, high: float) -> list[list[float]]:
    return [[0, 0], [wide, 0], [wide, high], [0, high]]


def ring(radius: float, z: float, squeeze: float = 1.0) -> list[list[float]]:
    """48 points round an axis and the first again, as drawings in space have them."""
    turns = [2 * pi * k / 48 for k in range(49)]
    return [[radius * cos(turn), squeeze * radius * sin(turn), z] for turn in turns]


def arc(length: float) -> list[list[float]]:
    return [[0.0, 0.0], [length, 0.0]]


def segment(form: str | None = None, **more) -> dict:
    made = {
        "position": 1,
        "role": "pipe",
        "cut_outline": box(10, 4),
        "stretch_out": 10.0,
        "throat": 4.0,
        "heel": 4.0,
        "marks": [],
        "start_angle": 180.0,
    }
    return made | ({"form": form} if form else {}) | more


def cone(large: float, small: float, squeeze: float = 1.0) -> dict:
    """A frustum of those inside diameters; `squeeze` makes its small edge an ellipse in space."""
    mean = [(size + T) / 2 for size in (large, small)]
    return segment(
        "cone",
        role="cone",
        stretch_out=2 * pi * mean[0],
        edge_a=arc(2 * pi * mean[0]),
        edge_b=arc(2 * pi * mean[1]),
        space=[[ring(mean[0], 0), ring(mean[1], 12, squeeze)]],
    )


# -- forms ------------------------------------------------------------------------


def test_a_segment_without_a_form_is_a_cylinder_as_elbows_were():
    development = elbow()
    assert forms_of(development) == ("cylinder",)
    assert round_sizes(development["segments"][0], T) == (14, 14)
    assert sizes_at(development, 2) == (14,)
    assert sizes_at(development, None) == (14,)
    assert ends_of(development) == ("a", "b")


def test_a_cone_has_the_diameters_of_its_round_edges():
    """The circumference on the mean surface is π (D + t)."""
    assert round_sizes(cone(14, 10), T) == (14, 10)
    assert round_sizes(cone(14, 10, squeeze=0.8), T) == (14, None)
    development = {"thickness": T, "segments": [cone(14, 10)], "free_ends": []}
    assert sizes_at(development, 1) == (14, 10)


def test_what_is_not_round_by_itself_is_as_large_as_its_fitting():
    free = [{"end": "a", "diameter": None}, {"end": "b", "diameter": 12.0}]
    braked = segment("brake", throat=None, heel=None)
    development = {"thickness": T, "segments": [braked, segment("flat", stretch_out=None)], "free_ends": free}
    assert [sizes_at(development, position) for position in (1, 2, None)] == [(12.0,)] * 3
    assert sizes_at({"segments": [braked], "free_ends": free[:1]}, 1) == ()


def test_points_on_a_circle_however_it_lies():
    tilted = [[x, y * cos(0.7), y * sin(0.7) + z] for x, y, z in ring(5, 3)]
    assert is_circle(ring(5, 3)) and is_circle(tilted)
    assert not is_circle(ring(5, 3, squeeze=0.9))
    assert not is_circle([[0, 0, 0], [1, 0, 0]])


@pytest.mark.parametrize(
    ("made", "place"),
    [
        (segment(seam_at="side"), "side"),
        (segment(start_angle=72.0), "72°"),
        (segment(start_angle=0.0), "throat"),
        (segment(marks=[{"name": "quarter", "line": arc(1)}]), ""),
        (segment("flat", start_angle=0.0), ""),
        (segment("brake", start_angle=180.0), "height side"),
        (segment("brake", start_angle=270.0), "width side"),
    ],
)
def test_where_a_seam_lies(made, place):
    """A disc has none; round a pipe any place is as good."""
    assert seam_place(made) == place


def test_forms_in_words():
    bends = [{"name": "bend", "line": arc(12), "angle": 5.6}] * 12
    assert form_words(segment("brake", marks=bends)) == "12 bends"
    assert [form_words(segment(form)) for form in ("cylinder", "cone", "flat")] == ["round", "cone", "flat"]
    assert len(bends_of(segment("brake", marks=[*bends, {"name": "side", "line": arc(3)}]))) == 12


def test_the_sides_of_a_branch_are_told_and_those_of_a_mitre_are_not():
    def upright(name, length):
        return {"name": name, "line": [[0, 0], [0, length]]}

    mitre = segment(throat=2.0, heel=6.0, marks=[upright("side", 4.0), upright("side", 4.001)])
    assert side_lengths(mitre) == ()
    branch = segment(throat=7.0, heel=7.0, marks=[upright("throat", 7.0), upright("side", 8.25)])
    assert side_lengths(branch) == (8.25,)
    off_centre = segment(throat=7.0, heel=7.0, marks=[upright("side", 7.5), upright("side", 9.0)])
    assert side_lengths(off_centre) == (9.0, 7.5)
    assert side_lengths(segment("flat", throat=None, heel=None)) == ()


def test_the_finish_of_each_free_end():
    line = SimpleNamespace(end_a="raw", end_b="flange", end_c="")
    assert finishes_of(line, "abc") == {"a": "raw", "b": "flange", "c": "flange"}
    line.end_c = "hem"
    assert finishes_of(line, "abc") == {"a": "raw", "b": "flange", "c": "hem"}
    assert finishes_of(line, "a") == {"a": "raw"}
    assert finishes_of(line, "b") == {"b": "flange"}


# -- measures ---------------------------------------------------------------------


def test_the_cut_runs_round_the_outline_and_its_holes():
    hole = [[2, 1], [4, 1], [4, 3], [2, 3]]
    assert segment_measures(segment())["cut_length"] == 28
    assert segment_measures(segment(holes=[hole]))["cut_length"] == 36


def test_plates_are_cut_and_seamed_each():
    plates = [{"cut_outline": box(5.5, 4), "holes": []}, {"cut_outline": box(5.5, 4)}]
    plates[0]["holes"] = [[[1, 1], [2, 1], [2, 2], [1, 2]]]
    found = segment_measures(segment(plates=plates, seam_length=4.0, holes=[[[0, 0], [9, 0], [9, 9]]]))
    assert found["cut_length"] == 2 * 19 + 4
    assert found["seam_length"] == 8


def test_a_flat_piece_is_only_cut():
    found = segment_measures(segment("flat", stretch_out=None, throat=None, heel=None, seam_length=0.0))
    assert found == {"cut_length": 28, "stretch_out": 0, "bend_length": 0, "seam_length": 0}


def test_bend_lines_are_measured_along():
    marks = [{"name": "bend", "line": [[0, 0], [3, 4]]}, {"name": "bend", "line": [[1, 0], [1, 12]]}]
    assert segment_measures(segment("brake", marks=marks))["bend_length"] == 17


def test_without_a_seam_length_the_seam_is_between_throat_and_heel():
    assert segment_measures(segment(throat=2.0, heel=6.0))["seam_length"] == 4
    assert segment_measures(segment(throat=2.0, heel=6.0, seam_length=5.5))["seam_length"] == 5.5


def test_joints_and_worked_ends_of_a_fitting():
    free = [
        {"end": letter, "edge_length": length} for letter, length in zip("abc", (44, 44, 25), strict=True)
    ]
    tee = {"kind": "tee", "segments": [segment(), segment()], "joint_length": 27.5, "free_ends": free}
    assert fitting_measures(tee, dict.fromkeys("abc", "raw")) == {"joint_length": 27.5, "end_length": 0}
    assert fitting_measures(tee, {"a": "raw", "b": "hem", "c": "hem"})["end_length"] == 69
    saddle = {"kind": "saddle", "segments": [segment()], "joint_length": 0.0, "free_ends": free[1:2]}
    assert fitting_measures(saddle, {"b": "flange"}) == {"joint_length": 0, "end_length": 44}


def test_a_caps_edge_is_turned_whatever_its_finish():
    cap = {"kind": "end_cap", "segments": [segment()], "joint_length": 0.0}
    cap["free_ends"] = [{"end": "a", "edge_length": 44.0}]
    assert fitting_measures(cap, {"a": "raw"})["end_length"] == 44


def test_an_elbow_from_before_the_kinds_is_measured_by_its_edges():
    """Both edges of a plane cut are ellipses of one length; the ends are circles of π (D + t)."""
    development = elbow(pieces=5)
    found = fitting_measures(development, {"a": "flange", "b": "raw"})
    assert found["end_length"] == pytest.approx(pi * (14 + T), rel=1e-6)
    gore = development["segments"][0]["edge_b"]
    length = sum(hypot(x2 - x1, y2 - y1) for (x1, y1), (x2, y2) in zip(gore, gore[1:], strict=False))
    assert found["joint_length"] == pytest.approx(4 * length, rel=1e-6)


def test_points_of_a_circle_may_lie_unevenly():
    angles = [0.0, 0.3, 0.35, 0.4, 1.0, 1.6, 2.1, 2.6, 3.1, 3.6, 4.2, 4.21, 4.8, 5.3, 5.9]
    ring = [(3 * cos(one), 3 * sin(one), 2.0) for one in angles]
    assert is_circle([*ring, ring[0]])
    assert not is_circle([(1.2 * x, y, z) for x, y, z in ring])


def test_a_branch_of_a_wye_is_round_where_it_ends():
    sheet = Sheet("galvanized", 24, T, 1.156)
    params = {"diameter": 12, "branch_diameter": 8, "main_length": 12, "branch_length": 14}
    made = develop("wye", params, sheet=sheet, allowances=Allowances(), practice=Practice())
    main, first, second = development_as_dict(made)["segments"]
    assert round_sizes(main, T) == (pytest.approx(12, abs=0.01), pytest.approx(12, abs=0.01))
    for branch in (first, second):
        assert round_sizes(branch, T) == (None, pytest.approx(8, abs=0.01))
