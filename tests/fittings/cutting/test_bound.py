"""The bound of the utilisation: cases solved by hand, and never below what a real layout reaches."""

import math
import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Point, Polygon, box
from shapely.affinity import affine_transform, translate

from fittings.cutting import Layout, Part, Rules, Stock, Unplaced, Work
from fittings.cutting.bands import bands_of, covers_middle, least_cover, least_extents
from fittings.cutting.bound import upper_bound
from fittings.cutting.shelf import shelf_sheets
from tests.cases import cases
from tests.fittings.cutting.instances import (
    GENERIC,
    INSTANCES,
    convex,
    disc,
    elbows_24_sheets,
    mixed_500,
    rectangle,
    star,
)

BARE = Rules(gap=0.0, margin=0.0)
SHEET = Stock("sheet", 60.0, 120.0)


def bound_of(*parts, rules=BARE, stock=(SHEET,), **more):
    return upper_bound(
        Work(tuple(Part(f"p{at}", n, o) for at, (n, o) in enumerate(parts)), stock, rules), **more
    )


def test_rectangles_that_tile_the_sheet_reach_all_of_it():
    assert bound_of((8, rectangle(30, 30))) == pytest.approx(1.0, abs=1e-6)
    assert bound_of((3, rectangle(120, 20)), (6, rectangle(40, 30))) == pytest.approx(1.0, abs=1e-6)


def test_gap_and_margin_take_their_share_of_a_full_sheet():
    # 8 squares in 2 rows of 4 with 1 in between and 2 in around fill 60 x 120 exactly: side (60 - 4 - 1) / 2 = 27.5
    rules = Rules(gap=1.0, margin=2.0)
    stock = Stock("full", 60.0, 4 * 27.5 + 3 + 4)
    reached = 8 * 27.5**2 / (stock.width * stock.length)
    found = bound_of((8, rectangle(27.5, 27.5)), rules=rules, stock=(stock,))
    assert reached - 1e-9 <= found <= reached * 1.001


def test_a_part_more_than_half_the_sheet_both_ways_lies_alone():
    # 3 sheets of one part each, the last by the 70 in used of it
    rules = Rules(gap=0.0, margin=0.0, turns="none")
    assert bound_of((3, rectangle(70, 40)), rules=rules) == pytest.approx(3 * 2800 / (60 * 310), rel=1e-3)


def test_turned_freely_it_lies_alone_as_well():
    # 70 x 45 on 60 x 120 turns by a little; the last of three uses 70 in, or a little less where it is turned
    found = bound_of((3, rectangle(70, 45)))
    reached = 3 * 3150 / (60 * 310)
    assert reached - 1e-9 <= found < reached * 1.05


def test_parts_too_wide_for_two_rows_stand_one_behind_another():
    # 31 in of a 60 in coil, each 31 long: no more than one beside another, so 10 take 310 in of coil
    coil = Stock("coil", 60.0, 400.0, is_coil=True)
    found = bound_of((10, rectangle(31, 31)), stock=(coil,), rules=Rules(gap=0, margin=0, turns="none"))
    assert found == pytest.approx(31 * 31 / (60 * 31), rel=2e-2)
    turned = bound_of((10, rectangle(31, 31)), stock=(coil,))
    assert 31 * 31 / (60 * 31) - 1e-9 <= turned < 0.9


def test_four_discs_do_not_go_where_three_cover_the_middle_line():
    # discs of 59 in on 60 x 120: the usable length takes two of them, whatever else
    found = bound_of((4, disc(59)))
    reached = 4 * Polygon(disc(59)).area / (60 * (120 + 118))
    assert reached - 1e-9 <= found < reached * 1.06


def test_the_better_stock_counts():
    wide = Stock("wide", 60.0, 120.0)
    fitting = Stock("fitting", 40.0, 70.0)
    found = bound_of((3, rectangle(70, 40)), stock=(wide, fitting))
    assert found == pytest.approx(1.0, abs=1e-4)
    one_only = bound_of(
        (3, rectangle(70, 40)), stock=(wide, Stock("fitting", 40.0, 70.0, count=1)), unplaced=()
    )
    assert found > one_only > 3 * 2800 / (2800 + 60 * 120 + 60 * 70) - 1e-9


def bars(*lengths_and_counts):
    """Bars as wide as the sheet, which is 100 long: sheets are cut from them as from rolls."""
    return bound_of(
        *((count, rectangle(length, 60)) for length, count in lengths_and_counts),
        rules=Rules(gap=0, margin=0, turns="none"),
        stock=(Stock("sheet", 60.0, 100.0),),
    )


