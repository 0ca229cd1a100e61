"""The proof of layouts is itself tried: a good layout passes, and each way to break one is found."""

from dataclasses import replace

import numpy as np
import pytest

from fittings.cutting import HALF, NONE, Layout, Part, PlacedSheet, Placement, Rules, Stock, Unplaced, Work
from tests.fittings.cutting.checker import faults, proven
from tests.fittings.cutting.instances import disc, rectangle

L_SHAPE = np.array([[0, 0], [4, 0], [4, 1], [1, 1], [1, 4], [0, 4]], float)
STOCK = Stock("small", 10.0, 20.0, count=1)
RULES = Rules(gap=0.5, margin=1.0)


def a_work(turns="any"):
    """An L, a square that lies in its corner, a disc with an alternative."""
    parts = (
        Part("L", 1, L_SHAPE),
        Part("square", 2, rectangle(2, 2)),
        Part("disc", 1, disc(2), (rectangle(3, 1),)),
    )
    return Work(parts, (STOCK,), replace(RULES, turns=turns))


GOOD = (
    Placement("L", 1, 1),
    Placement("square", 2.5, 2.5),
    Placement("square", 8, 3.5, 90.0),
    Placement("disc", 10, 7),
)
AREA = 7 + 4 + 4 + 96 / 2 * np.sin(2 * np.pi / 96)


def a_layout(*placements, used=12.0, area=AREA, **more):
    return Layout((PlacedSheet(STOCK, placements or GOOD, used, area),), **more)


def moved(at, **changes):
    return tuple(replace(one, **changes) if number == at else one for number, one in enumerate(GOOD))


def test_a_good_layout_is_proven():
    assert proven(a_work(), a_layout()).utilisation == pytest.approx(AREA / 120)


@pytest.mark.parametrize(
    ("placements", "words"),
    [
        (moved(1, x=1.5, y=1.5), "L and square overlap"),
        (moved(1, x=2.4), "L and square are 0.400000 apart"),
        (moved(1, x=2.49999), "L and square are 0.499990 apart"),
        (moved(3, y=8.1), "disc lies 0.1"),
        (moved(3, x=1.99), "disc lies 0.01"),
        (moved(0, y=0.99), "L lies 0.01"),
        (moved(3, alternative=2), "no alternative 2"),
        (moved(3, rotation=float("nan")), "turned by nan"),
        (GOOD[:-1], "disc: 1 asked for, 0 placed"),
        ((*GOOD, Placement("square", 14, 4)), "square: 2 asked for, 3 placed"),
        ((*GOOD, Placement("ring", 14, 4)), "ring: 0 asked for, 1 placed"),
    ],
)
def test_a_broken_placement_is_found(placements, words):
    assert any(words in sentence for sentence in faults(a_work(), a_layout(*placements)))


def test_an_outline_inside_another_overlaps_it():
    work = Work((Part("big", 1, disc(8)), Part("small", 1, disc(1))), (STOCK,), RULES)
    layout = a_layout(Placement("big", 5, 5), Placement("small", 5, 5))
    assert any("overlap" in sentence for sentence in faults(work, layout))


def test_turns_by_the_rules():
    assert any("turned by 90" in sentence for sentence in faults(a_work(HALF), a_layout()))
    upside_down = moved(2, rotation=-180.0, x=10)
    assert not faults(a_work(HALF), a_layout(*upside_down, used=12.0))
    assert any("turned by -180" in sentence for sentence in faults(a_work(NONE), a_layout(*upside_down)))


def test_an_alternative_counts_as_the_part():
    other = (*GOOD[:-1], Placement("disc", 9, 7, alternative=1))
    assert not faults(a_work(), a_layout(*other, used=13.0))


@pytest.mark.parametrize(
    ("layout", "words"),
    [
        (a_layout(used=11.0), "12.000000 of its length are used"),
        (a_layout(area=AREA + 1), "its parts have"),
        (a_layout(bound=0.1), "above the bound"),
        (a_layout(unplaced=(Unplaced("square", 1, "No room."),)), "3 placed or left out"),
        (a_layout(*GOOD[:-1], area=15, unplaced=(Unplaced("disc", 1, " "),)), "nothing says why"),
    ],
)
def test_wrong_figures_are_found(layout, words):
    assert any(words in sentence for sentence in faults(a_work(), layout))


def test_stock_that_is_not_there_is_found():
    one = a_layout().sheets[0]
    halves = (
        replace(one, placements=GOOD[:2], used_length=6.0, area=11.0),
        replace(one, placements=GOOD[2:], used_length=12.0, area=AREA - 11),
    )
    assert any(
        "2 of small are used; there are 1" in sentence for sentence in faults(a_work(), Layout(halves))
    )
    other = replace(one, stock=replace(STOCK, width=30.0))
    assert any("no stock of the work" in sentence for sentence in faults(a_work(), Layout((other,))))
    empty = replace(one, placements=(), used_length=0.0, area=0.0)
    assert any("is empty" in sentence for sentence in faults(a_work(), Layout((one, empty))))
