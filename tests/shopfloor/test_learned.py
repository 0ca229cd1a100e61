"""Times learned from timings. The true values are set here; the luck is drawn by NumPy, as are the wild values."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest
from scipy import stats

from shopfloor.flow.learned import LEAST, cells, learned, spread_of
from shopfloor.flow.timings import Timing

AT = datetime(2026, 3, 2, 14, tzinfo=UTC)
EACH, PER_FOOT = 1.2, 0.3
"""The truth of the made-up shop [min, min/ft]."""
SEEDS = range(30)


def drawn(seed, *, count=200, spread=0.4, wild=0.2, lot=1, standard=(0.8, 0.15), truth=(EACH, PER_FOOT)):
    """Timings with a luck of gamma distribution; a share of them is wild: scans back to back, or a forgotten finish."""
    random, shape, found = np.random.default_rng(seed), lot / spread**2, []
    for at in range(count):
        feet = float(random.uniform(2, 14))
        minutes = (truth[0] + truth[1] * feet) * random.gamma(shape) / shape
        if at < wild * count:
            minutes *= random.choice((0.01, 0.05, 8, 20))
        planned = standard[0] + standard[1] * feet
        found.append(Timing("roll", "Roll", lot, planned, minutes, feet, 24, 14.0, AT))
    return found


def exact(feet, minutes, *, each=1.0, per_foot=0.5, **changes):
    """Timings of these minutes."""
    return [
        Timing(
            "roll", "Roll", changes.get("pieces", 1), each + per_foot * f, m, f,
            changes.get("gauge", 24), changes.get("size", 14.0), AT,
        )
        for f, m in zip(feet, minutes, strict=True)
    ]  # fmt: skip


def test_a_line_without_luck_is_found_to_the_digit():
    feet = [1.0 + one / 4 for one in range(30)]
    found = learned(exact(feet, [0.7 + 0.9 * one for one in feet]), each=1.0, per_foot=0.5)
    assert (found.each, found.per_foot) == pytest.approx((0.7, 0.9))
    assert found.is_by_feet and found.left_out == 0 and found.spread == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize("wild", [0.0, 0.2])
def test_the_truth_is_found_also_with_one_in_five_wild(wild):
    """The mean time at 8 ft, the middle of the sizes, and the ratio, over 30 seeds: the bias, and each by itself."""
    found = [learned(drawn(seed, wild=wild), each=0.8, per_foot=0.15) for seed in SEEDS]
    middle = [one.minutes(8.0) / (EACH + PER_FOOT * 8) for one in found]
    assert np.mean(middle) == pytest.approx(1.0, abs=0.02)
    assert max(abs(one - 1) for one in middle) < 0.1
    assert np.mean([one.ratio for one in found]) == pytest.approx(3.6 / 2.0, rel=0.03), (
        "(1.2+0.3·8)/(0.8+0.15·8)"
    )
    assert np.mean([one.spread for one in found]) == pytest.approx(0.4, abs=0.04)
    assert all(one.left_out >= 0.7 * wild * 200 for one in found)


def test_where_the_form_is_surely_another_both_numbers_are_found():
    found = [learned(drawn(seed, standard=(2.0, 0.05)), each=2.0, per_foot=0.05) for seed in SEEDS]
    assert all(one.is_by_feet for one in found)
    assert np.mean([one.each for one in found]) == pytest.approx(EACH, abs=0.1)
    assert np.mean([one.per_foot for one in found]) == pytest.approx(PER_FOOT, abs=0.02)


def test_the_least_squares_line_breaks_where_this_one_holds():
    """The same data to NumPy's own line: one in five wild values carries it away."""
    data = drawn(1)
    slope, first = np.polyfit([one.feet for one in data], [one.minutes for one in data], 1)
    assert abs((first + slope * 8) / 3.6 - 1) > 0.5
    assert abs(learned(data, each=0.8, per_foot=0.15).minutes(8.0) / 3.6 - 1) < 0.1


def test_the_slope_is_theil_and_sens_raised_to_the_minutes_of_the_pieces():
    data = drawn(3, spread=0.1, wild=0.0, standard=(3.0, 0.0))
    found = learned(data, each=3.0, per_foot=0.0)
    feet, minutes = (np.array([getattr(one, name) for one in data]) for name in ("feet", "minutes"))
    slope = stats.theilslopes(minutes, feet).slope
    first = np.median(minutes - slope * feet)
    level = minutes.sum() / (first + slope * feet).sum()
    assert found.left_out == 0
    assert (found.each, found.per_foot) == pytest.approx((first * level, slope * level))


