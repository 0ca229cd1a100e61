"""The shop's first table of usual ranges, of every kind: silent on usual work, and warning with source of unusual."""

import pytest

from fittings import tables
from fittings.developing import develop_for
from fittings.geometry import KINDS

ELBOW = {"diameter": 14, "angle": 90}
OFFSET = {"diameter": 12, "offset": 18, "angle": 30}
TEE = {"diameter": 14, "branch_diameter": 8, "angle": 90, "length": 24, "branch_length": 14}
SADDLE = {"diameter": 20, "branch_diameter": 8, "angle": 90, "branch_length": 18}
SQUARE = {"width": 20, "height": 12, "diameter": 14, "length": 12}
CONICAL = TEE | {"base_diameter": 11}
WYE = {"diameter": 14, "branch_diameter": 10, "angle": 30, "main_length": 20, "branch_length": 26}
REDUCER = {"diameter_a": 14, "diameter_b": 10, "length": 8}
REDUCING = {"diameter_a": 14, "diameter_b": 10, "angle": 90}
USUAL = [
    ("gored_elbow", ELBOW),
    ("gored_elbow", ELBOW | {"angle": 45}),
    ("gored_elbow", ELBOW | {"diameter": 60}),
    ("reducer", REDUCER),
    ("reducer", {"diameter_a": 10, "diameter_b": 12, "length": 6}),
    ("offset", OFFSET),
    ("end_cap", {"diameter": 14, "depth": 1}),
    ("end_cap", {"diameter": 14, "depth": 1.5, "construction": "ring"}),
    ("tee", TEE),
    ("tee", TEE | {"branch_diameter": 14}),
    ("tee", TEE | {"angle": 45, "length": 36, "branch_length": 20}),
    ("saddle", SADDLE),
    ("square_to_round", SQUARE),
    ("pipe", {"diameter": 14, "length": 48}),
    ("conical_tee", CONICAL),
    ("wye", WYE),
    ("reducing_elbow", REDUCING),
]
UNUSUAL = [
    ("gored_elbow", ELBOW | {"diameter": 3}, "diameter_low"),
    ("gored_elbow", ELBOW | {"radius_ratio": 0.8}, "radius_ratio_low"),
    ("gored_elbow", ELBOW | {"pieces": 10}, "pieces_high"),
    ("gored_elbow", ELBOW | {"pieces": 3}, "gore_angle_high"),
    ("reducer", REDUCER | {"length": 7}, "taper_angle_high"),  # atan(2/7) = 15.9°
    ("reducer", REDUCER | {"diameter_b": 13, "length": 3.5}, "length_low"),
    ("offset", {"diameter": 12, "offset": 40, "angle": 70}, "offset_angle_high"),
    ("end_cap", {"diameter": 30, "depth": 1}, "diameter_high"),
    ("end_cap", {"diameter": 14, "depth": 0.5}, "depth_low"),
    ("tee", TEE | {"branch_diameter": 2}, "branch_ratio_low"),
    ("tee", TEE | {"angle": 25, "length": 60, "branch_length": 40}, "branch_angle_low"),
    ("saddle", SADDLE | {"angle": 25, "branch_length": 50}, "branch_angle_low"),
    ("square_to_round", SQUARE | {"length": 4}, "slope_angle_high"),  # (20 - 14) / 2 over 4: 36.9°
    ("pipe", {"diameter": 14, "length": 72}, "length_high"),
    ("wye", WYE | {"angle": 60}, "branch_angle_high"),
    ("reducing_elbow", REDUCING | {"diameter_a": 20, "diameter_b": 8, "angle": 30}, "included_angle_high"),
]


def developed(kind, params, **changes):
    return develop_for(kind=kind, material="galvanized", params=params, **{"gauge": 24, **changes})


def test_every_kind_is_spoken_of_here():
    assert {kind for kind, _ in USUAL} == set(KINDS)


@pytest.mark.parametrize(("kind", "params"), USUAL)
def test_usual_work_is_silent(shop, kind, params):
    assert [warned.message for warned in developed(kind, params).warnings] == []


@pytest.mark.parametrize(("kind", "params", "code"), UNUSUAL)
def test_unusual_work_is_warned_about_with_its_source(shop, kind, params, code):
    found = {warned.code: warned.message for warned in developed(kind, params).warnings}
    assert code in found
    rows = [row for row in tables.rows("usual") if row["kind"] in (kind, "*")]
    (row,) = [row for row in rows if code in (f"{row['quantity']}_low", f"{row['quantity']}_high")]
    assert found[code].endswith(f"{row['reason']} (Usual ranges: {row['source']}.)")


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(("gauge", "codes"), [(26, []), (27, ["gauge_high"])])
def test_light_gauges_are_unusual_for_every_kind(shop, kind, gauge, codes):
    """A recommended table: 27 and lighter are not suited to ductwork."""
    params = next(params for name, params in USUAL if name == kind)
    assert [warned.code for warned in developed(kind, params, gauge=gauge).warnings] == codes


@pytest.mark.parametrize("finish", ["raw", "flange", "swage", "crimp", "hem", "slip", "ring"])
@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_takes_every_finish_and_neighbour(shop, kind, finish):
    params = next(params for name, params in USUAL if name == kind)
    letters = [letter for letter, _ in KINDS[kind].ends]
    told = {f"end_{letter}": finish for letter in letters}
    told |= {f"joins_{letter}": finish for letter in letters if (kind, letter) != ("saddle", "a")}
    dev = developed(kind, params, **told, pressure_class=1)
    assert [end.end for end in dev.ends] == [free.end for free in dev.free_ends]
    assert {end.end for end in dev.ends} <= set(letters)
    for end, free in zip(dev.ends, dev.free_ends, strict=True):
        is_round = free.diameter is not None
        assert (end.outside_diameter is not None) == (end.inside_diameter is not None) == is_round
        assert end.girth > 0
        assert end.fits is (
            finish in ("flange", "ring")
        )  # like goes with like only face to face, in light metal
        if is_round and finish in ("swage", "crimp", "slip"):
            assert end.outside_diameter < free.diameter


@pytest.mark.parametrize("kind", KINDS)
def test_girth_of_a_plain_end_is_the_edge_of_the_pattern(shop, kind):
    params = next(params for name, params in USUAL if name == kind)
    dev = developed(kind, params)
    for end, free in zip(dev.ends, dev.free_ends, strict=True):
        assert end.girth == pytest.approx(free.edge_length, abs=0.01)
