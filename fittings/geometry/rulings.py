"""Dense rulings of a turn, the closed development of a cone, and which rulings become points of a pattern."""

import math

import numpy as np

from .curves import CHORD_TOLERANCE, sampled
from .surfaces import unrolled

STEPS_PER_QUARTER = (
    256  # of a dense strip round a turn: a power of two, so that halving a quarter ends on rulings
)
_COUNT = 4 * STEPS_PER_QUARTER
_NO_TAPER = 1e-9  # sine; a cone this slender is laid flat as a cylinder


def turn_of_rulings(start_angle: float) -> np.ndarray:
    """Angles of the dense rulings of a whole turn, the quarters of the duct among them if it starts on one.

    start_angle  of the first ruling from the throat [rad]
    returns      increasing, shape (1025,) [rad]
    source       definition

    >>> turn = turn_of_rulings(0.0)
    >>> len(turn), round(float(turn[STEPS_PER_QUARTER]), 6)
    (1025, 1.570796)
    """
    return start_angle + 2 * np.pi * np.arange(_COUNT + 1) / _COUNT


def developed_cone(angle, radius, along, taper: float) -> np.ndarray:
    """Points of a right circular cone laid flat.

    A sector: ψ sin a for the angle, r / sin a for the radius; without taper r ψ and z.

    angle    ψ round the cone [rad], shape (n,)
    radius   r of the cone at the points [in], shape (n,)
    along    z along the axis [in], shape (n,); used only without taper
    taper    half-angle a of the cone [rad]
    returns  shape (n, 2) [in]
    source   Math Forum, Designing and building a cone frustum: fixtures/authorities/reducer.md

    >>> flat = developed_cone(np.array([0.0, 2 * math.pi]), np.array([4.0, 4.0]), np.zeros(2), math.asin(1.5 / 4.272))
    >>> round(float(np.hypot(*flat[0])), 2), round(math.degrees(math.atan2(*flat[1][::-1])), 1)
    (11.39, 126.4)
    """
    sine = math.sin(taper)
    if abs(sine) < _NO_TAPER:
        return np.column_stack([radius * angle, along])
    return (radius / sine)[:, None] * np.column_stack([np.cos(angle * sine), np.sin(angle * sine)])


def kept_of_turn(edges, *, tolerance: float = CHORD_TOLERANCE) -> np.ndarray:
    """Dense rulings of a turn to keep so that both flat edges stay within the tolerance of the true ones.

    The distance is taken for both edges together, in four dimensions: it bounds that of each edge.

    edges      function of turns from the first ruling, shape (n,), 0 to 1, to points of both edges, shape (n, 4) [in]
    tolerance  greatest distance from curve to chord [in], > 0
    returns    increasing indices, the quarters among them
    source     curves.sampled

    >>> on_cylinder = kept_of_turn(lambda part: np.column_stack([6 * part, 0 * part, 6 * part, 0 * part + 8]))
    >>> len(on_cylinder)  # the sixteen element lines and the second seam end
    17
    """
    return np.unique((sampled(edges, np.arange(5) / 4, tolerance=tolerance) * _COUNT).round().astype(int))


def kept_rulings(space_a, space_b) -> np.ndarray:
    """The same for a strip whose development has no closed form, from its dense rulings.

    space_a, space_b  ends of the rulings of turn_of_rulings on edge A and edge B, shape (1025, 3) [in]
    returns           increasing indices, the quarters among them
    source            curves.sampled, on the unrolled strip

    >>> turn = turn_of_rulings(0.0)
    >>> ring = np.column_stack([np.cos(turn), np.sin(turn), 0 * turn])
    >>> len(kept_rulings(6 * ring, 6 * ring + [0, 0, 8])), len(kept_rulings(6 * ring, 3 * ring + [0, 0, 8])) > 17
    (17, True)
    """
    both = np.column_stack(unrolled(space_a, space_b))

    def edges(part):
        low = np.minimum((part * _COUNT).astype(int), _COUNT - 1)
        share = (part * _COUNT - low)[:, None]
        return both[low] * (1 - share) + both[low + 1] * share

    return kept_of_turn(edges)
