"""Charts as shapes: values at their heights, names that do not lie on each other, everything inside."""

from __future__ import annotations

import doctest
import re

import pytest

from shopfloor.flow import charts, figures
from shopfloor.flow.charts import (
    BOTTOM,
    LABEL_GAP,
    LEFT,
    NARROW,
    STYLES,
    TOP,
    WIDTH,
    bars,
    lines,
    rows,
    spread,
)


@pytest.mark.parametrize("module", [charts, figures], ids=lambda one: one.__name__)
def test_examples(module):
    assert doctest.testmod(module).failed == 0


def points(d: str) -> list[tuple[float, float]]:
    return [tuple(map(float, pair.split())) for pair in re.findall(r"[ML]([\d.]+ [\d.]+)", d)]


def test_a_line_goes_through_its_values_and_passes_over_what_is_not_known():
    chart = lines("What came", "pieces", ["a", "b", "c", "d"], [("Roll", [0, 5, None, 10])], height=250)
    line = next(one for one in chart.paths if "chart-line" in one.css)
    found = points(line.d)
    floor, top = 250 - BOTTOM, TOP
    assert [y for _, y in found] == [floor, (floor + top) / 2, top], "0, 5 and 10 of an axis from 0 to 10"
    steps = [right - left for (left, _), (right, _) in zip(found, found[1:], strict=False)]
    assert steps[1] == pytest.approx(2 * steps[0], abs=0.2)
    name = next(one for one in chart.texts if one.text == "Roll")
    assert name.x > found[-1][0] and name.y == pytest.approx(found[-1][1] + 4)


def test_a_limit_is_a_line_across_that_the_axis_has_room_for():
    chart = lines("What lay there", "pieces", ["a"], [("", [3])], limit=("cap 40", 40.0), width=NARROW)
    assert chart.width == NARROW and "cap 40" in [one.text for one in chart.texts]
    cap = next(one for one in chart.paths if one.css == "chart-limit")
    assert float(re.match(r"M\d+ ([\d.]+)H", cap.d)[1]) == pytest.approx(TOP, abs=0.1)


def test_more_lines_than_dashes_begin_again_and_nothing_gives_an_empty_chart():
    many = lines("Many", "pieces", ["a"], [(str(one), [one]) for one in range(STYLES + 1)])
    css = [one.css for one in many.paths if "chart-line" in one.css]
    assert css[0] == css[STYLES] and len(set(css)) == STYLES
    empty = lines("None", "days", [], [("50 of 100", [])])
    assert [one.d for one in empty.paths if "chart-line" in one.css] == [""]
    assert bars("None", "fittings", [], []).bars == ()


def test_names_keep_apart_and_in_their_order():
    places = [100, 100, 101, 103, 180, 181, 20]
    found = spread(places, list("abcdefg"))
    assert [name for _, name in found] == list("gabcdef")
    ys = [y for y, _ in found]
    assert all(low + LABEL_GAP <= high + 1e-9 for low, high in zip(ys, ys[1:], strict=False))
    assert ys[0] == 20


def test_names_at_the_floor_stay_above_the_days():
    chart = lines(
        "Low", "pieces", ["a"], [("Cut", [100]), ("Ends", [1]), ("Wrap", [0]), ("Seam", [0])], height=250
    )
    ys = sorted(one.y for one in chart.texts if one.css == "chart-name")
    assert ys[-1] <= 250 - BOTTOM + 4
    assert all(low + LABEL_GAP <= high + 0.1 for low, high in zip(ys, ys[1:], strict=False))


def test_bars_stand_on_the_floor_as_high_as_their_values():
    chart = bars("Finished", "fittings", list("abcd"), [4, 0, 2, 1])
    floor = chart.height - BOTTOM
    assert [round(one.y + one.height, 1) for one in chart.bars] == [floor] * 3
    heights = [one.height for one in chart.bars]
    assert heights[0] / heights[1] == pytest.approx(2, rel=0.01) and heights[1] / heights[2] == pytest.approx(
        2, rel=0.01
    )
    assert all(one.x >= LEFT and one.x + one.width <= WIDTH for one in chart.bars)


def test_rows_lie_beside_each_other_and_say_their_sum():
    chart = rows(
        "Times", "h", [("Roll", [(1.0, "a"), (3.0, "b")]), ("A very long name of an operation", [(2.0, "")])]
    )
    first, second, third = chart.bars
    assert second.x == pytest.approx(first.x + first.width, abs=0.1)
    assert third.width == pytest.approx(2 * first.width, rel=0.01) and third.y > first.y
    at_end = next(one for one in chart.texts if one.x == pytest.approx(second.x + second.width + 6, abs=0.2))
    assert at_end.text == "4" and any(one.text.endswith("…") for one in chart.texts)
