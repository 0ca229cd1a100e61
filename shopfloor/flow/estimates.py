"""What repeated runs say: means with their confidence ranges, percentiles."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

CONFIDENCE = 0.95


@dataclass(frozen=True)
class Range:
    """A mean and how far the true one may lie from it on either side, with `CONFIDENCE`."""

    mean: float
    half: float

    @property
    def low(self) -> float:
        return self.mean - self.half

    @property
    def high(self) -> float:
        return self.mean + self.half

    def holds(self, value: float) -> bool:
        return self.low <= value <= self.high


def range_of(values: Sequence[float], confidence: float = CONFIDENCE) -> Range:
    """The confidence range of the mean of independent runs (Student's t). Of one run it is without limit.

    >>> found = range_of([1.0, 2.0, 3.0])
    >>> round(found.mean, 3), round(found.half, 3)
    (2.0, 2.484)
    """
    found = np.asarray(values, float)
    count = len(found)
    if not count:
        return Range(math.nan, math.inf)
    if count == 1:
        return Range(float(found[0]), math.inf)
    spread = float(found.std(ddof=1)) / math.sqrt(count)
    return Range(float(found.mean()), float(stats.t.ppf(0.5 + confidence / 2, count - 1)) * spread)


def difference(ones: Sequence[float], others: Sequence[float], confidence: float = CONFIDENCE) -> Range:
    """The range of the mean difference of runs made with the same luck, run by run (others less ones)."""
    return range_of(np.asarray(others, float) - np.asarray(ones, float), confidence)


def percentile(values: Sequence[float], share: float) -> float:
    """The value that this share of all values does not pass, 0 to 1; nan where there are none.

    >>> percentile([1, 2, 3, 4], 0.5)
    2.5
    """
    return float(np.quantile(np.asarray(values, float), share)) if len(values) else math.nan
