"""Which rulings of a dense strip become points of its pattern."""

import numpy as np

from .curves import CHORD_TOLERANCE, sampled
from .surfaces import unrolled

STEPS_PER_QUARTER = (
    512  # of a dense strip round a turn: a power of two, so that halving a quarter ends on rulings
)
QUARTER_RULINGS = tuple(STEPS_PER_QUARTER * k for k in range(5))


def turn_of_rulings(start_angle: float) -> np.ndarray:
    """Angles of the dense rulings of a whole turn, the quarters of the duct among them if it starts on one.

    start_angle  of the first ruling from the throat [rad]
    returns      increasing, shape (2049,) [rad]
    source       definition

    >>> turn = turn_of_rulings(0.0)
    >>> len(turn), round(float(turn[QUARTER_RULINGS[1]]), 6)
    (2049, 1.570796)
    """
    count = 4 * STEPS_PER_QUARTER
    return start_angle + 2 * np.pi * np.arange(count + 1) / count


def kept_rulings(
    space_a, space_b, breaks=QUARTER_RULINGS, *, tolerance: float = CHORD_TOLERANCE
) -> list[int]:
    """Rulings to keep so that both flat edges stay within the tolerance of the dense ones.

    The distance is taken for both edges together, in four dimensions: it bounds that of each edge.

    space_a, space_b  ends of the dense rulings on edge A and edge B, shape (n, 3) [in]
    breaks            indices of rulings that must be kept, increasing, the first and the last among them
    tolerance         greatest distance from curve to chord [in], > 0
    returns           increasing indices
    source            curves.sampled, on the unrolled strip

    >>> turn = turn_of_rulings(0.0)
    >>> ring = np.column_stack([np.cos(turn), np.sin(turn), 0 * turn])
    >>> straight = kept_rulings(6 * ring, 6 * ring + [0, 0, 8])  # a cylinder: only the sixteen element lines
    >>> len(straight), len(kept_rulings(6 * ring, 3 * ring + [0, 0, 8])) > 17
    (17, True)
    """
    both = np.column_stack(unrolled(space_a, space_b))

    def edges(t):
        low = np.minimum(t.astype(int), len(both) - 2)
        share = (t - low)[:, None]
        return both[low] * (1 - share) + both[low + 1] * share

    found = sampled(edges, breaks, tolerance=tolerance)
    return np.unique(found.round().astype(int)).tolist()
