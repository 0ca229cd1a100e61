"""What goes on a stock at all, and the sentence for a part that was left out."""

import doctest
import math

import numpy as np
import pytest

from fittings.cutting import Part, Rules, Stock, Work, bound, unplaced
from fittings.cutting.unplaced import fits, why_unplaced
from tests.fittings.cutting.instances import disc, rectangle

SHEET = Stock("60x120", 60.0, 120.0)
SQUARE = Stock("square", 60.0, 60.0)


def turned(outline, degrees):
    turn = math.radians(degrees)
    return outline @ np.array([[math.cos(turn), math.sin(turn)], [-math.sin(turn), math.cos(turn)]])


def why(outline, *stock, unit="in", **rules):
    work = Work((Part("A", 1, outline),), stock or (SHEET,), Rules(**rules))
    return why_unplaced(work.parts[0], work, unit=unit)


@pytest.mark.parametrize("degrees", [0, 17, 45, 90, 133.3])
def test_a_part_that_just_fits_is_turned_until_it_does(degrees):
    rules = Rules(margin=0.25)
    assert fits(turned(rectangle(119.5, 59.5), degrees), SHEET, rules)
    assert not fits(turned(rectangle(119.51, 59.5), degrees), SHEET, rules)
    assert not fits(turned(rectangle(119.5, 59.51), degrees), SHEET, rules)


def test_a_bar_lies_across_a_square_from_corner_to_corner():
    # a bar of width w fits a square of side s up to the length s √2 − w
    longest = 60 * math.sqrt(2) - 5
    assert fits(rectangle(longest - 0.001, 5), SQUARE, Rules(margin=0))
    assert not fits(rectangle(longest + 0.01, 5), SQUARE, Rules(margin=0))


def test_turns_that_the_grain_forbids_are_not_tried():
    upright = rectangle(50, 100)
    assert fits(upright, SHEET, Rules(turns="any"))
    assert not fits(upright, SHEET, Rules(turns="half"))
    assert not fits(upright, SHEET, Rules(turns="none"))


def test_a_disc_fits_where_its_diameter_does():
    assert fits(disc(59.5), SHEET, Rules(margin=0.25))
    assert not fits(disc(59.6), SHEET, Rules(margin=0.25))


def test_a_part_larger_than_every_stock_is_told_its_size_and_its_plates():
    # 130.2 is more than 119.5; its half, 65.1, goes; turned, so that the box must be found
    said = why(turned(rectangle(130.2, 20.1), 30))
    assert said == (
        "A is 130.2 × 20.1 in; the largest stock takes 119.5 × 59.5 in. In plates it would be 2 of 65.1 × 20.1 in."
    )


def test_the_fewest_plates_that_fit_are_told():
    assert "3 of 100 × 40 in" in why(rectangle(300, 40), turns="half")
    # upright by the grain: its length of 300 lies across the 59.5 of the sheet, so six of 50
    assert "6 of 50 × 40 in" in why(rectangle(40, 300), turns="half")
    assert "No number of plates" in why(rectangle(150, 61), turns="half")


def test_sizes_are_told_in_millimetres_where_they_were_given_so():
    assert "3302 × 508 mm; the largest stock takes 3035 × 1511 mm" in why(rectangle(130, 20), unit="mm")


def test_stock_that_has_run_out_is_named():
    one = Stock("48x96", 48.0, 96.0, count=1)
    assert why(rectangle(40, 20), one) == "The stock that it goes on has run out: 48x96."
    assert why(rectangle(100, 50), one, SHEET).startswith("No place was found")
    assert "60x120" in why(rectangle(100, 50), one, SHEET)


def test_an_alternative_that_fits_is_enough():
    work = Work(
        (Part("A", 1, rectangle(200, 50), (rectangle(100, 50),)),), (Stock("s", 60, 120, count=0),), Rules()
    )
    assert "run out" in why_unplaced(work.parts[0], work)


@pytest.mark.parametrize("module", [bound, unplaced])
def test_the_examples_run(module):
    names = {"np": np, "Part": Part, "Rules": Rules, "Stock": Stock, "Work": Work}
    found = doctest.testmod(module, extraglobs=names)
    assert found.attempted and not found.failed