def test_whole_numbers_of_bars_lie_on_each_sheet():
    """V. Chvátal, Linear Programming (1983), chapter 13: 97 of 45, 610 of 36, 395 of 31 and 211 of 14 take 453 of 100.

    Any fractions of whole sheets take 452.25; here the last counts by the length used, so a little less does.
    """
    length = 97 * 45 + 610 * 36 + 395 * 31 + 211 * 14
    found = bars((45, 97), (36, 610), (31, 395), (14, 211))
    assert length / 45300 - 1e-9 <= found < length / 45150


def _fewest(lengths, sheet=100):
    """The least length used, all ways of laying bars on sheets tried; the emptiest counts by what is used of it."""
    best = math.inf

    def lay(at, loads):
        nonlocal best
        if at == len(lengths):
            best = min(best, sheet * (len(loads) - 1) + min(loads))
            return
        for number in range(len(loads)):
            if loads[number] + lengths[at] <= sheet:
                lay(at + 1, [*loads[:number], loads[number] + lengths[at], *loads[number + 1 :]])
        lay(at + 1, [*loads, lengths[at]])

    lay(0, [])
    return best


@settings(max_examples=cases(60), deadline=None)
@given(st.dictionaries(st.integers(15, 100), st.integers(1, 3), min_size=1, max_size=4))
def test_no_way_to_lay_bars_is_above_it(bars_of):
    lengths = [length for length, count in bars_of.items() for _ in range(count)][:7]
    counts = {length: lengths.count(length) for length in lengths}
    assert bars(*counts.items()) >= sum(lengths) / _fewest(lengths) - 1e-9


@settings(max_examples=cases(8), deadline=None)
@given(st.integers(0, 10**6), st.integers(1, 3))
def test_nor_sheets_that_were_cut_into_their_parts(seed, sheets):
    """Sheets cut from edge to edge into rectangles at random hold all of them, without waste, so 1 is reached."""
    rng = np.random.default_rng(seed)
    parts = []
    for _ in range(sheets):
        pieces = [(120.0, 60.0)]
        for _ in range(int(rng.integers(1, 5))):
            long, wide = pieces.pop(int(np.argmax([long * wide for long, wide in pieces])))
            share = 0.2 + 0.6 * rng.random()
            pieces += (
                [(long * share, wide), (long * (1 - share), wide)]
                if rng.random() < 0.5
                else [(long, wide * share), (long, wide * (1 - share))]
            )
        parts += [(1, rectangle(*piece)) for piece in pieces]
    assert bound_of(*parts) == pytest.approx(1.0, abs=1e-6)


def test_what_is_left_out_does_not_count():
    parts = ((2, rectangle(120, 60)), (1, rectangle(1, 1)))
    left = (Unplaced("p1", 1, "No room."),)
    assert bound_of(*parts, unplaced=left) == pytest.approx(1.0, abs=1e-6)
    assert bound_of(*parts, unplaced=()) < 0.9999


def test_where_stock_may_run_out_the_best_choice_of_parts_is_the_limit():
    stock = (Stock("few", 60.0, 120.0, count=1),)
    assert bound_of((1, rectangle(120, 60)), (3, rectangle(61, 59)), stock=stock) == pytest.approx(
        1.0, abs=1e-4
    )


def test_parts_larger_than_every_stock_leave_nothing():
    assert bound_of((1, rectangle(200, 61))) == 0.0
    assert bound_of((1, rectangle(5, 5)), stock=(Stock("none", 60.0, 120.0, count=0),)) == 0.0
    assert bound_of((1, rectangle(200, 61)), (8, rectangle(30, 30))) == pytest.approx(1.0, abs=1e-6)


def test_a_gap_wider_than_both_margins_is_no_trap():
    # no margin: eight squares with 2 in between fill 2 x 29 + 2 by 4 x 29 + 6
    stock = Stock("tight", 60.0, 122.0)
    reached = 8 * 29 * 29 / (60 * 122)
    found = bound_of((8, rectangle(29, 29)), rules=Rules(gap=2.0, margin=0.0), stock=(stock,))
    assert reached - 1e-9 <= found <= reached * 1.01
    coil = Stock("coil", 60.0, 122.0, is_coil=True)
    assert (
        bound_of((16, rectangle(29, 29)), rules=Rules(gap=2.0, margin=0.0), stock=(coil,)) >= reached - 1e-9
    )


def test_an_alternative_that_takes_less_room_counts():
    bulky, slim = rectangle(60, 31), rectangle(60, 30)
    work = Work((Part("A", 4, bulky, (slim,)),), (SHEET,), BARE)
    assert upper_bound(work) == 1.0  # slim ones fill the sheet, counted by the area that was asked for


