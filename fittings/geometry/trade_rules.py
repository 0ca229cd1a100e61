"""Small rules of the trade that are no fitting of their own: metal for seams and edges, cones with a point, slopes."""

import math

SMALL_END = 7.0  # thicknesses; E. M. Longfield, Sheet Metal Drafting (1921), p. 60


def lock_seam_allowance(seam_width: float) -> float:
    """Metal that a grooved lock seam takes beyond the girth, on both edges together: 3 w.

    seam_width  w of the finished seam [in]
    returns     [in]
    source      Lockseam in sheet metal (shop notes), case lock-seam in fixtures/authorities/worked_examples.json

    >>> lock_seam_allowance(0.25)
    0.75
    """
    return 3.0 * seam_width


def wire_edge_allowance(wire_diameter: float) -> float:
    """Metal that is turned round a wire in a wired edge: 2.5 d.

    wire_diameter  d [in]
    returns        [in]
    source         NAVEDTRA 14251 ch. 2, case wire-edge in fixtures/authorities/worked_examples.json

    >>> wire_edge_allowance(0.125)
    0.3125
    """
    return 2.5 * wire_diameter


def small_end_girth(girth: float, thickness: float) -> float:
    """Girth of an end that goes inside another of the given girth: 7 t less.

    girth      of the end outside [in]
    thickness  t of the metal [in]
    returns    [in]
    source     E. M. Longfield, Sheet Metal Drafting (1921), p. 60: case small-end-deduction in
               fixtures/authorities/worked_examples.json

    >>> small_end_girth(28.0, 0.028125)
    27.803125
    """
    return girth - SMALL_END * thickness


def least_taper_length(reduction: float, slope_deg: float) -> float:
    """Shortest length over which a side comes in by so much at no more than a slope: reduction / tan slope.

    reduction  of the steepest side [in]
    slope_deg  steepest slope against the axis [deg], 0 < slope < 90
    returns    [in]
    source     right triangle; case slope-24-rule in fixtures/authorities/worked_examples.json

    >>> round(least_taper_length(6, 24), 4)
    13.4762
    """
    return reduction / math.tan(math.radians(slope_deg))


def cone_sector(diameter: float, height: float) -> tuple[float, float]:
    """The sector that rolls up to a right cone with a point: radius s = √(r² + h²), angle 2 π r / s.

    diameter  2 r of the base [in]
    height    h [in]
    returns   (radius [in], angle [rad])
    source    Math Forum, Building a Cone formulas: method cone-cases in fixtures/authorities/worked_examples.json

    >>> radius, angle = cone_sector(2, 1)
    >>> round(radius, 4), round(math.degrees(angle), 1)
    (1.4142, 254.6)
    """
    slant = math.hypot(diameter / 2, height)
    return slant, math.pi * diameter / slant


def sector_area(arc: float, radius: float) -> float:
    """Area of a sector: arc × radius / 2.

    arc      [in]
    radius   [in]
    returns  [in²]
    source   E. M. Longfield, Sheet Metal Drafting (1921), p. 82: case sector-area-14-7 in
             fixtures/authorities/worked_examples.json

    >>> sector_area(14, 7)
    49.0
    """
    return arc * radius / 2
