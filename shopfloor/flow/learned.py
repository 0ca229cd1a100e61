"""Times learned from timings: a robust line beside the standard, its spread, and where size and gauge differ.

A timing's minutes are taken as its mean times a luck of gamma distribution, as the simulation draws it. The cube root
of such a luck is nearly normal (Wilson and Hilferty), so wild values stand out on both sides there.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from .timings import Timing

LEAST = 20
"""Timings without which nothing is said: a value from memory."""
LEAST_IN_CELL = 6
"""Fewer on one side are no wonder: 2 ÷ 2⁵ > 0.05."""
FAR = 3.5
"""Robust standard deviations beyond which a timing is left out: Iglewicz and Hoaglin's modified z-score, as in the
NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17."""
MOST_PASSES = 10
MOST_FOR_SLOPE = 400
"""Timings between which slopes are taken, each with each; of more every second one, every third, and so on."""
CONFIDENCE = 0.95
SIZES = (8, 14, 24, 36)
"""Bounds of the bands of diameter [in]: from memory."""
_NORMAL = float(stats.norm.ppf(0.75))


@dataclass(frozen=True)
class Learned:
    """What timings of one operation and method say.

    each, per_foot  minutes a piece = each + per_foot × feet; None where there are too few
    ratio, half     measured minutes by standard minutes, ± at 95 %; None without a standard time
    spread          standard deviation by mean of one piece's time
    timings, pieces that were used; left_out: timings that lie far off
    is_by_feet      the two numbers have their own proportion; else the standard's, times one factor
    """

    timings: int
    pieces: int
    left_out: int = 0
    each: float | None = None
    per_foot: float | None = None
    ratio: float | None = None
    half: float | None = None
    spread: float | None = None
    is_by_feet: bool = False

    @property
    def is_enough(self) -> bool:
        return self.each is not None

    @property
    def differs(self) -> bool:
        """Whether the range of the ratio leaves 1 out; where there is no standard time, any time differs."""
        return self.is_enough and (self.ratio is None or abs(self.ratio - 1) > self.half)

    def minutes(self, feet: float) -> float:
        """Mean time of a piece of so many feet [min]."""
        return self.each + self.per_foot * feet


def learned(found: Sequence[Timing], *, each: float, per_foot: float) -> Learned:
    """The line through timings, near the standard's form.

    The line is found, what lies far from it left out, and it is found again until the same ones are left out; then it
    is raised or lowered so that the pieces that were kept take the minutes on it that they took.

    each, per_foot  the standard time [min, min/ft]
    source          Theil's and Sen's slope as `scipy.stats.theilslopes` has it; the range of the ratio is the ratio
                    estimator's, se = √(k/(k−1) Σ(y−Rs)²) ÷ Σs over k timings (sampling textbooks, from memory),
                    times Student's t
    """
    if each or per_foot:  # what has nothing to go by says nothing of it
        found = [one for one in found if one.standard > 0]
    pieces = np.array([one.pieces for one in found])
    if len(found) < LEAST:
        return Learned(len(found), int(pieces.sum()))
    minutes = np.array([one.minutes for one in found])
    standard = np.array([one.standard for one in found])
    has_feet = all(one.feet is not None for one in found)
    feet = np.array([one.feet if has_feet else 0.0 for one in found])
    kept = np.ones(len(found), bool)
    for _ in range(MOST_PASSES):
        first, slope, is_by_feet = _line(feet[kept], minutes[kept], standard[kept], each, per_foot)
        own, before = first + slope * feet, kept
        kept = _near(minutes / own, before)
        if (kept == before).all():
            break
    level = float((pieces * minutes)[kept].sum() / (pieces * own)[kept].sum())
    ratio, half = _ratio((pieces * minutes)[kept], (pieces * standard)[kept])
    return Learned(
        int(kept.sum()),
        int(pieces[kept].sum()),
        int((~kept).sum()),
        first * level,
        slope * level,
        ratio,
        half,
        spread_of((minutes / own)[kept], pieces[kept]),
        is_by_feet,
    )


def _line(feet, minutes, standard, each: float, per_foot: float) -> tuple[float, float, bool]:
    """(each, per foot, whether by feet): the standard times one factor, unless the slope by feet is surely another."""
    if not standard.all():
        return float(np.median(minutes)), 0.0, False
    factor = float(np.median(minutes / standard))
    common = (factor * each, factor * per_foot, False)
    if np.ptp(feet) <= 0:
        return common
    every = -(-len(feet) // MOST_FOR_SLOPE)
    slope, _, low, high = stats.theilslopes(minutes[::every], feet[::every], CONFIDENCE)
    if low <= factor * per_foot <= high:
        return common
    slope = max(0.0, float(slope))
    first = float(np.median(minutes - slope * feet))
    if first >= 0:
        return first, slope, True
    return (0.0, float(np.median(minutes / feet)), True) if feet.all() else common


def _near(luck, kept) -> np.ndarray:
    """Which of the lucks are not far from the middle of those kept before, by their cube roots."""
    root = np.cbrt(luck)
    off = np.abs(root - np.median(root[kept]))
    return off <= max(FAR * float(np.median(off[kept])) / _NORMAL, 1e-9)


def _ratio(minutes, standard) -> tuple[float | None, float | None]:
    if not standard.all():
        return None, None
    ratio = float(minutes.sum() / standard.sum())
    count = len(minutes)
    error = math.sqrt(count / (count - 1) * float(((minutes - ratio * standard) ** 2).sum())) / standard.sum()
    return ratio, float(stats.t.ppf((1 + CONFIDENCE) / 2, count - 1) * error)


def spread_of(luck, pieces) -> float:
    """Standard deviation by mean of one piece's time, from the luck of timings of so many pieces each.

    With c the spread, the cube root of a gamma luck is nearly normal about 1 − c²/9 with deviation c/3 (Wilson and
    Hilferty 1931, from memory); the deviation is taken as MAD ÷ 0.6745. The mean of a lot has c ÷ √pieces: the pieces
    of a lot are taken to be lucky or not each by itself, as the simulation draws them.
    """
    root = np.cbrt(luck)
    off = (root / np.median(root) - 1) * np.sqrt(pieces)
    deviation = float(np.median(np.abs(off))) / _NORMAL
    if not deviation:
        return 0.0
    usual = float(np.median(pieces))
    return 3 * usual * (math.sqrt(1 + 4 * deviation**2 / usual) - 1) / (2 * deviation)


@dataclass(frozen=True)
class Cell:
    """The timings of one band of diameter and one gauge, by medians.

    above, to  bounds of the diameter [in]; None where there is no bound
    standard, minutes  of a piece [min]
    ratio      median of measured by standard
    differs    the ratios lie on one side of 1 more often than luck would have it (sign test at 95 %)
    """

    above: float | None
    to: float | None
    gauge: int
    pieces: int
    timings: int
    standard: float
    minutes: float
    ratio: float
    differs: bool


def cells(found: Sequence[Timing]) -> list[Cell]:
    """By size, then gauge; timings of mixed sizes or without a standard time are left out."""
    by: dict[tuple[int, int], list[Timing]] = defaultdict(list)
    for one in found:
        if one.size is not None and one.gauge is not None and one.standard > 0:
            by[int(np.searchsorted(SIZES, one.size)), one.gauge].append(one)
    bounds = (None, *SIZES, None)
    return [_cell(bounds[band], bounds[band + 1], gauge, own) for (band, gauge), own in sorted(by.items())]


def _cell(above: float | None, to: float | None, gauge: int, own: Sequence[Timing]) -> Cell:
    ratios = np.array([one.minutes / one.standard for one in own])
    longer = int((ratios > 1).sum())
    return Cell(
        above,
        to,
        gauge,
        sum(one.pieces for one in own),
        len(own),
        float(np.median([one.standard for one in own])),
        float(np.median([one.minutes for one in own])),
        float(np.median(ratios)),
        bool(stats.binomtest(longer, len(own)).pvalue < 1 - CONFIDENCE),
    )