@pytest.mark.parametrize("name", [*INSTANCES, *GENERIC])
def test_no_layout_of_shelves_is_above_it(name):
    work = (INSTANCES | GENERIC)[name]()
    layout = Layout(*shelf_sheets(work)[:1])
    assert layout.utilisation < upper_bound(work) < 1.0


def test_the_same_work_has_the_same_bound():
    assert upper_bound(elbows_24_sheets()) == upper_bound(elbows_24_sheets())


def test_500_parts_within_a_second():
    upper_bound(elbows_24_sheets())  # compiled once
    work = mixed_500()
    start = time.perf_counter()
    upper_bound(work)
    assert time.perf_counter() - start < 1.0


# -- measures of bands ---------------------------------------------------------


@settings(max_examples=cases(60), deadline=None)
@given(st.integers(0, 10**6), st.sampled_from([convex, star]), st.floats(20, 90))
def test_no_place_covers_less_of_a_band_than_its_measure(seed, make, size):
    rng = np.random.default_rng(seed)
    outline = make(rng, size)
    sides = tuple(30 + 60 * rng.random(2))
    bands = bands_of(sides, ((3.0,), (2.0,)))
    least = least_extents(outline, sides, "any")
    cover, _ = least_cover(Polygon(outline), sides, bands, "any", most=150)
    stripes = []
    for band in bands:
        rows = [
            box(low, -1e3, high, 1e3) if band.axis == 0 else box(-1e3, low, 1e3, high)
            for low, high in band.stripes
        ]
        stripes.append(rows)
    for _ in range(60):
        turn = rng.random() * 2 * math.pi
        cos, sin = math.cos(turn), math.sin(turn)
        turned = affine_transform(Polygon(outline), [cos, -sin, sin, cos, 0, 0])
        low_x, low_y, high_x, high_y = turned.bounds
        room = np.array(sides) - (high_x - low_x, high_y - low_y)
        if np.any(room < 0):
            continue
        assert least is not None
        assert least[0] <= high_x - low_x + 1e-9 and least[1] <= high_y - low_y + 1e-9
        x, y = room * rng.choice([0.0, 1.0, rng.random()], 2)
        placed = translate(turned, x - low_x, y - low_y)
        real = [sum(placed.intersection(one).area for one in rows) for rows in stripes]
        assert np.all(cover <= np.array(real) + 1e-6)


@settings(max_examples=cases(80), deadline=None)
@given(st.integers(0, 10**6), st.sampled_from([convex, rectangle, star]), st.floats(30, 100), st.booleans())
def test_what_covers_the_middle_does_so_in_every_place(seed, make, size, is_free):
    rng = np.random.default_rng(seed)
    outline = make(size, size * (0.4 + 0.6 * rng.random())) if make is rectangle else make(rng, size)
    sides = np.ptp(outline, axis=0) * (1 + rng.random(2))
    says = covers_middle(Polygon(outline), sides, "any" if is_free else "none")
    always = True
    for _ in range(150):
        turn = rng.random() * 2 * math.pi if is_free else 0.0
        cos, sin = math.cos(turn), math.sin(turn)
        turned = affine_transform(Polygon(outline), [cos, -sin, sin, cos, 0, 0])
        low_x, low_y, high_x, high_y = turned.bounds
        room = sides - (high_x - low_x, high_y - low_y)
        if np.any(room < 0):
            continue
        x, y = room * rng.choice([0.0, 1.0, rng.random()], 2)
        placed = translate(turned, x - low_x, y - low_y)
        always = always and placed.buffer(1e-6).covers(Point(sides / 2))
    assert always or not says


def test_the_middle_of_a_sheet_is_covered_by_more_than_half_of_it_both_ways():
    assert covers_middle(Polygon(rectangle(70, 45)), (120, 60), "any")
    assert covers_middle(Polygon(rectangle(70, 40)), (120, 60), "none")
    assert not covers_middle(Polygon(rectangle(59, 40)), (120, 60), "none")
    assert not covers_middle(Polygon(rectangle(70, 29)), (120, 60), "none")
    assert not covers_middle(Polygon(disc(59)), (120, 60), "any")
    assert covers_middle(Polygon(disc(61)), (120, 61.5), "any")


def test_a_long_rectangle_covers_the_middle():
    sides = (100.0, 20.0)
    bands = bands_of(sides)
    cover, real = least_cover(Polygon(rectangle(80, 5)), sides, bands, "none")
    for band, own in zip(bands, cover, strict=True):
        if band.axis == 0 and len(band.stripes) == 1:
            # 80 of 100 in cover whatever lies from 20 to 80, and the rest of a wider stripe on one side at least
            high = band.stripes[0][1]
            assert own == pytest.approx(5 * min(band.width, 60 + max(0, high - 80)), rel=0.02)
            assert own <= 5 * band.width + 1e-9
    assert np.all(cover == real)
