"""Feed order, table loads and remnants, against plain statements of what they must be."""

from __future__ import annotations

import doctest

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import Polygon, box

from fittings.cutting import feed
from fittings.cutting.feed import feed_numbers, remnant_of, table_loads

lengths = st.lists(st.floats(1, 150), min_size=1, max_size=12)
boxes = st.lists(
    st.tuples(st.floats(0, 100), st.floats(0, 40), st.floats(0.5, 20), st.floats(0.5, 8)),
    min_size=1,
    max_size=15,
)


def outline(x: float, y: float, long: float, wide: float) -> np.ndarray:
    return np.array([[x, y], [x + long, y], [x + long, y + wide], [x, y + wide]])


def test_the_examples_run():
    assert doctest.testmod(feed).failed == 0
    assert doctest.testmod(feed).attempted > 3


@given(boxes)
def test_the_front_is_cut_first(rows):
    numbers = feed_numbers([outline(*row) for row in rows])
    assert sorted(numbers) == list(range(1, len(rows) + 1))
    fronts = [row[0] for _, row in sorted(zip(numbers, rows, strict=True), key=lambda pair: pair[0])]
    assert all(one <= two + 2e-4 for one, two in zip(fronts, fronts[1:], strict=False))


def test_what_begins_at_the_same_place_is_cut_across_the_sheet():
    assert feed_numbers([outline(3, 20, 5, 2), outline(3, 1, 9, 2), outline(0, 30, 1, 1)]) == [3, 2, 1]


def test_nothing_has_no_numbers():
    assert feed_numbers([]) == table_loads([], 240) == []


@given(lengths, st.floats(60, 240), st.data())
def test_a_load_is_no_longer_than_the_table_and_sheets_do_not_overlap(long, table, data):
    alone = data.draw(st.lists(st.booleans(), min_size=len(long), max_size=len(long)))
    found = table_loads(long, table, alone)
    loads: dict[int, list[tuple[float, float, bool]]] = {}
    for (load, offset), length, is_alone in zip(found, long, alone, strict=True):
        loads.setdefault(load, []).append((offset, length, is_alone))
    assert list(loads) == list(range(1, len(loads) + 1)), "in the order of cutting"
    for sheets in loads.values():
        assert sheets[0][0] == 0
        for (start, length, _), (after, _, _) in zip(sheets, sheets[1:], strict=False):
            assert after == pytest.approx(start + length)
        if len(sheets) > 1:
            assert sum(length for _, length, _ in sheets) <= table + 1e-5
            assert not any(is_alone for _, _, is_alone in sheets)


def test_two_sheets_of_120_in_lie_end_to_end_on_a_table_of_240():
    assert table_loads([120] * 5, 240) == [(1, 0), (1, 120), (2, 0), (2, 120), (3, 0)]


def test_a_length_of_coil_has_the_table_to_itself():
    assert [load for load, _ in table_loads([96, 100, 96, 96], 240, [False, True, False, False])] == [
        1,
        2,
        3,
        3,
    ]


@given(boxes, st.floats(0, 2), st.floats(0, 2), st.floats(0, 60))
def test_a_remnant_is_free_of_pieces_and_large_enough(rows, gap, margin, least):
    shapes = [outline(*row) for row in rows]
    found = remnant_of(144, 48, shapes, gap, margin, least)
    end = max(Polygon(shape).bounds[2] for shape in shapes)
    if found is None:
        assert min(144 - end - max(gap, margin), 48) < max(least, 1e-6) + 1e-6
        return
    width, length = found
    assert width == 48 >= least - 1e-6
    assert length >= least - 1e-3
    rest = box(144 - length, 0, 144, 48)
    assert all(rest.distance(Polygon(shape)) >= max(gap, margin) - 1e-3 for shape in shapes)


def test_no_remnant_of_no_size_is_kept():
    assert remnant_of(120, 48, [outline(0, 0, 120, 10)], 0, 0, 0) is None