def test_the_range_of_the_ratio_is_that_of_a_bootstrap():
    data = drawn(5, wild=0.0, count=150)
    found = learned(data, each=0.8, per_foot=0.15)
    assert found.left_out == 0
    again = stats.bootstrap(
        ([one.minutes for one in data], [one.standard for one in data]),
        lambda y, s, axis: y.sum(axis) / s.sum(axis),
        paired=True, vectorized=True, method="percentile", rng=np.random.default_rng(1), n_resamples=4000,
    ).confidence_interval  # fmt: skip
    assert (found.ratio - found.half, found.ratio + found.half) == pytest.approx(tuple(again), rel=0.02)


def test_the_range_holds_the_true_ratio_about_19_times_in_20():
    held = 0
    for seed in range(200):
        one = learned(
            drawn(seed, wild=0.0, count=60, standard=(EACH, PER_FOOT)), each=EACH, per_foot=PER_FOOT
        )
        held += not one.differs
    assert 180 <= held <= 199, "binomial, n = 200, p = 0.95: 190 ± 3 standard deviations of 3.1"


@pytest.mark.parametrize("spread", [0.1, 0.4, 1.0])
@pytest.mark.parametrize("lot", [1, 12])
def test_the_spread_is_that_of_one_piece_also_where_lots_were_timed(spread, lot):
    """The mean of a lot of gamma lucks is gamma with lot times the shape."""
    shape = lot / spread**2
    luck = np.random.default_rng(7).gamma(shape, size=4000) / shape
    assert spread_of(luck, np.full(4000, lot)) == pytest.approx(spread, rel=0.06)


def test_lots_weigh_by_their_pieces():
    """20 timings of one piece at 2 min, 20 of nine at 1 min: (20·2 + 180·1) ÷ 200 = 1.1 min a piece."""
    data = exact([0.0] * 20, [2.0] * 20) + exact([0.0] * 20, [1.0] * 20, pieces=9)
    found = learned(data, each=1.0, per_foot=0.0)
    assert (found.ratio, found.pieces, found.timings) == (pytest.approx(1.1), 200, 40)


def test_nothing_is_said_of_too_few():
    few = learned(drawn(1, count=LEAST - 1), each=0.8, per_foot=0.15)
    assert (few.is_enough, few.differs, few.timings) == (False, False, LEAST - 1)
    assert learned(drawn(1, count=LEAST), each=0.8, per_foot=0.15).is_enough


def test_equal_feet_give_one_factor():
    found = learned(exact([4.0] * 25, [4.5] * 25), each=1.0, per_foot=0.5)
    assert (found.each, found.per_foot, found.is_by_feet) == (pytest.approx(1.5), pytest.approx(0.75), False)


def test_no_number_is_below_zero():
    feet = [1.0 + one / 4 for one in range(40)]
    falling = learned(exact(feet, [12.0 - one for one in feet]), each=1.0, per_foot=0.5)
    assert falling.per_foot == 0 and falling.each > 0
    steep = learned(exact(feet, [2.0 * one - 1.0 for one in feet]), each=1.0, per_foot=0.5)
    assert steep.each == 0 and steep.per_foot > 0


def test_pieces_without_a_foot_say_nothing_of_a_time_by_the_foot_alone():
    data = exact([2.0] * 20, [3.0] * 20, each=0.0) + exact([0.0] * 9, [50.0] * 9, each=0.0)
    found = learned(data, each=0.0, per_foot=0.5)
    assert (found.each, found.per_foot, found.timings) == (0.0, pytest.approx(1.5), 20)


def test_without_a_standard_time_the_middle_is_taken():
    found = learned(exact([0.0] * 30, [3.0] * 30, each=0.0, per_foot=0.0), each=0.0, per_foot=0.0)
    assert (found.each, found.ratio, found.differs) == (pytest.approx(3.0), None, True)


def test_cells_are_medians_by_band_and_gauge():
    data = [
        *exact([2.0] * 7, [3.0, 3.1, 2.9, 3.2, 2.8, 3.3, 40.0], gauge=24, size=10.0),
        *exact([2.0] * 6, [1.9, 2.1, 1.8, 2.2, 1.9, 2.1], gauge=24, size=8.0),
        *exact([2.0] * 5, [9.0] * 5, gauge=18, size=40.0),
        *exact([2.0], [9.0], gauge=None, size=None),
    ]
    small, middle, large = cells(data)
    assert (small.above, small.to, small.gauge, small.timings, small.differs) == (None, 8, 24, 6, False)
    assert (middle.above, middle.to, middle.minutes, middle.standard) == (8, 14, 3.1, 2.0)
    assert middle.ratio == pytest.approx(1.55) and middle.differs, "all 7 longer: 2 ÷ 2⁷ = 0.016"
    assert (large.above, large.to, large.gauge, large.differs) == (36, None, 18, False), (
        "5 of 5: 2 ÷ 2⁵ = 0.06"
    )
